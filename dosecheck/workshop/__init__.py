"""What a pharmacist does around an edit of the formulary: write it, look it over, know what it changes, sign it."""

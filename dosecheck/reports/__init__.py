"""What an answer looks like on paper or as a picture."""

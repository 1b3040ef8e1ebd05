"""Proof that a formulary's figures fit together, for every weight that its bands and its policy let in."""

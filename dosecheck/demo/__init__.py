"""Invented orders of the Saltmarsh Island children's clinic, for a first look; no real child, no real clinic."""

"""What changed between two formularies: by what the figures mean, in words, the riskiest first."""

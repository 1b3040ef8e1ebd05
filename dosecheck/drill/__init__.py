"""The drill: questions made from a formulary and a seed, marked with their units, each wrong answer held against known slips.

`make.py` makes a question, `mark.py` marks an answer, `diagnose.py` tells which mistake it was, `own.py` reads a
teacher's own questions.  All arithmetic is the engine's: `rules/` and `sums/`.
"""

"""Advice: what is no fault of a formulary, and yet a pharmacist should have looked at it.

Every line has a code, a page that explains it, the place it is about, and may be accepted in `accepted.toml` with a reason.
"""

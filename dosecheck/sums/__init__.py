"""The sums of children's medicine that are no regimen: `frame.py` says what a sum is, `listing.py` names them all."""

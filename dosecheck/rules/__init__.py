"""The rules: from an order and a child to an outcome, with findings and working."""

"""The report of a checked file of orders: counts that add up, what to look at first, who is asked how often, two runs compared."""

"""Plan, answers and what was done with them."""

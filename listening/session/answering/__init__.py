"""Ways of asking, marks and steps."""

"""Tables collected elsewhere."""

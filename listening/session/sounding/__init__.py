"""What is played and what was heard of it."""

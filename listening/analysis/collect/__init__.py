"""Answers joined with the key: one row a trial."""

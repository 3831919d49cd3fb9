"""Tasks with a right answer: exact counts, d', listeners who differ."""

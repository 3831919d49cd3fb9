"""The same analysis once more: exports and checks."""

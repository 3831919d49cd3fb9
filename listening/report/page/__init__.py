"""The page and the claims sheet."""

"""Linear mixed models of ratings, and the degrees of freedom of their contrasts."""

"""The engine of the mixed models: random terms, Laplace, adaptive Gauss-Hermite."""

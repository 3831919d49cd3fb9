"""Heard against measured: lines, shares of variance, cross-validation."""

"""Paired comparisons: counts, strengths, ties, how well they fit."""

"""Ordered answers: cumulative link models, with and without random effects."""

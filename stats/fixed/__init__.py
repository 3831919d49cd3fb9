"""Fits with fixed effects only, and what every likelihood shares."""

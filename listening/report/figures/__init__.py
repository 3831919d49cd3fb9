"""Figures: each draws findings and computes nothing."""

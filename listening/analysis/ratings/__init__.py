"""Planned questions on ratings."""

"""Findings as tables."""

"""Planned questions decided."""

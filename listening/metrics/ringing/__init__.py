"""Modes and partials."""

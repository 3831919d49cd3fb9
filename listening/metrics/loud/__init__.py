"""Loudness and sharpness."""

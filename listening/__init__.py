"""Listening tests and perceptual evaluation for products that ring when struck."""

__version__ = "0.1.0"

"""A page to read: welcome, consent, break, pause, leaving, trouble, goodbye."""

from listening.tui.screens.sheet import Sheet


class Reading(Sheet):
    """Paragraphs and keys."""

"""What can go wrong by a person's hand: printed plainly by the command line, exit code 2."""

from stats.errors import ListeningError

__all__ = ["CannotWrite", "ListeningError", "MissingFile", "RecordError", "SoundError", "StudyError"]


class RecordError(ListeningError, ValueError):
    """A file on disk is not the form it should be."""


class MissingFile(ListeningError, FileNotFoundError):
    """A file that a step needs is not there."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


class CannotWrite(ListeningError, OSError):
    """A folder is read-only, or the disk is full; nothing was changed."""

    def __str__(self) -> str:
        return str(self.args[0]) if self.args else ""


class SoundError(ListeningError, ValueError):
    """A sound cannot be used: empty, silent, clipped, truncated, not a number."""


class StudyError(ListeningError, ValueError):
    """The steps do not fit together: a step is missing, stale, or was altered."""

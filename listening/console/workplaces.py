"""Where answers lie and where refits run, from a word on the command line."""

from pathlib import Path

from listening.records.study import Study


def place(word: str) -> Path | str:
    """A server's address as it is; a study folder's own place; else an answers file."""
    from listening.store import address, place_of

    if address.is_url(word):
        return word
    return place_of(Study(Path(word))) if Path(word).is_dir() else Path(word)


def where(word: str) -> int | str:
    """A number of processes, or a scheduler's address, for `stats.run.run`."""
    return word if "://" in word else int(word)

"""Earlier words of files and commands: read for one more version, with a notice that names today's word."""

import warnings
from typing import Any

COMMANDS = {"lodge": "deposit", "level": "calibrate"}
KEYS: dict[tuple[str, ...], dict[str, str]] = {
    ("attributes", "*"): {"question": "wording", "anchor": "examples"},
    ("asked",): {"question": "wording"},
    ("questions", "*"): {"factor": "claimed_ratio"},
    ("sitting", "questionnaire", "*"): {"question": "wording"},
}
"""By table of a protocol, or of what is said about an imported table; `*` is each of a list."""
VALUES: dict[tuple[str, ...], dict[str, dict[str, str]]] = {
    ("questions", "*"): {"unit": {"heard": "share not guessed"}},
}
KINDS = {"told-apart": "discrimination"}
"""Of `listening new --question`."""
COLUMNS = {"unit": "specimen"}
"""Of the table of recordings."""


class EarlierWord(FutureWarning):
    """A word that the next version will not know."""


def tell(where: object, earlier: str, now: str) -> None:
    """Warn that a word is an earlier version's; the command line prints it once."""
    said = f"{where}: `{earlier}` is now `{now}`; the next version will know the new word alone"
    warnings.warn(EarlierWord(said), stacklevel=2)


def renewed(raw: dict[str, Any], where: object) -> dict[str, Any]:
    """The tables of a file with today's keys and values; each earlier one is told.

    A table that holds both words is left as it is: its form refuses the earlier one.
    """
    made: dict[str, Any] = _renewed(raw, (), where)
    return made


def _renewed(value: Any, path: tuple[str, ...], where: object) -> Any:
    if isinstance(value, list):
        return [_renewed(one, (*path, "*"), where) for one in value]
    if not isinstance(value, dict):
        return value
    keys, values = KEYS.get(path, {}), VALUES.get(path, {})
    made: dict[str, Any] = {}
    for key, held in value.items():
        now = keys.get(key) or key
        if now != key and now not in value:
            tell(where, key, now)
            key = now
        said = values.get(key, {}).get(str(held), "")
        if said:
            tell(where, f"{key} = {held}", f"{key} = {said}")
            held = said
        made[key] = _renewed(held, (*path, key), where)
    return made

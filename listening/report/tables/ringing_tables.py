"""The strongest partials of one strike of each condition: rounded text in every cell; nothing computed."""

from collections.abc import Sequence

from listening.report.figures.sounds import panels
from listening.report.figures.sounds.curves import Curves
from listening.report.rounding import number
from listening.report.tables.table_form import Row, Table

MOST = 5  # of each condition: the figure has them all
CAPTION = (
    "The strongest partials of one strike of each condition; T60 with two standard errors; a beat's depth is "
    "from its trough to its summit at the onset"
)
HEAD = ("condition", "Hz", "level, dB", "T60, s", "± s", "beats, per s", "depth, dB")


def partials(sounds: Sequence[Curves]) -> Table | None:
    """The partials as a table; None where no curves were kept or nothing rings."""
    rows = tuple(row for one in sounds for row in _rows(one))
    return Table(CAPTION, HEAD, rows, frozenset(range(1, 7))) if rows else None


def _rows(one: Curves) -> list[Row]:
    return [_row(one, int(i)) for i in panels.strongest(one, MOST)] if one.has("partial_hz") else []


def _row(one: Curves, i: int) -> Row:
    t60_s, error = float(one.get("partial_t60_s")[i]), 2.0 * float(one.get("partial_t60_se_s")[i])
    digits = 3 if error < 0.01 else 2
    is_known = bool(one.get("partial_known")[i])
    decay = (number(t60_s, digits), number(error, digits)) if is_known else ("not known", "")
    return (
        one.label,
        number(float(one.get("partial_hz")[i]), 1),
        number(float(one.get("partial_level_db")[i]), 1),
        *decay,
        *_beat(one, i),
    )


def _beat(one: Curves, i: int) -> tuple[str, str]:
    """Rate and depth; nothing where it does not beat, or where `measure` of an earlier version kept none."""
    if not one.has("partial_beat_hz") or not one.get("partial_beat_hz")[i]:
        return "", ""
    return number(float(one.get("partial_beat_hz")[i]), 2), number(float(one.get("partial_beat_db")[i]), 0)

"""Compare what a study recorded: one support with another, or one design with another, over strikes."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from joblib import Parallel, delayed

from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import channels
from listening.metrics import measures as metrics
from listening.metrics.comparison import compared, strike_data
from listening.metrics.comparison.strike_data import Strike
from listening.records import protocol, recordings_table
from listening.records.comparison import Comparison
from listening.records.recordings_table import Recording
from listening.records.study import Study

if TYPE_CHECKING:
    import pandas as pd

Levels = dict[str, str]
TWO = 2  # values of a factor whose comparisons the page shows


@dataclass(frozen=True)
class Compared:
    """A comparison as a notebook holds it."""

    found: Comparison

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening compare --json` prints them."""
        return self.found.model_dump(mode="json")

    def to_frame(self, part: str = "rows") -> "pd.DataFrame":
        """`rows` (a row a metric), `partials` or `bands` as a table."""
        import pandas as pd

        return pd.DataFrame(self.to_dict()[part])

    def summary(self) -> str:
        """The text that `listening compare` prints."""
        from listening.steps import comparison_lines

        return "\n".join(comparison_lines.lines(self.found))

    def __str__(self) -> str:
        return self.summary()


def compare(study: Study, level: str, *, with_: str, jobs: int = 1, **fixed: str) -> Compared:
    """The strikes of one condition against those of another of the same study.

    `level` and the fixed values name the first; `with_` is the value of one fixed factor in the second, or of
    the factor of `level`: compare(study, "dome_c", support="free", with_="handlebar").

    Raises
    ------
    StudyError
        A value or factor that the table does not have, or one that does not single out two conditions.
    """
    chosen = protocol.load(study.protocol)
    recordings = recordings_table.load(chosen, study.protocol)
    factors = chosen.recordings.factors
    first = {**fixed, _factor_of(level, recordings, factors): level}
    second = {**first, _factor_of(with_, recordings, factors): with_}
    sides = [_chosen(recordings, factors, levels) for levels in (first, second)]
    if first == second or not all(sides):
        raise StudyError(f"{_named(first)} with {_named(second)}: wanted two conditions with recordings")
    sounds = [[_sound(r) for r in side] for side in sides]
    rate_hz = sounds[0][0].rate_hz
    alike = [[resample.to_rate(s, rate_hz) for s in side] for side in sounds]
    compared.check(*alike)
    work = Parallel(n_jobs=jobs)(delayed(metrics.examine)(s) for side in alike for s in side)
    examined = [work[: len(alike[0])], work[len(alike[0]) :]]
    units = ([r.specimen for r in sides[0]], [r.specimen for r in sides[1]])
    made = compared.of_examined(alike[0], alike[1], examined, names=_names(first, second), units=units)
    return Compared(Comparison.model_validate(made.as_dict()))


def strike(recording: Recording, sound: Sound, examined: metrics.Channel, length_s: float) -> Strike:
    """What the page's comparisons need of one recording."""
    return strike_data.of(sound, length_s=length_s, unit=recording.specimen, examined=examined)


def of_factors(
    recordings: Sequence[Recording], factors: Sequence[str], strikes: Sequence[Strike], *, length_s: float
) -> list[Comparison]:
    """For each factor of two values, the values compared within each combination of the other factors."""
    found: list[Comparison] = []
    if len({(s.rate_hz, s.calibrated) for s in strikes}) > 1:
        return found  # `check` names it
    for place, _ in enumerate(factors):
        levels = list(dict.fromkeys(r.factors[place] for r in recordings))
        if len(levels) != TWO:
            continue
        for rest in dict.fromkeys(_without(r.factors, place) for r in recordings):
            sides = [
                [
                    s
                    for r, s in zip(recordings, strikes, strict=True)
                    if r.factors == _with(rest, place, level)
                ]
                for level in levels
            ]
            if all(sides):
                names = _page_names(rest, levels)
                made = compared.of_strikes(*sides, names=names, length_s=length_s, above_db=None)
                found.append(Comparison.model_validate(made.as_dict()))
    return found


def _page_names(rest: tuple[str, ...], levels: list[str]) -> tuple[str, str]:
    first, second = (" ".join([*rest, level]) for level in levels)
    return first, second


def _without(levels: tuple[str, ...], place: int) -> tuple[str, ...]:
    return levels[:place] + levels[place + 1 :]


def _with(rest: tuple[str, ...], place: int, level: str) -> tuple[str, ...]:
    return (*rest[:place], level, *rest[place:])


def _sound(recording: Recording) -> Sound:
    sound = wav.load(recording.file, recording.pascal_per_full_scale)
    return channels.chosen(sound, recording.channel)[0]


def _factor_of(level: str, recordings: Sequence[Recording], factors: Sequence[str]) -> str:
    for place, factor in enumerate(factors):
        if any(r.factors[place] == level for r in recordings):
            return factor
    known = sorted({value for r in recordings for value in r.factors})
    near = get_close_matches(level, known, n=1)
    hint = f"; did you mean `{near[0]}`?" if near else ""
    raise StudyError(f"`{level}`: no factor has this value; known: {', '.join(known)}{hint}")


def _chosen(recordings: Sequence[Recording], factors: Sequence[str], levels: Levels) -> list[Recording]:
    unknown = [name for name in levels if name not in factors]
    if unknown:
        raise StudyError(f"`{unknown[0]}`: no such factor; known: {', '.join(factors)}")
    missing = [name for name in factors if name not in levels]
    if missing:
        raise StudyError(f"{_named(levels)}: several conditions; say {missing[0]} too, as {missing[0]}=…")
    wanted = tuple(levels[name] for name in factors)
    return [r for r in recordings if r.factors == wanted]


def _named(levels: Levels) -> str:
    return ", ".join(f"{name} {level}" for name, level in levels.items())


def _names(first: Levels, second: Levels) -> tuple[str, str]:
    """What tells the two apart alone."""
    apart = [name for name in first if first[name] != second[name]]
    return " ".join(first[n] for n in apart) or "a", " ".join(second[n] for n in apart) or "b"

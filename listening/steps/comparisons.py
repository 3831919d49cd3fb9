"""Compare what a study recorded: one support with another, or one design with another, over strikes."""

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from joblib import Parallel, delayed

from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import channels
from listening.metrics import measures as metrics
from listening.metrics.comparison import common_poles, compared, strike_data
from listening.metrics.comparison.common_poles import Struck
from listening.metrics.comparison.strike_data import Strike
from listening.records.found.comparison import Comparison
from listening.records.protocols import protocol
from listening.records.sounds.recordings_table import Recording
from listening.records.study import Study
from listening.steps import differences_elsewhere, factor_comparisons
from listening.stimuli import sources

if TYPE_CHECKING:
    import pandas as pd

Levels = dict[str, str]


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


def compare(
    study: Study, level: str, *, with_: str, elsewhere: str | None = None, jobs: int = 1, **fixed: str
) -> Compared:
    """The strikes of one condition against those of another of the same study.

    `level` and the fixed values name the first; `with_` is the value of one fixed factor in the second, or of
    the factor of `level`: compare(study, "dome_c", support="free", with_="handlebar"). `elsewhere` is the
    value of a factor that both then have instead, to see whether they keep their difference there:
    compare(study, "dome_c", with_="dome_d", support="free", elsewhere="handlebar").

    Raises
    ------
    StudyError
        A value or factor that the table does not have, or one that does not single out two conditions.
    """
    chosen = protocol.load(study.protocol)
    recordings, _ = sources.recorded(chosen, study.protocol)
    factors = chosen.recordings.factors
    first = {**fixed, _factor_of(level, recordings, factors): level}
    second = {**first, _factor_of(with_, recordings, factors): with_}
    pairs = [(first, second)]
    if elsewhere is not None:
        place = {_factor_of(elsewhere, recordings, factors): elsewhere}
        pairs.append(({**first, **place}, {**second, **place}))
    sides = [[_chosen(recordings, factors, levels) for levels in pair] for pair in pairs]
    for pair, both in zip(pairs, sides, strict=True):
        if pair[0] == pair[1] or not all(both):
            raise StudyError(f"{' with '.join(map(_named, pair))}: wanted two conditions with recordings")
    background = sources.background(chosen, study.protocol)
    made = [_of_sides(both, background, names=_names(first, second), jobs=jobs) for both in sides]
    found = Comparison.model_validate(made[0].as_dict())
    if elsewhere is not None:
        found = differences_elsewhere.added(found, made[0].rows, made[1].rows, place=elsewhere)
    return Compared(found)


def _of_sides(
    sides: list[list[Recording]], background: Path | None, *, names: tuple[str, str], jobs: int
) -> compared.Comparison:
    rate_hz = sources.usual_rate_hz([r.file for side in sides for r in side])
    parts = [[_channels(r, rate_hz) for r in side] for side in sides]
    first, second = ([sound for one in side for sound, _ in one] for side in parts)
    compared.check(first, second)
    work = iter(Parallel(n_jobs=jobs)(delayed(metrics.examine)(s) for s in (*first, *second)))
    examined = [[[next(work) for _ in one] for one in side] for side in parts]
    every = [
        (sound, found)
        for side, known in zip(parts, examined, strict=True)
        for one, channels_ in zip(side, known, strict=True)
        for (sound, _), found in zip(one, channels_, strict=True)
    ]
    length_s = min(strike_data.ring_s(sound, found.onset.time_s) for sound, found in every)
    loudest_db = float(np.mean([f.levels.laf_max_db for _, f in every[: len(first)]]))
    above_db = loudest_db - compared.DOWN_DB
    strikes = [
        [
            strike(r, one, known, length_s, background=background, above_db=above_db)
            for r, one, known in zip(*rows, strict=True)
        ]
        for rows in zip(sides, parts, examined, strict=True)
    ]
    together = [
        common_poles.of_side(
            [Struck(s, one[s.channel][0]) for s, one in zip(own, parts_of_side, strict=True)]
        )
        for own, parts_of_side in zip(strikes, parts, strict=True)
    ]
    return compared.of_strikes(*together, names=names, length_s=length_s, above_db=above_db)


def strike(
    recording: Recording,
    parts: Sequence[tuple[Sound, int]],
    examined: Sequence[metrics.Channel],
    length_s: float,
    *,
    background: Path | None = None,
    above_db: float | None = None,
) -> Strike:
    """What comparisons need of one recording, its channels as one; `parts` is each with its number."""
    return strike_data.averaged(
        [
            strike_data.of(
                sound,
                length_s=length_s,
                above_db=above_db,
                background=None if background is None else _room(background, sound, number),
                unit=recording.specimen,
                examined=found,
            )
            for (sound, number), found in zip(parts, examined, strict=True)
        ]
    )


def _room(background: Path, sound: Sound, number: int) -> Sound:
    """The room as the same channel heard it."""
    room = resample.to_rate(wav.for_measuring(background, sound.pascal_per_full_scale), sound.rate_hz)
    return room.channel(min(number, room.n_channels) - 1)


def with_common_poles(
    recordings: Sequence[Recording], factors: Sequence[str], strikes: Sequence[Strike], *, jobs: int
) -> list[Strike]:
    """The strikes of a study, those of one condition and specimen read together; their files are read again.

    Only where the page compares something: two strikes of a few megabytes a condition lie in memory.
    """
    rates = {s.rate_hz for s in strikes}
    if len(rates) > 1 or not any(factor_comparisons.has_two(recordings, i) for i in range(len(factors))):
        return list(strikes)
    conditions = list(dict.fromkeys(r.factors for r in recordings))
    groups = [[i for i, r in enumerate(recordings) if r.factors == one] for one in conditions]
    work = Parallel(n_jobs=jobs)(
        delayed(_read_together)([recordings[i] for i in g], [strikes[i] for i in g]) for g in groups
    )
    found = dict(zip((i for g in groups for i in g), (s for made in work for s in made), strict=True))
    return [found[i] for i in range(len(strikes))]


def _read_together(recordings: Sequence[Recording], strikes: Sequence[Strike]) -> list[Strike]:
    parts = [_channels(r, s.rate_hz) for r, s in zip(recordings, strikes, strict=True)]
    return common_poles.of_side([Struck(s, own[s.channel][0]) for s, own in zip(strikes, parts, strict=True)])


def _channels(recording: Recording, rate_hz: int) -> list[tuple[Sound, int]]:
    sound = resample.to_rate(wav.for_measuring(recording.file, recording.pascal_per_full_scale), rate_hz)
    return channels.all_or_one(sound, recording.channel)


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

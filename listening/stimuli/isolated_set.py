"""The isolated stimuli of a set: what each base strike has to become, and the files wanted of it."""

from dataclasses import replace

import numpy as np

from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.records.kinds import metric_register
from listening.records.protocols.isolation import Isolation
from listening.records.protocols.protocol import ISOLATED, Protocol
from listening.stimuli import isolate, match, modal, sources
from listening.stimuli.isolate import Asked, Variant
from listening.stimuli.sources import Common, Ears, Source
from listening.stimuli.stimulus_file import Metrics, Wanted
from listening.stimuli.work import Work


def n_tasks(chosen: Protocol, found: list[Source]) -> int:
    """Steps that `made` reports: the strikes moved toward, and the base strikes."""
    if chosen.isolation is None:
        return 0
    asked = (chosen.isolation.base, chosen.isolation.toward)
    return sum(s.role == "study" and s.condition in asked for s in found)


def made(
    chosen: Protocol, found: list[Source], before: dict[str, Metrics], *, common: Common, work: Work
) -> tuple[list[Wanted], float | None]:
    """Every isolated stimulus without its file name, and the common value they are matched to.

    Raises
    ------
    StudyError, SoundError
        A strike does not suit, or a variant misses what was asked: with the numbers and the way out.
    """
    if chosen.isolation is None:
        return [], None
    asked = _asked(chosen, chosen.isolation, found, before, common=common, work=work)
    strikes = _of(found, chosen.isolation.base)
    per_strike = work.each(_variants, strikes, common, asked)
    wanted = [_wanted(s, v) for s, variants in zip(strikes, per_strike, strict=True) for v in variants]
    order = {name: i for i, name in enumerate(chosen.isolation.conditions)}
    return sorted(wanted, key=lambda w: order[w.condition]), asked.target


def _of(found: list[Source], condition: str) -> list[Source]:
    strikes = [s for s in found if s.role == "study" and s.condition == condition]
    if not strikes:
        known = ", ".join(dict.fromkeys(s.condition for s in found if s.role == "study"))
        raise StudyError(f"isolation: found `{condition}`, wanted one of {known}")
    return strikes


def _asked(
    chosen: Protocol,
    isolation: Isolation,
    found: list[Source],
    before: dict[str, Metrics],
    *,
    common: Common,
    work: Work,
) -> Asked:
    presentation = chosen.presentation(ISOLATED)
    metric = presentation.metric or "laf_max_db"
    base = [before[s.name] for s in _of(found, isolation.base)]
    brightness, decay, line = isolation.brightness_ratio, isolation.decay_ratio, None
    if isolation.toward is not None:
        ends = _of(found, isolation.toward)
        brightness = _ratio([before[s.name] for s in ends], base, chosen.covariates.brightness)
        decay = _ratio([before[s.name] for s in ends], base, chosen.covariates.decay)
        level, slope = np.mean(work.each(_line, ends, common), axis=0)
        line = (float(level), float(slope))
    values = [v for row in base if (v := row[metric_register.named(metric).measured_key]) is not None]
    return Asked(
        isolation=isolation,
        end_line=line,
        brightness_ratio=brightness,
        decay_ratio=decay,
        brightness_key=chosen.covariates.brightness,
        decay_key=chosen.covariates.decay,
        metric=metric,
        target=match.target(values),
        tolerance_db=presentation.tolerance_db,
        window=common.window,
    )


def _ratio(ends: list[Metrics], base: list[Metrics], key: str) -> float:
    values = [[row[key] for row in rows] for rows in (ends, base)]
    if any(v is None for row in values for v in row):
        raise StudyError(f"isolation: a strike has no {key}; name another metric in [covariates]")
    return float(np.mean(np.array(values[0], float)) / np.mean(np.array(values[1], float)))


def _line(source: Source, common: Common) -> np.ndarray:
    return isolate.damping_line(modal.split(_strike(source, common)))


def _variants(source: Source, common: Common, asked: Asked) -> list[Variant]:
    return isolate.variants(_strike(source, common), asked)


def _strike(source: Source, common: Common) -> Sound:
    # taken apart in one channel; the side that hears it comes with the file
    ears: Ears = "as recorded" if common.ears == "as recorded" else "both"
    sound = sources.whole(source, replace(common, ears=ears))
    if sound.n_channels > 1:
        raise StudyError(
            f"{source.file}: {sound.n_channels} channels; a strike is taken apart in one: "
            "export it as mono, or set playback.ears"
        )
    return sound


def _wanted(source: Source, variant: Variant) -> Wanted:
    return Wanted(
        source=source,
        presentation=ISOLATED,
        gain_db=variant.gain_db,
        before=variant.before,
        file="",
        condition=variant.condition,
        sound=variant.sound,
        isolated=variant.isolated,
    )

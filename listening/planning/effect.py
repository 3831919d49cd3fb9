"""A true effect in the words people have, turned into the model's log-odds."""

import math
from dataclasses import dataclass

from listening.errors import StudyError
from listening.records.kinds import tasks
from listening.records.protocols.planned_power import Assumed
from listening.simulate import answering
from stats.mixed import marginal_share

POINTS = "points=8 (of the scale, for ratings)"
WORDS = "share=0.75 (of choices), db=2.0 (worth so many decibel of level) or logit=0.8"


@dataclass(frozen=True)
class Effect:
    """A true effect."""

    logit: float
    """Of the mean listener."""
    said: str


def of_text(text: str, assumed: Assumed, *, logit_per_db: float | None = None) -> Effect:
    """The effect that `share=0.75`, `db=2` or `logit=0.8` means.

    Parameters
    ----------
    logit_per_db : how much a decibel of level alone moves the answer; needed for db=

    Raises
    ------
    StudyError
        The text is none of the three, or its number is out of range.
    """
    unit, _, number = text.partition("=")
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if unit == "share" and 0 < value < 1:
        return of_share(value, assumed)
    if unit == "db" and math.isfinite(value):
        if logit_per_db is None:
            raise StudyError(
                f"effect {text}: how much does a decibel alone move the answer? Give --logit-per-db, from "
                "the control pairs of a pilot (listening pilot FOLDER)"
            )
        return Effect(value * logit_per_db, f"worth {value:g} dB of level")
    if unit == "logit" and math.isfinite(value):
        return Effect(value, f"{value:g} logit")
    raise StudyError(f"effect: found `{text}`, wanted {WORDS}")


def of_share(share: float, assumed: Assumed) -> Effect:
    """The effect with which a condition is chosen in this share of trials, over listeners and strikes."""
    logit = marginal_share.mean_logit(share, spread(assumed)) if share != 0.5 else 0.0
    return Effect(logit, f"chosen {100 * share:g} times in 100")


def of_points(text: str, task_name: str) -> Effect:
    """The effect that `points=8` means on the scale of a rating.

    Raises
    ------
    StudyError
        The text is none of these, or its number is out of range.
    """
    unit, _, number = text.partition("=")
    try:
        value = float(number)
    except ValueError:
        value = math.nan
    if unit != "points" or not math.isfinite(value):
        raise StudyError(f"effect: found `{text}`, wanted {POINTS}")
    return Effect(value / points_a_logit(task_name), f"{value:g} points of the scale")


def points_a_logit(task_name: str) -> float:
    """What a logit of strength is on the scale of a rating, in simulated panels."""
    task = tasks.named(task_name)
    if not task.has_marks:
        return 1.0 / answering.CATEGORY_WIDTH
    return answering.POINTS_PER_LOGIT if task.marks == tasks.POINTS_0_TO_100 else answering.GRADES_PER_LOGIT


def share_of(logit: float, assumed: Assumed) -> float:
    """Share of choices over listeners and strikes that an effect comes to."""
    return marginal_share.share(logit, spread(assumed))


def spread(assumed: Assumed) -> float:
    """Standard deviation of a contrast over listeners and single strikes, log-odds."""
    return math.hypot(assumed.spread_listeners, math.sqrt(2) * assumed.spread_stimuli)

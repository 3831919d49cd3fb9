"""How a simulated listener answers the tasks other than a choice between two: simple models with known truth.

Each sound is heard as its strength (logit) plus noise of its own; the rules of decision are the usual ones of
signal detection (difference rule for same-different, closest pair for triangle and duo-trio).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial
from listening.records.kinds import tasks
from listening.simulate.percepts import FloatArray

CRITERION = 1.5  # same-different: a difference beyond this is called different
CATEGORY_WIDTH = 1.0  # logit a category
POINTS_PER_LOGIT = 10.0  # on a scale of 0 to 100
GRADES_PER_LOGIT = 0.5  # of impairment, on a scale of 1.0 to 5.0
ADJUSTING_NOISE_DB = 1.0
GAIN_STEP_DB = 0.5
GAIN_RANGE_DB = (-12.0, 6.0)


@dataclass(frozen=True)
class Heard:
    """One trial as it is heard: the reference, if there is one, and the sounds in order."""

    attribute: PlannedAttribute
    trial: PlannedTrial
    sounds: FloatArray
    """(sounds,) strength plus noise, relative to the mean of the set."""
    reference: float | None
    level_db: FloatArray
    """(sounds,) the listener's own loudness level."""


Rule = Callable[[Heard, np.random.Generator], str]


def answer(heard: Heard, rng: np.random.Generator) -> str:
    """What is answered, as the store keeps it."""
    task = tasks.named(heard.attribute.task)
    if task.has_hidden_reference and task.sounds == 2:
        return _graded(heard)
    rule = BY_PLACE[task.picks] if task.sheet == "place" else BY_SHEET[task.sheet]
    return rule(heard, rng)


def _compared(heard: Heard, _rng: np.random.Generator) -> str:
    step = _category(heard.sounds[1] - heard.sounds[0], 7) - 4
    return f"{step:+d}" if step else "0"


def _rated_in_categories(heard: Heard, _rng: np.random.Generator) -> str:
    return str(_category(float(heard.sounds[0]), len(heard.attribute.scale)))


def _category(strength: float, n: int) -> int:
    """1 to n, the middle one around zero."""
    return int(np.clip(round((n + 1) / 2 + strength / CATEGORY_WIDTH), 1, n))


def _rated(heard: Heard, _rng: np.random.Generator) -> str:
    """On the attribute itself; in bands of quality beside a reference, by how near each comes to it."""
    if heard.attribute.scale_bands and heard.reference is not None:
        apart = abs(heard.sounds - heard.reference)
        points = np.clip(np.round(100.0 - POINTS_PER_LOGIT * (apart - apart.min())), 0, 100)
        return " ".join(f"{value:g}" for value in points)
    points = np.clip(np.round(50.0 + POINTS_PER_LOGIT * heard.sounds), 0, 100)
    return " ".join(f"{value:g}" for value in points)


def _graded(heard: Heard) -> str:
    """The sound nearer to the reference is taken for it; the other loses grades with its distance."""
    if heard.reference is None:
        raise LookupError("a triple-stimulus trial without a reference")
    apart = abs(heard.sounds - heard.reference)
    grades = np.clip(5.0 - GRADES_PER_LOGIT * (apart - apart.min()), 1.0, 5.0)
    return " ".join(f"{value:.1f}".removesuffix(".0") for value in grades)


def _same_or_different(heard: Heard, _rng: np.random.Generator) -> str:
    return "different" if abs(heard.sounds[0] - heard.sounds[1]) > CRITERION else "same"


def _odd_of_three(heard: Heard, _rng: np.random.Generator) -> str:
    a, b, c = heard.sounds
    apart = {"third": abs(a - b), "second": abs(a - c), "first": abs(b - c)}
    return min(apart, key=lambda odd: float(apart[odd]))


def _like_the_reference(heard: Heard, _rng: np.random.Generator) -> str:
    if heard.reference is None:
        raise LookupError("a duo-trio trial without a reference")
    first, second = (abs(sound - heard.reference) for sound in heard.sounds)
    return "first" if first < second else "second"


def _adjusted(heard: Heard, rng: np.random.Generator) -> str:
    gain_db = heard.level_db[0] - heard.level_db[1] + ADJUSTING_NOISE_DB * rng.standard_normal()
    return f"{np.clip(round(gain_db / GAIN_STEP_DB) * GAIN_STEP_DB, *GAIN_RANGE_DB):g}"


BY_SHEET: dict[tasks.Sheet, Rule] = {
    "compared label": _compared,
    "label": _rated_in_categories,
    "marks": _rated,
    "same or different": _same_or_different,
    "gain": _adjusted,
}
BY_PLACE: dict[tasks.Picked | None, Rule] = {"odd": _odd_of_three, "like the reference": _like_the_reference}

"""Answers about level beside those to a question: control pairs, and which of the two is louder."""

from collections.abc import Mapping

import numpy as np

from listening.analysis.collect import answer_table
from listening.analysis.collect.answer_table import Table
from listening.analysis.collect.keyed_answers import CONTROL
from listening.planning import panel_size
from listening.planning.level_plan import FloatArray, Gain, LevelPlan
from listening.planning.panel_size import FIRST, SECOND, Columns, Trials
from listening.records.protocols.planned_power import Assumed
from listening.simulate.true_effects import SLOPE_SPREAD


def table(
    answers: Columns,
    made: Trials,
    plan: LevelPlan,
    listeners: int,
    *,
    levels_db: Mapping[str, FloatArray],
    assumed: Assumed,
    rng: np.random.Generator,
) -> Table:
    """The answers to a question with those that bound level, as the analysis reads them.

    Parameters
    ----------
    answers : as `panel_size.answers` gives them for these trials
    levels_db : by level metric, of each stimulus of the trials
    """
    heard = made.stimulus[made.slot < listeners]
    apart = {
        f"{metric}_difference": level[heard[:, FIRST]] - level[heard[:, SECOND]]
        for metric, level in levels_db.items()
    }
    parts = [answer_table.of_columns({**answers, **apart, "gain_difference_db": 0.0})]
    attribute = made.question.attribute
    parts.append(_controls(attribute, plan.gains, assumed.logit_per_db, listeners, assumed, rng))
    if plan.loudness is not None and plan.heard is not None:
        louder = float(np.mean(list(plan.louder(assumed).values())))
        told = panel_size.answers(plan.heard, listeners, louder, assumed, rng)
        none = {f"{metric}_difference": 0.0 for metric in levels_db}
        parts.append(answer_table.of_columns({**told, **none, "gain_difference_db": 0.0}))
        known = (plan.loudness_gains, assumed.level_logit_per_db)
        parts.append(_controls(plan.loudness, *known, listeners, assumed, rng))
    return answer_table.joined(parts)


def _controls(
    attribute: str,
    gains: tuple[Gain, ...],
    logit_per_db: float,
    listeners: int,
    assumed: Assumed,
    rng: np.random.Generator,
) -> Table:
    """Answers to one sound against itself at each gain, the louder one first in every other trial."""
    slope = logit_per_db * (1.0 + SLOPE_SPREAD * rng.standard_normal(listeners))
    order = assumed.order * (1.0 + rng.standard_normal(listeners))
    each = np.concatenate([np.full(gain.answers, gain.gain_db) for gain in gains] or [np.zeros(0)])
    turned = np.where(np.arange(each.size) % 2 == 0, 1.0, -1.0)
    gain_db = np.tile(each * turned, listeners)
    who = np.repeat(np.arange(listeners), each.size)
    chance = 1.0 / (1.0 + np.exp(order[who] - slope[who] * gain_db))
    chance = assumed.lapses / 2 + (1.0 - assumed.lapses) * chance
    names = np.array([panel_size.name(i) for i in range(listeners)], object)
    return answer_table.of_columns(
        {
            "listener": names[who],
            "attribute": attribute,
            "presentation": "",
            "role": CONTROL,
            "gain_difference_db": gain_db,
            "chosen": (rng.random(who.size) < chance).astype(float),
        }
    )

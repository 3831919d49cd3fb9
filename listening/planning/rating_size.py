"""Studies of ratings with a known effect: dealt, rated by drawn listeners, decided by the deciding model."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from listening.analysis import planned_verdicts
from listening.analysis.opening.sealed_key import Opened
from listening.design import dealing
from listening.design.draws import open_secret
from listening.errors import StudyError
from listening.planning import effect, stand_in
from listening.records.kinds import tasks
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from listening.records.protocols.protocol_parts import Exclusions
from listening.records.sounds.manifest import Manifest
from listening.simulate import panel, true_effects
from listening.simulate.true_effects import Cell, Effects, Panel, Trials
from stats import t_interval

REFERENCE_AHEAD = 4.0  # logit: a known reference is heard out in nearly every trial; stated, not measured


@dataclass(frozen=True)
class RatingStudy:
    """One attribute and question, for so many listeners."""

    opened: Opened
    trials: Trials
    truth: Panel
    question: Question

    @property
    def per_listener(self) -> float:
        """Trials of one listener, on average."""
        return len(self.trials.slot) / (int(self.trials.slot.max()) + 1)


def study(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    *,
    listeners: int,
    repeats: int,
    effect_logit: float,
    assumed: Assumed,
) -> RatingStudy:
    """The question's attribute alone, dealt in memory for a panel to which the effect is true.

    Raises
    ------
    StudyError
        Level is corrected and the sounds are not rated both as recorded and matched: no verdict can be had.
    """
    blocks = [b for b in protocol.blocks if b.attribute == question.attribute]
    _refuse_without_level(protocol, question, {b.presentation for b in blocks})
    sitting = protocol.sitting.model_copy(update={"together": [], "practice_trials": 0})
    alone = protocol.model_copy(
        update={
            "attributes": [protocol.attribute(question.attribute)],
            "blocks": [b.model_copy(update={"repeats": repeats}) for b in blocks],
            "controls": [],
            "questions": [question],
            "superlatives": [],
            "exclusions": Exclusions(),
            "panel": protocol.panel.model_copy(update={"listeners": listeners, "spare": 0}),
            "sitting": sitting,
        }
    )
    levelled = stand_in.with_levels(manifest)
    secret = open_secret(protocol.seed)
    dealt = dealing.deal(alone, levelled, protocol_digest="0" * 64, secret=secret, dealt_at="")
    conditions = {clip.condition for clip in dealt.key.clips}
    more, than = question.contrast.more, question.contrast.than
    strength = dict.fromkeys(conditions, 0.0) | {more: effect_logit / 2, than: -effect_logit / 2}
    reference = next((b.reference for b in blocks if b.reference), None)
    if reference in conditions - {more, than}:
        strength[str(reference)] = abs(effect_logit) / 2 + REFERENCE_AHEAD
    true = Effects(strength, {name: name for name in conditions})
    effects: dict[Cell, Effects] = {(b.attribute, b.presentation): true for b in blocks}
    trials = true_effects.trials_of(dealt.plan, dealt.key, levelled, effects)
    truth = Panel(effects, assumed, assumed.logit_per_db, assumed.logit_per_db)
    return RatingStudy(Opened(alone, dealt.plan, dealt.key, levelled), trials, truth, question)


def word(made: RatingStudy, alpha: float, rng: np.random.Generator) -> str:
    """The verdict of one simulated study."""
    asked = made.question.model_copy(update={"alpha": alpha})
    protocol = made.opened.protocol.model_copy(update={"questions": [asked]})
    said = true_effects.answers(made.trials, made.truth, frozenset(), rng)
    keep = np.ones(len(made.trials.slot), dtype=bool)
    given = true_effects.columns(made.trials, said, keep)
    seen = planned_verdicts.screened(made.opened, given, protocol)
    return str(planned_verdicts.words(seen, protocol)[asked.id])


def by_formula(made: RatingStudy, effect_logit: float, *, alpha: float) -> float | None:
    """Chance of `supported`, level and the scale's ends aside: a contrast of means with its t limit.

    None for an equivalence, which hangs on how many listeners hear a difference of their own.
    """
    if made.question.of_kind.is_equivalence:
        return None
    asked, assumed = made.question, made.truth.assumed
    task = tasks.named(made.opened.protocol.attribute(asked.attribute).task)
    points = effect.points_a_logit(task.name)
    ends = (asked.contrast.more, asked.contrast.than)
    keyed = {clip.clip: clip for clip in made.opened.key.clips}
    # beside a hidden reference every sound of a trial is graded; of three sounds the grade is a difference
    graded = task.has_hidden_reference
    noise_sd = panel.NOISE_SD * (math.sqrt(2) if graded and task.marks != tasks.POINTS_0_TO_100 else 1.0)
    shown = [keyed[clip] for t in made.trials.planned for clip in (t.clips if graded else t.clips[-1:])]
    here = [c for c in shown if c.presentation == asked.presentation and c.condition in ends]
    n = int(made.trials.slot.max()) + 1
    each = max(len(here) / len(ends) / n, 1e-9)
    strikes = [len({c.stimulus for c in here if c.condition == end}) or 1 for end in ends]
    variance = (assumed.spread_listeners**2 + 2 * noise_sd**2 / each) / n
    variance += assumed.spread_stimuli**2 * sum(1 / k for k in strikes)
    se, true, delta = points * math.sqrt(variance), points * effect_logit, asked.smallest_effect
    reach = t_interval.of(0.0, se, n - 1.0, 1 - 2 * alpha)[1]
    return NormalDist().cdf((true - max(reach, delta)) / se)


def _refuse_without_level(protocol: Protocol, question: Question, heard_in: set[str]) -> None:
    attribute = protocol.attribute(question.attribute)
    if tasks.named(attribute.task).has_hidden_reference:  # graded against one that is heard beside it
        return
    about_level = attribute.about_level
    if question.presentation != AS_RECORDED and not about_level and AS_RECORDED not in heard_in:
        raise StudyError(
            f"{question.id}: ratings of matched sounds alone do not tell what level does, so no panel "
            f"decides it: rate them as recorded too (a block of `{question.attribute}`, presentation "
            f'"{AS_RECORDED}")'
        )

"""What the plan promises of each question: power by formula, if it is as hoped."""

from listening.errors import StudyError
from listening.planning import approximate, panel_size, rating_size
from listening.planning.family_alpha import deciding_alpha
from listening.planning.rehearsal.hoped import Hoped
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.manifest import Manifest


def power(protocol: Protocol, manifest: Manifest, question: Question, hoped: Hoped) -> float | None:
    """Chance of `supported` at the planned end by formula, level aside; None where there is no formula.

    Of a planned subgroup the whole panel's chance is none, so it has none either.
    """
    if question.of_kind.by_right_answers or question.among is not None:
        return None
    listeners = protocol.panel.listeners
    alpha = deciding_alpha(protocol, question)
    if question.unit == "points":
        return _of_rating(protocol, manifest, question, hoped, alpha)
    try:
        made = panel_size.trials(protocol, manifest, question, listeners=listeners)
    except (StudyError, ValueError):
        return None
    effects = hoped.effects[question.attribute, question.presentation]
    more, than = question.contrast.pairs[0]
    assumed = hoped.assumed
    if effects.alike[more] == effects.alike[than]:
        assumed = assumed.model_copy(update={"spread_listeners": 0.0})
    logit = effects.strength[more] - effects.strength[than]
    return approximate.power(made, listeners, logit, alpha=alpha, assumed=assumed)


def _of_rating(
    protocol: Protocol, manifest: Manifest, question: Question, hoped: Hoped, alpha: float
) -> float | None:
    where = (question.attribute, question.presentation)
    strength = hoped.effects[where].strength
    logit = strength[question.contrast.more] - strength[question.contrast.than]
    try:
        made = rating_size.study(
            protocol,
            manifest,
            question,
            listeners=protocol.panel.listeners,
            repeats=next(b.repeats for b in protocol.blocks if (b.attribute, b.presentation) == where),
            effect_logit=logit,
            assumed=hoped.assumed,
        )
    except StudyError:
        return None
    return rating_size.by_formula(made, logit, alpha=alpha)

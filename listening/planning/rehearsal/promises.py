"""What the plan promises of each question: power by formula, if it is as hoped."""

from listening.errors import StudyError
from listening.planning import approximate, panel_size
from listening.planning.family_alpha import deciding_alpha
from listening.planning.rehearsal.hoped import Hoped
from listening.records.manifest import Manifest
from listening.records.protocol import Protocol, Question


def power(protocol: Protocol, manifest: Manifest, question: Question, hoped: Hoped) -> float | None:
    """Chance of `supported` at the planned end by formula, level aside; None where there is no formula.

    Of a planned subgroup the whole panel's chance is none, so it has none either.
    """
    if not question.by_choices or question.among is not None:
        return None
    listeners = protocol.panel.listeners
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
    alpha = deciding_alpha(protocol, question)
    return approximate.power(made, listeners, logit, alpha=alpha, assumed=assumed)

"""What the plan promises of each question: power by formula, if it is as hoped."""

from listening.errors import StudyError
from listening.planning import approximate, level_plan, panel_size, rating_size
from listening.planning.family_alpha import deciding_alpha
from listening.planning.level_plan import LevelPlan
from listening.planning.rehearsal.hoped import Hoped
from listening.records.protocols.contrasts import Pair
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Contrast, Protocol, Question, Superlative
from listening.records.sounds.manifest import Manifest
from stats.deciding import share_power


def power(protocol: Protocol, manifest: Manifest, question: Question, hoped: Hoped) -> float | None:
    """Chance of `supported` at the planned end by formula, level bounded as planned; None without a formula.

    Of a planned subgroup the whole panel's chance is none, so it has none either.
    """
    if question.of_kind.by_right_answers or question.among is not None:
        return None
    alpha = deciding_alpha(protocol, question)
    if question.unit == "points":
        return _of_rating(protocol, manifest, question, hoped, alpha)
    more, than = question.contrast.pairs[0]
    effects = hoped.effects[question.attribute, question.presentation]
    assumed = hoped.assumed
    if effects.alike[more] == effects.alike[than]:
        assumed = assumed.model_copy(update={"spread_listeners": 0.0})
    logit = effects.strength[more] - effects.strength[than]
    return _of_choices(protocol, manifest, question, hoped, logit, assumed, alpha)


def _of_choices(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    hoped: Hoped,
    logit: float,
    assumed: Assumed,
    alpha: float,
) -> float | None:
    listeners = protocol.panel.listeners
    try:
        made = panel_size.trials(protocol, manifest, question, listeners=listeners)
        level = level_plan.of_question(protocol, manifest, question)
    except (StudyError, ValueError):
        return None
    louder = {} if level is None else _louder(question, level, hoped, assumed)
    return approximate.power(made, listeners, logit, alpha=alpha, assumed=assumed, level=level, louder=louder)


def _louder(question: Question, level: LevelPlan, hoped: Hoped, assumed: Assumed) -> dict[Pair, float]:
    """How much more often the first of each pair is hoped to be called louder, log-odds."""
    effects = hoped.effects.get((level.loudness or "", question.presentation))
    if effects is None:
        return {}
    strength = effects.strength
    left_over = level.louder(assumed) if effects.level_acts else {}
    return {
        (more, than): strength[more] - strength[than] + left_over.get((more, than), 0.0)
        for more, than in question.contrast.pairs
    }


def superlative(protocol: Protocol, manifest: Manifest, asked: Superlative, hoped: Hoped) -> float | None:
    """Chance that all comparisons of a superlative are supported at the planned end.

    They share the condition on top, its strikes and every listener's view of it, so they go together: half
    of what is not chance in one comparison is in each of the others.
    """
    strength = hoped.effects[asked.attribute, asked.presentation].strength
    each, shared = [], 0.0
    for than in sorted(set(strength) - {asked.condition}):
        question = as_question(asked, than)
        logit = strength[asked.condition] - strength[than]
        chance = _of_choices(protocol, manifest, question, hoped, logit, hoped.assumed, asked.alpha)
        if chance is None:
            return None
        each.append(chance)
        made = panel_size.trials(protocol, manifest, question, listeners=protocol.panel.listeners)
        pair = approximate.planned_pair(made, protocol.panel.listeners, logit, hoped.assumed)
        if not pair.answers or pair.listeners < 2:
            return 0.0
        what = share_power.expected(pair)
        whole = what.from_listeners + sum(what.from_strikes)
        shared = max(shared, (whole - what.noise) / (2 * whole))
    return share_power.all_of(each, shared)


def as_question(asked: Superlative, than: str) -> Question:
    """One comparison of a superlative, as the analysis puts it."""
    return Question(
        id=asked.id,
        kind="more",
        attribute=asked.attribute,
        presentation=asked.presentation,
        contrast=Contrast(more=asked.condition, than=than),
        smallest_effect=asked.smallest_effect,
        alpha=asked.alpha,
    )


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

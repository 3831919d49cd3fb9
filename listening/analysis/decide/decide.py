"""The verdict on each planned question: direct answers of its pair, level by monotony, families corrected."""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace

import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import direct_answers, families, level_taken
from listening.analysis.decide.direct_answers import DirectAnswers
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from stats.deciding import share_verdict, verdict
from stats.deciding.direct_share import DirectShare
from stats.deciding.level_bound import LevelBound
from stats.errors import StatsError

FLIPS = "the verdict depends on how level is taken"  # of ratings, where slopes still enter
NO_SLOPE = (
    "nothing tells how much level alone moves this answer: no control pairs and no second presentation, so "
    "what is heard beyond level stays open"
)
NEVER_MET = "no listener compared the two directly"
NOBODY_AMONG = "no listener who compared the two said to be among {label}"
NO_METRIC = "no level metric of these stimuli is known, so what is heard beyond level stays open"


Groups = Mapping[str, AbstractSet[str]]


@dataclass(frozen=True)
class Fitted:
    """One question with the direct answers that decide it, before its alpha is known."""

    question: Question
    direct: DirectAnswers
    found: DirectShare | None
    """None where fewer than two listeners met the pair."""
    level: tuple[LevelBound, ...]
    """The share with level's part taken off, each way; empty where level is not corrected."""
    refused: str
    """Why no verdict can be had whatever the numbers; empty if it can."""
    warnings: tuple[str, ...]
    n_answers: int
    """Of the whole block."""

    @property
    def n_listeners(self) -> int:
        """Those who met the pair."""
        return self.direct.n_listeners


@dataclass(frozen=True)
class Decided:
    """One question, judged at the alpha that its family leaves it."""

    fitted: Fitted
    word: verdict.Word
    reason: str
    flips: bool
    """Whether level's largest part changes the word."""
    alpha: float
    p: float | None
    judged: share_verdict.Decided | None


def decide_question(
    table: pd.DataFrame,
    question: Question,
    *,
    about_level: bool = False,
    loudness: str | None = None,
    alpha: float | None = None,
) -> Decided:
    """One planned question decided by itself, without a file or a family.

    Parameters
    ----------
    table : answers as `keyed_answers.frame` gives them, control pairs and other attributes with them
    about_level : the attribute is level itself, so level is not taken off
    loudness : the attribute that asks which is louder, for level as it is heard; None without one
    alpha : the corrected one-sided alpha; the question's own if not given
    """
    fitted = fit_question(table, question, about_level=about_level, loudness=loudness)
    return judge(fitted, question.alpha if alpha is None else alpha)


def decide_all(table: pd.DataFrame, protocol: Protocol, groups: Groups | None = None) -> dict[str, Decided]:
    """All questions that choices decide, by id; each family corrected by Holm's steps.

    Parameters
    ----------
    groups : the listeners of each question that is planned for a subgroup, by its id
    """
    loudness = protocol.paired_loudness
    fitted = [
        fit_question(
            of_group(table, question, groups or {}),
            question,
            about_level=protocol.attribute(question.attribute).about_level,
            loudness=loudness,
        )
        for question in protocol.questions
        if question.by_choices
    ]
    gathered = families.gathered(fitted, lambda one: one.question)
    decided = [one for family in gathered for one in judge_family(family)]
    return {one.fitted.question.id: one for one in decided}


def of_group(table: pd.DataFrame, question: Question, groups: Groups) -> pd.DataFrame:
    """The answers that a question is decided by: everybody's, or those of listeners who may decide it.

    Parameters
    ----------
    groups : listeners of each question planned for a subgroup, or where a rule leaves some out; by its id
    """
    if question.among is None and question.id not in groups:
        return table
    return table[table["listener"].isin(groups.get(question.id, set()))].reset_index(drop=True)


def judge_family(family: Sequence[Fitted]) -> list[Decided]:
    """The questions of a family, judged by Holm's steps."""
    return families.judged(
        family,
        p=lambda one: p if (p := p_value(one)) is not None else 1.0,
        judge=lambda one, n: judge(one, one.question.alpha / n),
        rejects=lambda one, decided, n: (
            decided.judged is not None and decided.judged.rejects and not one.refused
        ),
    )


def contradicted_in_superlative(one: Decided, n_against: int) -> Decided:
    """A comparison of a superlative; if contradicted, judged again at its even part of alpha."""
    shared = families.even(one.fitted.question.alpha, n_against)
    if one.word != "contradicted" or one.alpha <= shared:
        return one
    return judge(one.fitted, shared)


def fit_question(
    table: pd.DataFrame,
    question: Question,
    *,
    about_level: bool = False,
    loudness: str | None = None,
    ordered: bool = True,
) -> Fitted:
    """The share of direct choices with level taken every way; see `decide_question`.

    Parameters
    ----------
    ordered : whether the first sound of a row is known to have been heard first
    """
    rows = keyed_answers.select(table, attribute=question.attribute, presentation=question.presentation)
    direct = direct_answers.of_contrast(rows, question.contrast)
    direct = direct if ordered else replace(direct, more_first=None)
    corrected = question.presentation != AS_RECORDED and not about_level
    if direct.n_listeners < 2:
        return Fitted(question, direct, None, (), "", (), len(rows))
    try:
        found = direct.share(question.alpha)
        level = _level(table, question, direct, found, loudness) if corrected else ()
    except StatsError as error:
        refused = f"the answers cannot bear the question: {error}"
        return Fitted(question, direct, None, (), refused, (), len(rows))
    refused = NO_METRIC if corrected and not direct.residual_db else ""
    heard = any(one.metric == level_taken.AS_HEARD for one in level)
    warnings = found.warnings if heard or not corrected else (*found.warnings, level_taken.HEARD_UNASKED)
    return Fitted(question, direct, found, level, refused, warnings, len(rows))


def judge(fitted: Fitted, alpha: float) -> Decided:
    """The verdict at a one-sided alpha, on the share; level taken every way must leave the word as it is."""
    if fitted.found is None:
        word, reason = _without_answers(fitted)
        return Decided(fitted, word, reason, False, alpha, None, None)
    question = fitted.question
    judged = share_verdict.decide(
        fitted.found,
        question.rule,
        smallest=question.smallest_share,
        alpha=alpha,
        outside_limit=question.outside_limit,
        level=fitted.level,
    )
    word, reason = judged.word, judged.reason
    if fitted.refused and word != "no verdict":
        word, reason = "undecided", fitted.refused
    flips = judged.word != judged.direct.word
    if flips and any(level_taken.is_unheard(one) for one in fitted.level) and level_taken.AS_HEARD in reason:
        reason = level_taken.HEARD_UNBOUNDED
    return Decided(fitted, word, reason, flips, alpha, judged.p, judged)


def p_value(fitted: Fitted) -> float | None:
    """The largest one-sided p over all ways of taking level; None without answers."""
    if fitted.found is None:
        return None
    question = fitted.question
    return share_verdict.p_value(
        fitted.found, question.rule, smallest=question.smallest_share, level=fitted.level
    )


def _level(
    table: pd.DataFrame, question: Question, direct: DirectAnswers, found: DirectShare, loudness: str | None
) -> tuple[LevelBound, ...]:
    return level_taken.every_way(table, question, direct, found, loudness=loudness, alpha=question.alpha)


def _without_answers(fitted: Fitted) -> tuple[verdict.Word, str]:
    if fitted.refused:
        return "undecided", fitted.refused
    if fitted.n_listeners == 0:
        among = fitted.question.among
        return "no verdict", NEVER_MET if among is None else NOBODY_AMONG.format(label=among.label)
    few = f"{fitted.n_listeners} listeners compared the two, at least {verdict.MINIMUM_LISTENERS} are needed"
    return "no verdict", few

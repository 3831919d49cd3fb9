"""What was planned, decided: answers joined with the key and screened, then the word on each question.

`full_analysis` adds what describes; a rehearsal needs the words alone.
"""

from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field, replace

import pandas as pd

from listening.analysis.collect import (
    keyed_answers,
    keyed_discrimination,
    keyed_grades,
    keyed_ratings,
    screening,
    session_rule,
)
from listening.analysis.collect.keyed_answers import Answers
from listening.analysis.collect.session_rule import Tables
from listening.analysis.decide import audible, decide, superlative
from listening.analysis.opening.looks import Look
from listening.analysis.opening.sealed_key import Opened
from listening.analysis.ratings import decided_ratings, post_screening
from listening.records.found.findings import SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.findings_study import ListenerRow
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stages import FIRST

ONCE = "a superlative is decided at the planned end alone, and not where looks were planned"
SEEN = ("listener", "response_s", "simulated", "first")  # what `screen` takes of answers that are no choice


@dataclass(frozen=True)
class Screened:
    """The counted answers by what they are, and what they say of each listener."""

    table: pd.DataFrame
    """Choices, as `keyed_answers.frame` gives them."""
    told: pd.DataFrame
    """Right and wrong answers, as `keyed_discrimination.frame` gives them."""
    scores: pd.DataFrame
    """Ratings with one mark a trial, as `keyed_ratings.frame` gives them."""
    grades: pd.DataFrame
    """As `keyed_grades.frame` gives them."""
    graded: pd.DataFrame
    """The grades as ratings, a row a sound, as `keyed_ratings.of_grades` gives them."""
    listeners: tuple[ListenerRow, ...]
    owed: Mapping[str, Mapping[int, int]] = field(default_factory=dict)
    """With several sessions: by listener, how many trials of each have no answer."""
    too_rarely: Mapping[str, AbstractSet[str]] = field(default_factory=dict)
    """By question, who missed a session and met one of its pairs too rarely to decide it."""

    stage_of: Mapping[str, int] = field(default_factory=dict)
    """With late stages: the stage of each listener."""

    def deciding(self, groups: decide.Groups | None, protocol: Protocol) -> decide.Groups:
        """Who decides each question that not everybody decides.

        Its subgroup, or everybody; of them the listeners of its stage, less whom a rule leaves out.
        """
        known = dict(groups or {})
        everybody = {row.listener for row in self.listeners}
        for asked in protocol.questions:
            out = self.too_rarely.get(asked.id, set())
            if out or self.stage_of:
                own = set(known.get(asked.id, everybody if asked.among is None else set())) - out
                known[asked.id] = {name for name in own if self.stage_of.get(name, FIRST) == asked.stage}
        return known

    def of_first_stage(self, table: pd.DataFrame) -> pd.DataFrame:
        """The answers of listeners of the deal itself."""
        if not self.stage_of:
            return table
        stages = table["listener"].map(self.stage_of).fillna(FIRST)
        return table[stages == FIRST].reset_index(drop=True)

    @property
    def kept_tables(self) -> Tables:
        """Every answer of the listeners who are not excluded."""
        return Tables(*(screening.kept(one, self.listeners) for one in (self.table, self.told, self.rated)))

    @property
    def rated(self) -> pd.DataFrame:
        """Every rating, of whatever task."""
        known = [one for one in (self.scores, self.graded) if len(one)]
        return pd.concat(known, ignore_index=True) if known else self.scores

    @property
    def n_answers(self) -> int:
        """All of them; a trial of several grades counts once."""
        return sum(map(len, (self.table, self.told, self.scores, keyed_grades.as_seen(self.grades))))

    @property
    def kept(self) -> pd.DataFrame:
        """The choices of the listeners who are not excluded."""
        return screening.kept(self.table, self.listeners)


def screened(opened: Opened, answers: Answers, protocol: Protocol) -> Screened:
    """The answers with what was heard, and the listeners by the protocol's rules of exclusion.

    Raises
    ------
    StudyError
        There is no counted answer, or one that the key does not know.
    """
    told = keyed_discrimination.frame(answers, opened.key.clips, opened.plan)
    scores = keyed_ratings.frame(answers, opened.key, opened.manifest)
    grades = keyed_grades.frame(answers, opened.key.clips, opened.plan)
    may_be_empty = any(len(one) > 0 for one in (told, scores, grades))
    table = keyed_answers.frame(answers, opened.key, opened.manifest, may_be_empty=may_be_empty)
    known = session_rule.numbers(answers, opened.plan)
    graded = keyed_ratings.of_grades(grades, opened.manifest)
    table, told, scores, graded = (session_rule.marked(one, known) for one in (table, told, scores, graded))
    others = (told[list(SEEN)], scores[list(SEEN)], keyed_grades.as_seen(grades))
    alone = [one for one in others if len(one)]
    listeners = screening.listeners(table, protocol, pd.concat(alone) if alone else None)
    listeners = post_screening.applied(listeners, grades, protocol)
    made = Screened(table, told, scores, grades, graded, listeners, stage_of=_stage_of(answers, opened))
    if not known:
        return made
    owed = session_rule.owed(answers, opened.plan)
    incomplete = {name for name, own in owed.items() if own}
    too_rarely = session_rule.left_out(made.kept_tables, protocol, incomplete, made.stage_of)
    return replace(made, owed=owed, too_rarely=too_rarely)


def _stage_of(answers: Answers, opened: Opened) -> dict[str, int]:
    """The stage of each listener; empty where there is one."""
    if not opened.plan.stages:
        return {}
    given = keyed_answers.as_columns(answers)
    of_slot = {slot.slot: slot.stage for slot in opened.plan.slots}
    return {name: of_slot[slot] for name, slot in zip(given["listener"], given["slot"], strict=True)}


def words(
    found: Screened, protocol: Protocol, *, groups: decide.Groups | None = None, look: Look | None = None
) -> Mapping[str, str]:
    """supported, contradicted, undecided or no verdict, by the id of each question and superlative.

    Parameters
    ----------
    protocol : with the alpha that the look leaves, see `looks.protocol_at`
    """
    deciding = found.deciding(groups, protocol)
    by_choices = decide.decide_all(found.kept, protocol, deciding)
    others = by_other_tasks(found, protocol, deciding)
    named = superlatives(found.of_first_stage(found.kept), protocol, look)
    return (
        {name: str(one.word) for name, one in by_choices.items()}
        | {name: str(one.word) for name, one in others.items()}
        | {one.id: str(one.word) for one in named}
    )


def by_other_tasks(found: Screened, protocol: Protocol, groups: decide.Groups) -> dict[str, QuestionFinding]:
    """The questions that right answers and ratings decide, by id."""
    told, scores = (screening.kept(one, found.listeners) for one in (found.told, found.rated))
    by_right_answers = audible.questions(told, found.told, protocol, groups)
    return by_right_answers | decided_ratings.questions(scores, protocol, groups)


def superlatives(kept: pd.DataFrame, protocol: Protocol, look: Look | None) -> Iterator[SuperlativeFinding]:
    """Superlatives are decided once, at the end; planned looks spend no error on them."""
    once = look is None or (look.at_end and protocol.stopping.spending == "none")
    for asked in protocol.superlatives:
        made = superlative.planned(kept, asked, protocol)
        yield made if once else made.model_copy(update={"word": "no verdict", "reason": ONCE})

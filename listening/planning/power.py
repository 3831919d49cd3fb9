"""Power by simulation through the very analysis that will decide."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal, cast

import numpy as np

from listening.analysis.collect import answer_table
from listening.analysis.decide import decide
from listening.planning import level_plan, level_rows, panel_size, rating_size
from listening.planning.effect import Effect
from listening.planning.family_alpha import deciding_alpha
from listening.planning.level_plan import FloatArray, LevelPlan
from listening.planning.panel_size import Trials
from listening.planning.rating_size import RatingStudy
from listening.records.protocols.planned_power import Assumed, PowerCell
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.manifest import Manifest
from stats.deciding.equivalence import clopper_pearson
from stats.repeats import refits

BATCH = 32  # studies between two saves of what was simulated
SCHEDULER_BATCHES = 16  # handed to a scheduler together
Word = Literal["supported", "contradicted", "undecided", "no_verdict"]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Wanted:
    """One cell of the table: which studies to simulate."""

    listeners: int
    repeats: int
    effect: Effect


@dataclass(frozen=True)
class Chance:
    """How often a verdict falls, with its Monte Carlo interval (exact binomial, 95 %)."""

    estimate: float
    lower: float
    upper: float
    studies: int


def chance(cell: PowerCell, word: Word = "supported") -> Chance:
    """How often the studies of a cell end with a verdict."""
    count = int(getattr(cell, word))
    lower, upper = clopper_pearson(count, cell.studies, 0.025)
    return Chance(count / cell.studies, lower, upper, cell.studies)


def simulate(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    wanted: Sequence[Wanted],
    *,
    assumed: Assumed,
    studies: int,
    seed: int,
    known: Sequence[PowerCell] = (),
    specimens: Mapping[str, str] | None = None,
    where: int | str = 1,
    on_cell: Callable[[PowerCell], None] | None = None,
    on_progress: Progress | None = None,
) -> list[PowerCell]:
    """Each wanted cell with `studies` simulated studies: same seed, same numbers, wherever and however often
    it was interrupted.

    Parameters
    ----------
    specimens : the specimen of each recording, where they are told apart
    known : cells simulated before with the same seed and assumptions; only what is missing is simulated
    where : 1 here, N on N processes, tcp://HOST:PORT on a Dask scheduler (see `stats.run.run`)
    on_cell : called with a cell as it grows, so that it can be saved

    Notes
    -----
    Level is bounded as the plan allows: control pairs, which of the two is louder, and what matching left
    over of the stimuli given.
    """
    alpha = deciding_alpha(protocol, question)
    at_once = BATCH * (where if isinstance(where, int) else SCHEDULER_BATCHES)
    total, before = len(wanted) * studies, 0
    made: list[PowerCell] = []
    for want in wanted:
        cell = _known(known, want) or _empty(want)
        one = _one(protocol, manifest, question, want, assumed=assumed, alpha=alpha, specimens=specimens)
        seeds = _seeds(seed, want, studies)
        while cell.studies < studies:
            batch = seeds[cell.studies : cell.studies + at_once]
            cell = _grown(cell, refits.run(one, batch, where))
            if on_cell is not None:
                on_cell(cell)
            if on_progress is not None:
                on_progress(before + cell.studies, total)
        before += studies
        made.append(cell)
    return made


def _one(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    want: Wanted,
    *,
    assumed: Assumed,
    alpha: float,
    specimens: Mapping[str, str] | None,
) -> Callable[[np.random.Generator], Word]:
    """One simulated study of a cell: choices, or ratings."""
    size = {"listeners": want.listeners, "repeats": want.repeats}
    if question.unit == "points":
        rated = rating_size.study(
            protocol, manifest, question, **size, effect_logit=want.effect.logit, assumed=assumed
        )
        return partial(_rated, rated, alpha)
    drawn = panel_size.trials(protocol, manifest, question, **size, specimens=specimens)
    level = level_plan.of_question(protocol, manifest, question, listeners=want.listeners)
    levels_db = level_plan.levels_db(manifest, drawn.stimuli)
    return partial(_study, drawn, level, levels_db, want, assumed, alpha)


def _rated(made: RatingStudy, alpha: float, rng: np.random.Generator) -> Word:
    """The verdict of one simulated study of ratings."""
    return cast(Word, rating_size.word(made, alpha, rng).replace(" ", "_"))


def _study(
    made: Trials,
    level: LevelPlan | None,
    levels_db: Mapping[str, FloatArray],
    want: Wanted,
    assumed: Assumed,
    alpha: float,
    rng: np.random.Generator,
) -> Word:
    """The verdict of one simulated study."""
    given = panel_size.answers(made, want.listeners, want.effect.logit, assumed, rng)
    if level is None:
        table = answer_table.of_columns(given)
    else:
        table = level_rows.table(
            given, made, level, want.listeners, levels_db=levels_db, assumed=assumed, rng=rng
        )
    decided = decide.decide_question(
        table,
        made.question,
        about_level=level is None,
        loudness=None if level is None else level.loudness,
        alpha=alpha,
    )
    return cast(Word, decided.word.replace(" ", "_"))


def _seeds(seed: int, want: Wanted, studies: int) -> list[np.random.SeedSequence]:
    place = [seed, want.listeners, want.repeats, *repr(round(want.effect.logit, 6)).encode()]
    return np.random.SeedSequence(place).spawn(studies)


def _empty(want: Wanted) -> PowerCell:
    return PowerCell(
        listeners=want.listeners,
        repeats=want.repeats,
        effect_logit=want.effect.logit,
        effect_said=want.effect.said,
    )


def _known(cells: Sequence[PowerCell], want: Wanted) -> PowerCell | None:
    wanted = (want.listeners, want.repeats, round(want.effect.logit, 6))
    same = (c for c in cells if (c.listeners, c.repeats, round(c.effect_logit, 6)) == wanted)
    return next(same, None)


def _grown(cell: PowerCell, words: list[Word]) -> PowerCell:
    counts = {str(word): getattr(cell, word) + words.count(word) for word in set(words)}
    return cell.model_copy(update=counts)

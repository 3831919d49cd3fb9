"""A claimed ratio (`40 % longer`): the measured ratio over strikes, and what both halves come to."""

from collections.abc import Sequence
from typing import Literal

import numpy as np

from listening.analysis.decide.write_up import finite
from listening.records.found.claimed_ratio import ClaimedRatioFinding
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.interval import Interval
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.measured import MeasuredRecording, Measures
from stats.errors import BadData
from stats.measured import ratio_interval

Word = Literal["supported", "contradicted", "undecided", "no verdict"]

NOT_MEASURED = "nothing was measured of both: run listening measure, then analyse again"
ENOUGH = 2  # strikes (or specimens) of each condition; with fewer nothing tells how they vary


def with_factors(
    questions: Sequence[QuestionFinding], protocol: Protocol, measures: Measures | None
) -> list[QuestionFinding]:
    """The questions, those that claimed a ratio with what became of it."""
    planned = {q.id: q for q in protocol.questions}
    return [
        q.model_copy(update={"claimed_ratio": finding(planned[q.id], q.word, measures)})
        if planned[q.id].claimed_ratio is not None
        else q
        for q in questions
    ]


def finding(asked: Question, heard: Word, measures: Measures | None) -> ClaimedRatioFinding:
    """The ratio claimed by one question: supported if both the ratio and the answers bear it.

    Each half is judged at the question's alpha; both must hold, so that none is corrected. The measured half
    is supported if the one-sided lower limit of the ratio reaches it, contradicted if the upper limit
    stays below it.

    Parameters
    ----------
    heard : the verdict of the question itself

    Source: Berger 1982, Technometrics 24(4), intersection-union tests.
    """
    if asked.claimed_ratio is None or asked.metric is None:
        raise ValueError(f"question {asked.id} claims no ratio")
    rows = measures.recordings if measures is not None else ()
    more, than = (_of(rows, c, asked.metric) for c in (asked.contrast.more, asked.contrast.than))
    sampled: Literal["strikes", "specimens"] = "strikes"
    values = [list(sample.values()) for sample in (more, than)]
    if all(len(_specimens(sample)) >= ENOUGH for sample in (more, than)):
        sampled, values = "specimens", [_specimen_means(sample) for sample in (more, than)]
    made: dict[str, object] = {"n_more": len(values[0]), "n_than": len(values[1]), "sampled": sampled}
    measured: Word = "undecided"
    why = NOT_MEASURED
    try:
        found = ratio_interval.of_geometric_means(*values, level=1 - 2 * asked.alpha)
        made |= {
            "ratio": Interval(
                value=found.estimate, lower=found.lower, upper=found.upper, coverage=1 - 2 * asked.alpha
            ),
            "df": finite(found.df),
        }
        measured, why = _measured(asked.claimed_ratio, found)
    except BadData:
        if any(values):
            n_more, n_than = map(len, values)
            why = f"{n_more} and {n_than} {sampled} were measured, at least {ENOUGH} each are needed"
    word, reason = _both(heard, measured, why)
    return ClaimedRatioFinding.model_validate(
        {
            "claimed": asked.claimed_ratio,
            "metric": asked.metric,
            "measured": measured,
            "word": word,
            "reason": reason,
            **made,
        }
    )


def _measured(claimed: float, found: ratio_interval.MeanRatio) -> tuple[Word, str]:
    if found.lower >= claimed:
        return "supported", "the lower limit of the measured ratio reaches the ratio claimed"
    if found.upper < claimed:
        return "contradicted", "the upper limit of the measured ratio is below the ratio claimed"
    return "undecided", "the ratio claimed lies within the limits of the measured ratio"


def _both(heard: Word, measured: Word, why: str) -> tuple[Word, str]:
    words = {heard, measured}
    if words == {"supported"}:
        return "supported", why
    failed = [] if measured == "supported" else [f"measured: {why}"]
    if heard != "supported":
        failed.append(f"heard: the question itself is {heard}")
    reason = "; ".join(failed)
    for word in ("contradicted", "no verdict"):
        if word in words:
            return word, reason
    return "undecided", reason


Place = tuple[str, str]  # specimen and recording


def _of(rows: Sequence[MeasuredRecording], condition: str, metric: str) -> dict[Place, float]:
    """Values of one condition by specimen and recording."""
    return {
        (row.specimen, row.recording): value
        for row in rows
        if row.condition == condition and (value := row.measures.get(metric)) is not None
    }


def _specimens(sample: dict[Place, float]) -> list[str]:
    return list(dict.fromkeys(specimen for specimen, _ in sample))


def _specimen_means(sample: dict[Place, float]) -> list[float]:
    """Geometric mean of each specimen's strikes; a value that is not positive is kept to be refused."""
    by_specimen = [
        [v for (own, _), v in sample.items() if own == specimen] for specimen in _specimens(sample)
    ]
    return [float(np.exp(np.mean(np.log(v)))) if min(v) > 0 else min(v) for v in by_specimen]

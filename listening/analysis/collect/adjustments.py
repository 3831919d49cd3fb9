"""Adjustments by ear read back: gains with standard errors, beyond what the computed match gives."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from listening.analysis.opening import sealed_key
from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.keys.key import Key, KeyedClip
from listening.records.kinds import metric_register, tasks
from listening.records.sounds.ear_gains import EarGain, EarGains, EarPair
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.store import open_store, place_of

FEWEST_LISTENERS = 3  # a standard error from two is no standard error
DEFAULT_METRIC = "laf_max_db"


@dataclass(frozen=True)
class _Adjusted:
    listener: str
    first: str
    second: str
    beyond_db: float


def of_study(study: Study, *, now: Callable[[], str]) -> EarGains:
    """The gains of a dealt adjustment study with its answers so far; the opening of its key is logged.

    Raises
    ------
    StudyError
        Something is not what was dealt, nobody adjusted anything, or too few did.
    """
    opened = sealed_key.open_key(study, now=now, why="adjustments")
    store = open_store(place_of(study), create=False)
    try:
        answers = store.answers()
    finally:
        store.close()
    return from_answers(answers, opened.key, opened.manifest, study_digest=opened.plan.study_digest)


def from_answers(
    answers: Sequence[Answer], key: Key, manifest: Manifest, *, study_digest: str = ""
) -> EarGains:
    """Panel means and their standard errors over listeners, from the counted adjustments.

    Each listener's adjustments give that listener's gains by least squares over the pairs; the panel's are
    the means of these.

    Raises
    ------
    StudyError
        Fewer than 3 listeners adjusted anything, or a listener's pairs do not join all conditions.
    """
    metric = manifest.matching_metric or DEFAULT_METRIC
    clips = {clip.clip: clip for clip in key.clips}
    counted = [a for a in answers if tasks.named(a.task).sheet == "gain" and not a.practice]
    rows = [_adjusted(a, clips, manifest, metric_register.named(metric).measured_key) for a in counted]
    listeners = sorted({row.listener for row in rows})
    if len(listeners) < FEWEST_LISTENERS:
        raise StudyError(
            f"adjustments of {len(listeners)} listeners, at least {FEWEST_LISTENERS} wanted for a standard "
            "error; let more people sit the adjustment study"
        )
    conditions = sorted({c for row in rows for c in (row.first, row.second)})
    own = np.array([_gains([r for r in rows if r.listener == one], conditions, one) for one in listeners])
    se = own.std(axis=0, ddof=1) / np.sqrt(len(listeners))
    return EarGains(
        study_digest=study_digest,
        metric=metric,
        n_listeners=len(listeners),
        simulated=any(a.simulated for a in counted),
        pairs=tuple(_pairs(rows)),
        conditions=tuple(
            EarGain(condition=c, gain_db=float(g), se_db=float(s))
            for c, g, s in zip(conditions, own.mean(axis=0), se, strict=True)
        ),
    )


def disagreeing(found: EarGains, *, level: float = 0.95) -> list[EarPair]:
    """Pairs whose gain by ear is not that of the computed match, at a level corrected for their number."""
    limit = NormalDist().inv_cdf(1 - (1 - level) / (2 * max(len(found.pairs), 1)))
    return [p for p in found.pairs if abs(p.gain_db) > limit * p.se_db]


def _adjusted(answer: Answer, clips: dict[str, KeyedClip], manifest: Manifest, metric: str) -> _Adjusted:
    first, second = (clips[code] for code in answer.clips[:2])
    levels = [(manifest.of(c.stimulus).after.get(metric), c.gain_db) for c in (first, second)]
    if any(value is None for value, _ in levels):
        raise StudyError(f"{answer.trial}: a clip has no {metric}; prepare the adjustment study again")
    (one, one_db), (two, two_db) = ((float(v or 0.0), g) for v, g in levels)
    computed_db = (one + one_db) - (two + two_db)
    return _Adjusted(answer.listener, first.condition, second.condition, float(answer.answer) - computed_db)


def _gains(rows: list[_Adjusted], conditions: list[str], listener: str) -> np.ndarray:
    """(k,) one listener's gains, summing to zero."""
    matrix = np.zeros((len(rows) + 1, len(conditions)))
    for i, row in enumerate(rows):
        matrix[i, conditions.index(row.second)] += 1.0
        matrix[i, conditions.index(row.first)] -= 1.0
    matrix[-1] = 1.0
    if np.linalg.matrix_rank(matrix) < len(conditions):
        raise StudyError(
            f"listener {listener}: the pairs adjusted do not join all {len(conditions)} conditions; "
            'let each listener adjust all pairs (pairs = "all"), or leave the listener out'
        )
    wanted = np.array([*(row.beyond_db for row in rows), 0.0])
    return np.asarray(np.linalg.lstsq(matrix, wanted, rcond=None)[0])


def _pairs(rows: list[_Adjusted]) -> list[EarPair]:
    """Mean over listeners of each listener's mean, both orders of a pair taken together."""
    found = []
    for first, second in sorted({tuple(sorted((r.first, r.second))) for r in rows}):
        by_listener: dict[str, list[float]] = {}
        for row in rows:
            if {row.first, row.second} == {first, second}:
                sign = 1.0 if row.first == first else -1.0
                by_listener.setdefault(row.listener, []).append(sign * row.beyond_db)
        means = np.array([np.mean(values) for values in by_listener.values()])
        se = float(means.std(ddof=1) / np.sqrt(len(means))) if len(means) > 1 else float("inf")
        if np.isfinite(se):
            found.append(
                EarPair(
                    first=first,
                    second=second,
                    gain_db=float(means.mean()),
                    se_db=se,
                    n_listeners=len(means),
                )
            )
    return found

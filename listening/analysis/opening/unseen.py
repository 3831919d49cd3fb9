"""Findings of a look that was not planned: how many listened, and nothing of what they answered."""

import numpy as np

from listening import __version__
from listening.analysis.collect import keyed_answers
from listening.analysis.collect.keyed_answers import Answers
from listening.analysis.decide import as_planned
from listening.analysis.opening.looks import COUNTS_ONLY
from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.findings_study import Digests, Matching, Method, PanelFinding
from listening.records.protocols.protocol import Protocol


def findings(
    protocol: Protocol,
    answers: Answers,
    *,
    digests: Digests,
    method: Method,
    n_unfinished: int,
    calibrated: bool,
) -> Findings:
    """Counts of listeners and answers; every question without a number and without a verdict."""
    panel = _panel(protocol, answers, n_unfinished)
    return Findings(
        version=__version__,
        name=protocol.name,
        title=protocol.title,
        simulated=panel.n_simulated > 0,
        digests=digests,
        panel=panel,
        questions=tuple(_unanswered(asked.id, protocol) for asked in protocol.questions),
        level_slopes=(),
        strengths=(),
        matching=Matching(
            label="not shown at a look at counts",
            metric=None,
            tolerance_db=None,
            calibrated=calibrated,
            largest_residual_db=None,
            stimuli=(),
        ),
        method=method,
    )


def _unanswered(name: str, protocol: Protocol) -> QuestionFinding:
    asked = next(one for one in protocol.questions if one.id == name)
    return QuestionFinding.model_validate(
        as_planned.of_question(asked, protocol)
        | {
            "task": protocol.attribute(asked.attribute).task,
            "smallest_effect_logit": 0.0,
            "alpha_corrected": 0.0,
            "word": "no verdict",
            "reason": COUNTS_ONLY,
            "decided_by": "nothing",
            "n_listeners": 0,
            "n_answers": 0,
            "n_direct": 0,
            "n_direct_more": 0,
            "stimuli_per_condition": 0,
            "these_recordings_only": False,
        }
    )


def _panel(protocol: Protocol, answers: Answers, n_unfinished: int) -> PanelFinding:
    given = keyed_answers.as_columns(answers)
    counted = ~np.asarray(given["practice"], dtype=bool)
    listener, simulated = (
        np.asarray(given[name], dtype=object)[counted] for name in ("listener", "simulated")
    )
    return PanelFinding(
        stands_for=protocol.panel.stands_for,
        training=protocol.panel.training,
        n_planned=protocol.n_planned,
        n_listeners=len(set(listener)),
        n_answers=int(counted.sum()),
        n_simulated=len(set(listener[simulated.astype(bool)])),
        n_excluded=0,
        n_unfinished=n_unfinished,
        listeners=(),
    )

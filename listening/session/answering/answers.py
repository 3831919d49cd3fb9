"""The answer of a trial as it is stored."""

from listening.records.dealt.answer import Answer
from listening.records.dealt.plan import PlannedTrial
from listening.session.answering import dials
from listening.session.answering.turn import Turn
from listening.store import SittingRow


def given(row: SittingRow, trial: PlannedTrial, task: str, turn: Turn, *, utc: str) -> Answer:
    """What the listener marked in this turn; the time runs from the first sound to the last change.

    Raises
    ------
    LookupError
        Nothing is marked, or nothing was heard.
    """
    answer = dials.text(turn.values) if turn.values else turn.chosen
    if not answer or turn.onset_s is None:
        raise LookupError("an answer was confirmed that nobody gave")
    return Answer(
        sitting=row.id,
        listener=row.listener,
        slot=row.slot,
        trial=trial.trial,
        attribute=trial.attribute,
        task=task,
        clips=trial.clips,
        answer=answer,
        response_s=turn.answered_s - turn.onset_s,
        plays=turn.begun,
        practice=trial.practice,
        simulated=row.simulated,
        answered_at=utc,
    )

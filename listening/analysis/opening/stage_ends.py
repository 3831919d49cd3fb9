"""The planned end of a study in stages: each has its own, and one that was analysed gets no more answers."""

from collections import Counter
from collections.abc import Sequence

from listening.analysis.collect import keyed_answers
from listening.analysis.collect.keyed_answers import Columns
from listening.analysis.opening import looks
from listening.records.dealt.plan import Plan
from listening.records.study import Study


def counted(plan: Plan, slots: Sequence[int]) -> int:
    """How many finished listeners count for the planned end: what is too many in one stage fills no other.

    Parameters
    ----------
    slots : of the finished listeners
    """
    if not plan.stages:
        return len(slots)
    done = _by_stage(plan, slots)
    planned = plan.planned_of_each
    if all(done[stage] >= n for stage, n in planned.items()):
        return len(slots)
    return sum(min(done[stage], n) for stage, n in planned.items())


def check(study: Study, plan: Plan, stored: Columns, slots: Sequence[int]) -> None:
    """Refuse further answers to the stages whose end was analysed before the next stage came.

    Raises
    ------
    StudyError
        More listeners finished in them since.
    """
    of_slot = {slot.slot: slot.stage for slot in plan.slots}
    done = _by_stage(plan, slots)
    boundaries = [i for i, one in enumerate(plan.amends) if one.adds_stage]
    start = 0
    for stage, boundary in enumerate(boundaries, start=1):
        digests = {one.study_digest for one in plan.amends[start : boundary + 1]}
        rows = [i for i, slot in enumerate(stored["slot"]) if of_slot[slot] <= stage]
        own = {name: [cells[i] for i in rows] for name, cells in stored.items()}
        ever = sum(n for number, n in done.items() if number <= stage)  # a removal does not say from which
        looks.check_end(study, digests, ever=ever, answers=keyed_answers.digest(own))
        start = boundary + 1


def _by_stage(plan: Plan, slots: Sequence[int]) -> Counter[int]:
    of_slot = {slot.slot: slot.stage for slot in plan.slots}
    return Counter(of_slot[slot] for slot in slots)

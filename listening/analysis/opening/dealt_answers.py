"""An answer counts only if its trial was dealt: its slot, clips, order, task and practice mark."""

from collections import Counter, defaultdict
from collections.abc import Iterator

from listening.analysis.collect.keyed_answers import Columns
from listening.errors import StudyError
from listening.records.dealt.plan import Plan, PlannedTrial

REHEARSAL = "rehearsal "  # trials on the pair of examples, asked until told apart; never counted
NAMED = 5
USED = ("sitting", "listener", "slot", "trial", "attribute", "task", "clips", "practice")


def check(answers: Columns, plan: Plan, where: str) -> None:
    """Every answer stands in the plan.

    Parameters
    ----------
    where : the store, for messages

    Raises
    ------
    StudyError
        Some do not; they are counted by what is wrong with them, and the first few named.
    """
    found = list(faults(answers, plan))
    if not found:
        return
    kinds = "; ".join(f"{n} {kind}" for kind, n in Counter(kind for kind, _ in found).items())
    named = "\n".join(f"  {who}: {kind}" for kind, who in found[:NAMED])
    more = f"\n  and {len(found) - NAMED} more" if len(found) > NAMED else ""
    raise StudyError(
        f"{where}: {len(found)} of {len(answers['trial'])} answers were not asked for by the plan "
        f"({kinds}):\n{named}{more}\nsee where they come from; put back a copy of the store, or remove a "
        "listener's answers with: listening withdraw. Nothing was analysed"
    )


def faults(answers: Columns, plan: Plan) -> Iterator[tuple[str, str]]:
    """(what is wrong, whose answer to which trial) for each answer that does not stand in the plan."""
    task = {attribute.name: attribute.task for attribute in plan.attributes}
    dealt = {slot.slot: {t.trial: (i, t) for i, t in enumerate(slot.trials)} for slot in plan.slots}
    reached: defaultdict[str, int] = defaultdict(lambda: -1)
    for row in zip(*(answers[name] for name in USED), strict=True):
        told = dict(zip(USED, row, strict=True))
        who = f"{told['listener']}, slot {told['slot']}, trial {told['trial']}"
        clips = tuple(told["clips"].split(" "))
        if str(told["trial"]).startswith(REHEARSAL):
            if fault := _rehearsal(plan, told["attribute"], clips, practice=told["practice"]):
                yield fault, who
            continue
        place, trial = dealt.get(told["slot"], {}).get(told["trial"], (-1, None))
        if trial is None:
            yield "to a trial that was not dealt to this slot", who
            continue
        if fault := _unlike(trial, told, clips, task):
            yield fault, who
        if place <= reached[told["sitting"]]:
            yield "in another order than dealt", who
        reached[told["sitting"]] = max(place, reached[told["sitting"]])


def _unlike(
    trial: PlannedTrial, told: dict[str, object], clips: tuple[str, ...], task: dict[str, str]
) -> str:
    if trial.clips != clips:
        alike = sorted(trial.clips) == sorted(clips)
        return "with its clips in another order" if alike else "with other clips"
    if trial.attribute != told["attribute"]:
        return "to another attribute"
    if task.get(trial.attribute) != told["task"]:
        return "to another task"
    if trial.practice != bool(told["practice"]):
        return "practice taken for counted, or counted for practice"
    return ""


def _rehearsal(plan: Plan, attribute: object, clips: tuple[str, ...], *, practice: object) -> str:
    asked = next((a for a in plan.attributes if a.name == attribute), None)
    pair = {asked.example_more, asked.example_less} if asked else set()
    return "" if practice and clips and set(clips) <= pair else "to a rehearsal that was not dealt"

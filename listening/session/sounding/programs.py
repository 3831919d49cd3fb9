"""What the play key sounds at each step."""

from listening.records.dealt.plan import Plan
from listening.records.kinds import tasks as task_list
from listening.session.answering import dials, tasks
from listening.session.answering.steps import Step
from listening.session.answering.turn import Turn
from listening.session.showing.view import Stage
from listening.session.sounding.player import Program


def of_step(plan: Plan, step: Step, turn: Turn) -> Program:
    """The programme of a step, with the gains that its marks ask for."""
    if step.stage is Stage.LEVEL:
        return Program((plan.level_check_clip,))
    attribute, gap_s = plan.attribute(step.attribute), plan.sitting.gap_s
    if step.stage is Stage.INTRODUCTION:
        examples = (attribute.example_more, attribute.example_less)
        return Program(tuple(clip for clip in examples if clip), gap_s)
    if step.trial is None:
        raise LookupError(f"nothing sounds at stage {step.stage.value}")
    clips = tasks.sounds(step.trial)
    if not attribute.switching:
        return Program(clips, gap_s)
    gains_db: tuple[float, ...] = ()
    if task_list.named(attribute.task).sheet == "gain":
        moved_db = turn.values[0] if turn.values[0] is not None else step.trial.start_gain_db
        gains_db = (dials.ADJUSTING_OFFSET_DB, dials.ADJUSTING_OFFSET_DB + moved_db)
    return Program(clips, switching=True, loops=attribute.loops, gains_db=gains_db)

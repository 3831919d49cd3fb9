"""What `listening size` is asked for: the study, the question, the panels and the true effect."""

import argparse
from dataclasses import dataclass
from pathlib import Path

from listening.errors import StudyError
from listening.planning import effect, panel_size, stand_in
from listening.planning.effect import Effect
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds import recordings_table
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study, open_study


@dataclass(frozen=True)
class Asked:
    """What a person asked for, with the study it is about."""

    protocol: Protocol
    manifest: Manifest
    protocol_digest: str
    place: Path
    """Folder of tables and figures."""
    question: Question
    effect: Effect
    assumed: Assumed
    sizes: tuple[int, ...]
    repeats: tuple[int, ...]
    studies: int
    seed: int
    jobs: int | str
    target: float
    smallest: bool
    specimens: dict[str, str]
    """Of each recording."""
    is_prepared: bool
    """Whether the stimuli are those that `prepare` made, with what matching left over."""

    @property
    def is_rated(self) -> bool:
        """Whether points of a scale decide it."""
        return self.question.unit == "points"

    @property
    def points(self) -> float:
        """What a logit of strength is on its scale."""
        return effect.points_a_logit(self.protocol.attribute(self.question.attribute).task)


def asked(args: argparse.Namespace) -> Asked:
    """What the command line asks for; raises StudyError where it cannot be."""
    path = open_study(args.folder).protocol if args.folder.is_dir() else args.folder
    chosen = protocol_form.load(path)
    question = _question(chosen, args.question)
    chosen = chosen.of_stage(question.stage)
    assumed = _assumed(args, question, chosen)
    known = recordings_table.load(chosen, path)
    recordings = stand_in.supposed(
        known, strikes=_some(args.strikes, "--strikes"), specimens=_some(args.specimens, "--specimens")
    )
    supposed = args.strikes is not None or args.specimens is not None
    manifest = None if supposed or not args.folder.is_dir() else _prepared(open_study(args.folder))
    return Asked(
        protocol=chosen,
        manifest=manifest or stand_in.manifest(chosen, recordings),
        is_prepared=manifest is not None,
        protocol_digest=protocol_form.digest(path),
        place=path.parent / "planning" if args.folder.is_dir() else Path("planning"),
        question=question,
        effect=_effect(args, chosen, question, assumed),
        assumed=assumed,
        sizes=_numbers(args.listeners, "--listeners"),
        repeats=_numbers(args.repeats or str(_hearings(chosen, question)), "--repeats"),
        studies=_at_least_one(args.studies, "--studies"),
        seed=args.seed,
        jobs=args.jobs if isinstance(args.jobs, str) else _at_least_one(args.jobs, "--jobs"),
        target=args.target,
        smallest=args.smallest,
        specimens=stand_in.specimens(recordings),
    )


def _prepared(study: Study) -> Manifest | None:
    """The stimuli that were made for this protocol, if they were."""
    if not study.manifest.is_file():
        return None
    made = Manifest.load(study.manifest)
    return made if made.protocol_digest == protocol_form.digest(study.protocol) else None


def _question(chosen: Protocol, name: str | None) -> Question:
    known = [q.id for q in chosen.questions]
    if name is not None and name not in known:
        raise StudyError(f"--question {name}: wanted one of {', '.join(known)}")
    question = next(q for q in chosen.questions if name is None or q.id == name)
    if question.of_kind.by_right_answers:
        task = chosen.attribute(question.attribute).task.lower()
        raise StudyError(
            f"{question.id} asks whether two things are discriminated: its size comes from exact counts, "
            f"not from simulation: listening size --task {task} "
            f"--share-not-guessed {question.smallest_effect:g}"
        )
    return question


def _effect(args: argparse.Namespace, chosen: Protocol, question: Question, assumed: Assumed) -> Effect:
    is_same = question.of_kind.is_equivalence
    if question.unit == "points":
        usual = f"points={0 if is_same else 2 * question.smallest_effect:g}"
        return effect.of_points(args.effect or usual, chosen.attribute(question.attribute).task)
    usual = "share=0.5" if is_same else "share=0.75"
    return effect.of_text(args.effect or usual, assumed, logit_per_db=args.logit_per_db)


def _some(number: int | None, option: str) -> int | None:
    return None if number is None else _at_least_one(number, option)


def _hearings(chosen: Protocol, question: Question) -> int:
    if question.unit == "points":
        where = (question.attribute, question.presentation)
        return next(b.repeats for b in chosen.blocks if (b.attribute, b.presentation) == where)
    return panel_size.hearings(panel_size.block_of(chosen, question))


def _assumed(args: argparse.Namespace, question: Question, chosen: Protocol) -> Assumed:
    assumed = Assumed()
    if args.pilot is not None:
        from listening.planning import pilot_reading
        from listening.store import utc_now

        assumed = pilot_reading.assumed(open_study(args.pilot), question, now=utc_now)
    task = chosen.attribute(question.attribute).task
    unit = effect.points_a_logit(task) if question.unit == "points" else 1.0
    spreads = ("spread_listeners", "spread_stimuli", "spread_specimens")
    given = {name: value / unit for name in spreads if (value := getattr(args, name)) is not None}
    if any(value < 0 for value in given.values()):
        raise StudyError(f"a spread is a standard deviation, 0 or more; found {given}")
    return assumed.model_copy(update={**given, "source": "given by you"}) if given else assumed


def _numbers(text: str, option: str) -> tuple[int, ...]:
    try:
        numbers = tuple(int(part) for part in text.split(","))
    except ValueError:
        numbers = ()
    if not numbers or any(not 1 <= n <= 10000 for n in numbers):
        raise StudyError(f"{option}: found `{text}`, wanted whole numbers from 1 on, such as 8,16,24")
    return tuple(dict.fromkeys(numbers))


def _at_least_one(number: int, option: str) -> int:
    if number < 1:
        raise StudyError(f"{option}: found {number}, wanted 1 or more")
    return number

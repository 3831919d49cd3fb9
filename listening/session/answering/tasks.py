"""The methods of asking: what sounds under which letter, which answers stand on the screen."""

from collections.abc import Sequence
from dataclasses import dataclass

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial
from listening.records.kinds import tasks as task_list
from listening.session.showing.words import Words

LETTERS = "ABCDEFGHIJKL"
REFERENCE_LETTER = "R"
PLACES = ("first", "second", "third")
COMPARED_FROM = -3  # comparison category: much less, ... 0 the same, ... much more


@dataclass(frozen=True)
class Option:
    """One answer: what is stored, what is read, and the key that marks it."""

    value: str
    label: str
    key: str

    @property
    def shown(self) -> str:
        """The key as the listener calls it."""
        return self.key.upper()


def sounds(trial: PlannedTrial) -> tuple[str, ...]:
    """The clips of a trial as they sound, the named reference first."""
    return trial.clips if trial.reference is None else (trial.reference, *trial.clips)


def letters(trial: PlannedTrial) -> tuple[str, ...]:
    """What each sound is called; a sound that is alone has no letter."""
    if trial.reference is None and len(trial.clips) == 1:
        return ("",)
    own = tuple(LETTERS[: len(trial.clips)])
    return own if trial.reference is None else (REFERENCE_LETTER, *own)


def options(attribute: PlannedAttribute, words: Words) -> tuple[Option, ...]:
    """The answers that an attribute offers; none where the answer is set on a scale.

    Where letters switch between the sounds, numbers mark the answers.
    """
    task = task_list.named(attribute.task)
    match task.sheet:
        case "place":
            made = [_place(i, words) for i in range(task.sounds or 0)]
            if attribute.no_difference:
                made.insert(1, Option("tie", words.text("no_difference"), "0"))
        case "same or different":
            made = [
                Option("same", words.text("answer_same"), "1"),
                Option("different", words.text("answer_different"), "2"),
            ]
        case "label":
            made = [Option(str(i + 1), label, str(i + 1)) for i, label in enumerate(attribute.scale)]
        case "compared label":
            made = [
                Option(f"{i + COMPARED_FROM:+d}".replace("+0", "0"), label, str(i + 1))
                for i, label in enumerate(attribute.scale)
            ]
        case _:
            made = []
    return tuple(_numbered(made) if attribute.switching else made)


def questionnaire(answers: Sequence[str]) -> tuple[Option, ...]:
    """The answers of a question about the listener, under numbers."""
    return tuple(Option(str(i), label, str(i + 1)) for i, label in enumerate(answers))


def _place(number: int, words: Words) -> Option:
    letter = LETTERS[number]
    return Option(PLACES[number], words.text("sound", letter=letter), letter.lower())


def _numbered(made: list[Option]) -> list[Option]:
    return [Option(o.value, o.label, str(i + 1)) for i, o in enumerate(made)]

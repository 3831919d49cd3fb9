"""How each kind of planned question is asked in a heading and claimed in the deposit, in English."""

from dataclasses import dataclass

from listening.records.kinds.question_kinds import Kind


@dataclass(frozen=True)
class KindWords:
    """Templates of {more}, {than}, {attribute}, {heard} (`A is heard as brighter than B`) and {at}."""

    asked: str
    claimed: str


OF: dict[Kind, KindWords] = {
    "more": KindWords("{asked}, {at}?", "{heard}"),
    "same": KindWords(
        "Are {more} and {than} heard as the same in {attribute}, {at}?",
        "{more} and {than} are heard as the same in {attribute}",
    ),
    "audible": KindWords(
        "Can {more} be told from {than} by ear, {at}?", "{more} can be told from {than} by ear"
    ),
}

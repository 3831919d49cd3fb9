"""The ways of asking, one frozen `Task` each: whatever a step needs to know of one is asked here.

What a task still needs beside its line here, and where, stands in DEVELOPERS.md under "How to add a task".
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

Family = Literal["choice", "discrimination", "rating", "adjustment"]
Sheet = Literal["place", "same or different", "label", "compared label", "marks", "gain"]
Picked = Literal["more", "odd", "like the reference"]
Decided = Literal["share of choices", "heard at all", "points of the scale"]
POINTS_0_TO_100 = (0.0, 100.0, 1.0)


@dataclass(frozen=True)
class Task:
    """One way of asking, by the name that the protocol and the answers give it."""

    name: str
    family: Family
    sheet: Sheet
    """What a listener answers with: the place of a sound, a word, marks on a scale, a gain."""
    sounds: int | None
    """Sounds of a trial that are judged, a named reference aside; None: every condition of the set."""
    decides: Decided | None
    """What its answers can decide; None: they describe."""
    picks: Picked | None = None
    """What the sound at the answered place has, or is."""
    guess: float | None = None
    """Share of right answers by guessing alone; None where no answer is right or the share is free."""
    scored_as: str | None = None
    """The task of `stats.discrimination` whose share of right answers follows d' as this one's does."""
    orders: tuple[str, ...] = ()
    """What is heard of two sounds A and B, orders taking turns; before a colon stands the reference."""
    scale_lengths: tuple[int, ...] = ()
    """How many labels its scale may have; empty: it has no scale."""
    always_switching: bool = False
    """Whether a listener goes to and fro between the sounds whatever the attribute says."""
    has_hidden_reference: bool = False
    """Whether one sound is named as the reference and stands among the judged ones again, unnamed."""
    marks: tuple[float, float, float] | None = None
    """Lowest and highest mark of its scale, and the step between marks; None: no marks, or gains."""
    may_see_no_difference: bool = False
    """Whether the protocol may offer the answer `no difference`."""
    standard: str | None = None
    """Where the way of asking is laid down; None: common practice, no source."""

    @property
    def has_marks(self) -> bool:
        """Whether an answer is set on a scale, not chosen from a list."""
        return self.sheet in ("marks", "gain")

    @property
    def has_labels(self) -> bool:
        """Whether an answer is one of a scale's labels."""
        return self.sheet in ("label", "compared label")


ALL = (
    Task(
        "paired comparison",
        "choice",
        "place",
        2,
        "share of choices",
        picks="more",
        may_see_no_difference=True,
        standard="ISO 5495",
    ),
    Task(
        "comparison category",
        "rating",
        "compared label",
        2,
        "points of the scale",
        scale_lengths=(7,),
        standard="ITU-T P.800, annex E",
    ),
    Task(
        "category rating",
        "rating",
        "label",
        1,
        "points of the scale",
        scale_lengths=(5, 9),
        standard="ITU-T P.800, annex B",
    ),
    Task(
        "continuous rating",
        "rating",
        "marks",
        1,
        "points of the scale",
        scale_lengths=tuple(range(2, 12)),
        marks=POINTS_0_TO_100,
    ),
    Task(
        "multiple stimulus",
        "rating",
        "marks",
        None,
        "points of the scale",
        scale_lengths=tuple(range(2, 12)),
        marks=POINTS_0_TO_100,
        always_switching=True,
        has_hidden_reference=True,
        standard="ITU-R BS.1534-3",
    ),
    Task(
        "triple stimulus",
        "rating",
        "marks",
        2,
        "points of the scale",
        scale_lengths=(5,),
        always_switching=True,
        has_hidden_reference=True,
        marks=(1.0, 5.0, 0.1),
        standard="ITU-R BS.1116-3",
    ),
    Task(
        "same-different",
        "discrimination",
        "same or different",
        2,
        "heard at all",
        orders=("AB", "AA", "BA", "BB"),
    ),
    Task(
        "2-AFC",
        "discrimination",
        "place",
        2,
        "heard at all",
        picks="more",
        guess=1 / 2,
        scored_as="2-afc",
        standard="ISO 5495",
    ),
    Task(
        "triangle",
        "discrimination",
        "place",
        3,
        "heard at all",
        picks="odd",
        guess=1 / 3,
        scored_as="triangle",
        orders=("AAB", "ABA", "BAA", "BBA", "BAB", "ABB"),  # equally often
        standard="ISO 4120",
    ),
    Task(
        "duo-trio",
        "discrimination",
        "place",
        2,
        "heard at all",
        picks="like the reference",
        guess=1 / 2,
        scored_as="duo-trio",
        orders=("A:AB", "B:AB", "A:BA", "B:BA"),  # balanced reference
        standard="ISO 10399",
    ),
    Task("adjustment", "adjustment", "gain", 2, None, always_switching=True),
)
TASKS = {task.name: task for task in ALL}
PAIRED_COMPARISON = TASKS["paired comparison"]

if TYPE_CHECKING:
    TaskName = str
else:
    TaskName = Literal[tuple(TASKS)]  # the names as a protocol may give them


def named(name: str) -> Task:
    """The task of this name.

    Raises
    ------
    KeyError
        No such task; a loaded protocol, plan or answer store has passed that check.
    """
    return TASKS[name]


def names(*, family: Family | None = None, decides: Decided | None = None) -> tuple[str, ...]:
    """Names of the tasks of a family, of those whose answers decide such a thing, or of all."""
    return tuple(
        task.name
        for task in ALL
        if (family is None or task.family == family) and (decides is None or task.decides == decides)
    )

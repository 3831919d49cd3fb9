"""A screen reader's engine reads what the line mode writes, and never while a sound is heard.

The transcript of a sitting is kept with the time at which each line came; eSpeak NG says each line into a
file, whose length is how long it takes. A reader says lines one after another, falls silent at a key, and
says the line that was typed. No time of this machine enters: the clock goes on as the sitting asks.
"""

import shutil
import subprocess
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial, Slot
from listening.session.seating import station
from listening.session.seating.clocks import Clocks
from listening.session.seating.station import Seat
from listening.session.showing.words import words
from listening.session.sitting import Sitting
from listening.session.sounding.player import Program, Sounding
from listening.store import open_store
from listening.tui import lines
from tests import stations
from tests.stations import FakeClock, make_plan

pytestmark = pytest.mark.skipif(
    shutil.which("espeak-ng") is None, reason="eSpeak NG is not on this machine: apt-get install espeak-ng"
)
CLIP_S = 1.2
SPOKEN_HZ = 22_050  # of eSpeak NG's files, 16 bit, one channel
HEADER_BYTES = 44
A, B, C, R = (stations.CODES[i] for i in (0, 1, 2, 5))
Span = tuple[float, float]
OPENING = {"en": ("", "y", "play", "", "play", ""), "de": ("", "j", "hören", "", "hören", "")}


@cache
def spoken_s(text: str, language: str) -> float:
    """How long the engine says a text, at its usual rate."""
    said = subprocess.run(
        ["espeak-ng", "-v", language, "--stdout", text], capture_output=True, check=True, timeout=60
    ).stdout
    return max(len(said) - HEADER_BYTES, 0) / 2 / SPOKEN_HZ


@dataclass
class Timed:
    """A player whose sounds last as long as they are, on the test's clock."""

    clock: FakeClock
    spans: list[Span] = field(default_factory=list)
    """When something was to be heard."""
    _ends_s: float = 0.0
    _onset_s: float = 0.0
    _program: Program = field(default_factory=lambda: Program(()))

    def prepare(self, program: Program) -> None: ...

    def start(self, program: Program) -> None:
        n = 1 if program.switching else len(program.clips)
        self._program, self._onset_s = program, self.clock() + program.lead_in_s
        self._ends_s = self._onset_s + n * CLIP_S + (n - 1) * program.gap_s
        self.spans.append((self._onset_s, self._ends_s))

    def stop(self) -> None:
        if self.spans and self.clock() < self.spans[-1][1]:
            self.spans[-1] = (self.spans[-1][0], max(self.clock(), self.spans[-1][0]))
        self._ends_s = min(self._ends_s, self.clock())

    def sounding(self) -> Sounding:
        runs = self.clock() < self._ends_s
        return Sounding(runs, self._program.start if runs else None, 100, 100, self._onset_s)

    def switch(self, sound: int) -> None: ...

    def again(self) -> None: ...

    def part(self, start: float, stop: float) -> None: ...

    def gain(self, sound: int, gain_db: float) -> None: ...

    def level_db(self, clip: str) -> float:
        return -20.0

    def exposure(self) -> float:
        return 0.0


@dataclass
class Reader:
    """A screen reader, and the listener who types when it has spoken, or at once."""

    clock: FakeClock
    language: str
    typed: Iterable[str]
    is_patient: bool
    may_type: Callable[[], bool]
    spans: list[Span] = field(default_factory=list)
    """When something was said."""
    transcript: list[str] = field(default_factory=list)
    _free_s: float = 0.0

    def write(self, text: str) -> None:
        self.transcript.append(text)
        self._say(text)

    def _say(self, text: str) -> None:
        begins_s = max(self._free_s, self.clock())
        self._free_s = begins_s + spoken_s(text, self.language)
        self.spans.append((begins_s, self._free_s))

    def read(self, wait_s: float) -> str | None:
        if not self.may_type() or (self.is_patient and self.clock() < self._free_s):
            self.clock.s += wait_s
            return None
        line = next(self._lines, None)
        if line is None:
            raise EOFError
        now_s = self.clock()
        self.spans = [(a, min(b, now_s)) for a, b in self.spans if a < now_s]  # a key silences it
        self._free_s = now_s
        if line:
            self._say(line)
        return line + "\n"

    def __post_init__(self) -> None:
        self._lines = iter(self.typed)


def overlap_s(one: list[Span], other: list[Span]) -> float:
    """How long both last at the same time."""
    return sum(max(0.0, min(b, d) - max(a, c)) for a, b in one for c, d in other)


def sat(folder: Path, language: str, typed: Iterable[str], *, is_patient: bool, **changes: object) -> Reader:
    """A sitting in lines, read aloud; speech and sound never at once."""
    plan = make_plan(n_trials=2, n_practice=0, sitting=stations.rules(language=language))
    plan = plan.model_copy(update=changes)
    store, clock = open_store(folder / "answers.sqlite"), FakeClock()
    row, _ = station.take(plan, store, Seat("L01"))
    player = Timed(clock)
    sitting = Sitting(
        plan,
        row,
        store,
        player=player,
        clocks=Clocks(clock, stations.utc_ticks()),
        words=words(language).in_lines(),
    )
    reader = Reader(clock, language, typed, is_patient, lambda: not sitting.state.turn.running)
    lines.run(sitting, read=reader.read, write=reader.write)
    assert sitting.is_over, reader.transcript[-3:]
    assert len(player.spans) >= 4, "nothing was heard"
    assert sum(b - a for a, b in reader.spans) > (10 if is_patient else 1), "nothing was said"
    assert overlap_s(reader.spans, player.spans) == 0.0
    return reader


@pytest.mark.parametrize("is_patient", [True, False], ids=["waits for the reader", "types at once"])
@pytest.mark.parametrize("language", ["en", "de"])
def test_speech_and_sound_never_meet_in_pairs(tmp_path: Path, language: str, is_patient: bool) -> None:
    play = OPENING[language][2]
    typed = (*OPENING[language], play, "a", "", play, play, "b", "", "")
    sat(tmp_path, language, typed, is_patient=is_patient)


@pytest.mark.parametrize("is_patient", [True, False], ids=["waits for the reader", "types at once"])
@pytest.mark.parametrize("language", ["en", "de"])
def test_speech_and_sound_never_meet_on_scales(tmp_path: Path, language: str, is_patient: bool) -> None:
    asked = PlannedAttribute(
        name="quality",
        task="multiple stimulus",
        question="Quality?",
        explanation="",
        scale=("bad", "poor", "fair", "good", "excellent"),
        scale_bands=True,
        switching=True,
        loops=True,
    )
    trial = PlannedTrial(trial="001", attribute="quality", clips=(A, B, C), reference=R)
    changes = {"attributes": (asked,), "slots": (Slot(slot=0, trials=(trial,)),)}
    opening = [line for i, line in enumerate(OPENING[language]) if i != 4]  # no examples to hear
    typed = (*opening, "r", "a", "72", "b", "101", "30", "c", "5", "a", "", "")
    reader = sat(tmp_path, language, typed, is_patient=is_patient, **changes)
    assert any("101" in line for line in reader.transcript), "a number off the scale is refused in words"


def test_the_reader_of_this_test_notices_speech_over_sound(tmp_path: Path) -> None:
    assert overlap_s([(0.0, 2.0)], [(1.5, 3.0), (4.0, 5.0)]) == 0.5
    assert spoken_s("Which of the two sounds is brighter?", "en") > 1.0

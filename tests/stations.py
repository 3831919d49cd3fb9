"""A small station made by hand: noise clips under codes, a plan over them, and players for tests."""

import hashlib
import itertools
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from listening.audio import wav
from listening.audio.sound import Sound
from listening.records.dealt.plan import ClipFile, Plan, PlannedAttribute, PlannedTrial, Slot
from listening.records.protocols.protocol_parts import Sitting as SittingRules
from listening.records.study import Study
from listening.session.seating import station
from listening.session.seating.clocks import Clocks
from listening.session.seating.station import Seat
from listening.session.sitting import Sitting
from listening.session.sounding.player import Program, Sounding
from listening.store import Store, open_store

RATE_HZ = 8000
N_CLIPS = 6
CODES = tuple(f"c{letter * 7}" for letter in "abcdef")
ANCHORS = ("anchoraa", "anchorbb")
LEVEL_CLIP = "levelaaa"


def rules(**changes: object) -> SittingRules:
    """Sitting rules with short waits."""
    values = {
        "welcome": "Welcome to the test.",
        "consent": "Your answers are stored under a code.",
        "plays_at_most": 3,
        "gap_s": 0.05,
        "break_every_trials": 5,
        "break_at_least_s": 0,
    }
    return SittingRules.model_validate({**values, **changes})


def make_plan(n_trials: int = 4, n_practice: int = 1, n_slots: int = 3, **changes: object) -> Plan:
    """A plan with one attribute over the hand-made clips."""
    attribute = PlannedAttribute(
        name="brightness",
        task="paired comparison",
        wording="Which of the two sounds is brighter?",
        explanation="Bright sounds have more treble.",
        example_more=ANCHORS[0],
        example_less=ANCHORS[1],
    )
    pairs = list(itertools.permutations(CODES, 2))
    slots = tuple(
        Slot(
            slot=slot,
            trials=tuple(
                PlannedTrial(
                    trial=f"{i + 1:03d}",
                    attribute="brightness",
                    clips=pairs[(slot + 7 * i) % len(pairs)],
                    practice=i < n_practice,
                )
                for i in range(n_practice + n_trials)
            ),
        )
        for slot in range(n_slots)
    )
    values: dict[str, object] = {
        "version": "0",
        "protocol_digest": "a" * 64,
        "manifest_digest": "b" * 64,
        "key_digest": "c" * 64,
        "study_digest": "d" * 64,
        "dealt_at": "2030-01-01T00:00:00+00:00",
        "order_seed": 1,
        "rate_hz": RATE_HZ,
        "level_check_clip": LEVEL_CLIP,
        "sitting": rules(),
        "attributes": (attribute,),
        "clips": (),
        "slots": slots,
    }
    return Plan.model_validate({**values, **changes})


def clip_samples(code: str, seconds: float = 0.1) -> np.ndarray:
    """The noise under a code: the same each time, another for each code, exact in 24 bit."""
    seed = int.from_bytes(hashlib.sha256(code.encode()).digest()[:4])
    noise = np.random.default_rng(seed).integers(-(2**20), 2**20, round(seconds * RATE_HZ))
    return np.asarray(noise / 2**23)


def write_station(folder: Path, plan: Plan, seconds: float = 0.1) -> Study:
    """A study folder that holds a station only: plan and clips."""
    study = Study(folder)
    study.clips.mkdir(parents=True)
    files = []
    for code in (*CODES, *ANCHORS, LEVEL_CLIP):
        path = study.clips / f"{code}.wav"
        wav.save(path, Sound(clip_samples(code, seconds), RATE_HZ))
        files.append(ClipFile(clip=code, digest=hashlib.sha256(path.read_bytes()).hexdigest()))
    plan.model_copy(update={"clips": tuple(files)}).sealed().save(study.plan)
    return study


@dataclass
class FakeClock:
    """Time that passes only when told to."""

    s: float = 100.0

    def __call__(self) -> float:
        return self.s


@dataclass
class TestPlayer:
    """Plays at the test's word: `finish` ends the program, in full or short."""

    __test__ = False
    clock: FakeClock
    at_once: bool = True
    started: list[Program] = field(default_factory=list)
    stopped: int = 0
    sent: float = 0.0
    switched: list[int] = field(default_factory=list)
    gains: list[tuple[int, float]] = field(default_factory=list)
    restarted: int = 0
    share: float = 0.0
    parts: list[tuple[float, float]] = field(default_factory=list)
    now: Sounding = field(default_factory=lambda: Sounding(False, None, 0, 0, None))
    prepared: list[Program] = field(default_factory=list)

    def prepare(self, program: Program) -> None:
        self.prepared.append(program)

    def start(self, program: Program) -> None:
        self.started.append(program)
        self.now = Sounding(True, program.start, 1000, 100, self.clock())
        if self.at_once and not program.loops:
            self.finish()

    def finish(self, *, played: int = 1000, trouble: str = "") -> None:
        self.now = Sounding(False, None, 1000, played, self.now.onset_s, trouble)

    def switch(self, sound: int) -> None:
        self.switched.append(sound)
        self.now = replace(self.now, clip=sound)

    def again(self) -> None:
        self.restarted += 1

    def part(self, start: float, stop: float) -> None:
        self.parts.append((start, stop))

    def gain(self, sound: int, gain_db: float) -> None:
        self.gains.append((sound, gain_db))

    def stop(self) -> None:
        self.stopped += 1
        self.now = Sounding(False, None, 1000, self.now.frames_played, self.now.onset_s)

    def sounding(self) -> Sounding:
        return replace(self.now, share=self.share)

    def level_db(self, clip: str) -> float:
        return -17.0 if clip == LEVEL_CLIP else -20.0

    def exposure(self) -> float:
        return self.sent


@dataclass
class Bench:
    """A sitting with everything around it."""

    sitting: Sitting
    store: Store
    player: TestPlayer
    clock: FakeClock
    hold: AbstractContextManager[object]

    def die(self) -> None:
        """What the operating system does for a killed process: its lock falls."""
        self.hold.__exit__(None, None, None)


def take_seat(folder: Path, plan: Plan, seat: Seat | None = None, *, at_once: bool = True) -> Bench:
    """A sitting at a fresh or used store in `folder`, without sound or screen."""
    store = open_store(folder / "answers.sqlite")
    clock = FakeClock()
    player = TestPlayer(clock, at_once)
    row, hold = station.take(plan, store, seat or Seat("L01"))
    clocks = Clocks(clock, utc_ticks())
    return Bench(station.seated(plan, store, row, player=player, clocks=clocks), store, player, clock, hold)


def utc_ticks() -> Callable[[], str]:
    """A wall clock that goes one second a look, in a year far away."""
    seconds: Iterator[int] = itertools.count()
    return lambda: f"2099-01-01T{(n := next(seconds)) // 3600:02d}:{n // 60 % 60:02d}:{n % 60:02d}.000+00:00"


def walk(sitting: Sitting, *names: str) -> None:
    """Do these acts; each must be on offer."""
    for name in names:
        assert sitting.act(name), f"{name} is not offered at {sitting.stage}: {sitting.actions()}"
        sitting.tick()


OPENING = ("go_on", "agree", "play", "level_right", "play", "understood")
"""From the welcome to the first trial."""


def one_trial(sitting: Sitting, answer: str = "first") -> None:
    """Hear and answer one trial."""
    walk(sitting, "play", f"choose:{answer}", "confirm")

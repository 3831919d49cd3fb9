"""The optional hearing check: soft tones in one ear, a key when one is heard. A screening, no medical test.

It reports how the two ears differ and how well repeats agree; a hearing level in dB HL needs headphones
calibrated for it (ISO 389) and is never given.
"""

import json
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from listening.records.dealt.plan import Plan
from listening.session.answering.turn import Turn
from listening.session.sounding import tones
from listening.session.sounding.hearing import Heard, Hearing
from listening.session.sounding.player import Program
from listening.session.sounding.thresholds import Track
from listening.store.store import EventRow

NOTED = "hearing check"  # kind of the event that holds the result
SKIPPED = "skipped"
EARS = ("left", "right")
FREQUENCIES_HZ = (1000.0, 4000.0, 500.0, 1000.0)  # the first comes twice: do repeats agree?
START_BELOW_DB = 20.0  # below the loudest
BELOW_STRONGEST_DB = 3.0  # the loudest tone stays so far below the strongest clip's LAFmax
RANGE_DB = 70.0  # from the loudest to the softest
WAIT_S = (1.0, 3.0)  # before a tone, drawn anew each time so that nobody can guess
ANSWER_S = 2.2  # from the start of a tone: a later key is no answer to it


@dataclass
class _Part:
    """One ear at one frequency."""

    ear: str
    frequency_hz: float
    track: Track


class HearingCheck:
    """Which tone comes when, and what was heard.

    Parameters
    ----------
    strongest_db : LAFmax of the strongest clip of the study, dB re full scale: no tone is louder
    """

    def __init__(
        self, hearing: Hearing, now_s: Callable[[], float], *, strongest_db: float, rng: random.Random
    ) -> None:
        self._hearing, self._now_s, self._rng = hearing, now_s, rng
        loudest_db = round(strongest_db - BELOW_STRONGEST_DB, 1)
        ears = EARS if rng.random() < 0.5 else EARS[::-1]
        self._parts = [
            _Part(
                ear,
                frequency_hz,
                Track(loudest_db - START_BELOW_DB, loudest_db - RANGE_DB, loudest_db),
            )
            for ear in ears
            for frequency_hz in FREQUENCIES_HZ
        ]
        self.false_alarms = 0
        """How often the key was pressed when there was no tone."""
        self.has_begun = False
        self._due_s = 0.0
        self._began_s: float | None = None
        self._heard = False

    @property
    def n_parts(self) -> int:
        """Ears times frequencies."""
        return len(self._parts)

    @property
    def n_done(self) -> int:
        """Parts that are over."""
        return sum(part.track.is_over for part in self._parts)

    @property
    def is_over(self) -> bool:
        """Whether every part is."""
        return self.n_done == self.n_parts

    def begin(self) -> None:
        """Start, or start the tone under way again."""
        self.has_begun, self._began_s = True, None
        self._wait()

    def press(self) -> None:
        """The listener says: a tone."""
        if self._began_s is None:
            self.false_alarms += 1
            self._wait()
        else:
            self._heard = True

    def tick(self, turn: Turn) -> Heard:
        """Play and judge what is due."""
        if not self.has_begun or self.is_over:
            return Heard(turn)
        now_s = self._now_s()
        if self._began_s is None:
            return self._play(turn) if now_s >= self._due_s else Heard(turn)
        heard = self._hearing.look(self.program(), turn)
        if not heard.trouble and now_s - self._began_s >= ANSWER_S:
            self._part.track.answer(heard=self._heard)
            self._began_s = None
            self._wait()
        return heard

    def program(self) -> Program:
        """The tone that sounds, or is next."""
        part = self._part
        return Program((tones.name(part.frequency_hz, part.track.level_db, part.ear),))

    def result(self) -> str:
        """What the store keeps, as JSON: thresholds in dB re full scale, None where no tone was heard."""
        parts = [
            {
                "ear": part.ear,
                "frequency_hz": part.frequency_hz,
                "threshold_db": part.track.threshold_db,
                "steady": part.track.is_steady,
            }
            for part in self._parts
        ]
        return json.dumps({"false_alarms": self.false_alarms, "parts": parts})

    @property
    def _part(self) -> _Part:
        return next(part for part in self._parts if not part.track.is_over)

    def _play(self, turn: Turn) -> Heard:
        self._began_s, self._heard = self._now_s(), False
        return self._hearing.play(self.program(), turn)

    def _wait(self) -> None:
        self._due_s = self._now_s() + self._rng.uniform(*WAIT_S)


def of_slot(plan: Plan, slot: int, hearing: Hearing, now_s: Callable[[], float]) -> HearingCheck:
    """The check of one slot: no tone louder than the strongest clip of the study."""
    rng = random.Random(f"{plan.drawn_from} {slot} hearing check")
    return HearingCheck(hearing, now_s, strongest_db=hearing.level_db(plan.level_check_clip), rng=rng)


def told(events: Iterable[EventRow]) -> tuple[str, ...]:
    """What a sitting's hearing check said, for the researcher; empty where there was none."""
    results = [event.detail for event in events if event.kind == NOTED]
    if not results:
        return ()
    return (SKIPPED,) if results[-1] == SKIPPED else tuple(lines(results[-1]))


def lines(result: str) -> list[str]:
    """A stored result for the researcher: differences between the ears and between repeats, no dB HL."""
    told = json.loads(result)
    found: dict[tuple[str, float], list[float | None]] = {}
    for part in told["parts"]:
        found.setdefault((part["ear"], part["frequency_hz"]), []).append(part["threshold_db"])
    made = [_ears(found["left", f][0], found["right", f][0], f) for f in dict.fromkeys(FREQUENCIES_HZ)]
    made += [_repeat(ear, found[ear, FREQUENCIES_HZ[0]]) for ear in EARS]
    steady = sum(part["steady"] for part in told["parts"])
    made.append(
        f"{steady} of {len(told['parts'])} thresholds steady, key pressed without a tone "
        f"{told['false_alarms']} times"
    )
    return made


def _ears(left_db: float | None, right_db: float | None, frequency_hz: float) -> str:
    if left_db is None or right_db is None:
        unheard = " and ".join(e for e, level in zip(EARS, (left_db, right_db), strict=True) if level is None)
        return f"{frequency_hz:g} Hz: loudest tone not heard, {unheard}"
    worse = "left needs" if left_db > right_db else "right needs"
    apart_db = abs(left_db - right_db)
    return f"{frequency_hz:g} Hz: " + (f"{worse} {apart_db:.0f} dB more" if apart_db else "both ears alike")


def _repeat(ear: str, levels_db: list[float | None]) -> str:
    first, again = levels_db[0], levels_db[-1]
    if first is None or again is None:
        return f"{ear}, {FREQUENCIES_HZ[0]:g} Hz twice: not heard each time"
    return f"{ear}, {FREQUENCIES_HZ[0]:g} Hz twice: {abs(again - first):.0f} dB apart"

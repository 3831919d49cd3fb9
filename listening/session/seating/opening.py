"""Everything behind the first screen: plan, clips, device, answers and seat, checked in that order."""

import time

from listening.audio import probe
from listening.audio.probe import Look
from listening.audio.speaker import Speaker
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.dealt.room import Room
from listening.records.sounds.level import Level
from listening.records.study import KEY_BESIDE, Study
from listening.session import large_blocks
from listening.session.seating import device_trial, station
from listening.session.seating.arrival import Arrival
from listening.session.seating.clocks import Clocks
from listening.session.seating.station import Seat
from listening.session.showing.view import View
from listening.session.showing.words import Words
from listening.session.sitting import Sitting
from listening.session.sounding import clip_reading, exposure
from listening.session.sounding.aloud import Aloud
from listening.store import open_for_sitting, utc_now


def open_aloud(
    study: Study,
    seat: Seat,
    first: View,
    spoken: Words,
    *,
    device: str | None = None,
    look: Look | None = None,
) -> Arrival:
    """Who arrives at a station that sounds, on the chosen device or the system's own.

    Where nobody can come back, or the code is known, the seat is taken at once. It is held until the process
    ends.

    Parameters
    ----------
    first : the welcome
    spoken : the words of the screens, or those of the plain line mode
    look : a look at the devices that was begun before, `listening.audio.probe.begun`

    Raises
    ------
    ListeningError
        The station folder is not whole, there is no sound, or the seat cannot be taken.
    """
    large_blocks.give_back_at_once()
    opened = Station(study, device, look)
    arrival = Arrival(
        first, spoken, seat=seat, is_known=opened.is_known, sit=lambda wanted: opened.sit(wanted, spoken)
    )
    is_clear = seat.slot is not None or (seat.listener is not None and opened.is_known(seat.listener))
    if is_clear or opened.has_nobody_to_wait_for():
        arrival.sitting = opened.sit(seat, spoken)
    clip_reading.warm_up()
    return arrival


class Station:
    """Everything that a sitting needs, checked and open."""

    def __init__(self, study: Study, device: str | None, look: Look | None = None) -> None:
        self._leave = station.stay(study)  # until the process ends: nobody deals anew meanwhile
        self.plan = Plan.load(study.plan)
        self._key_beside = study.key_lies_beside
        clip_reading.check(self.plan, study.clips)
        self._output = probe.chosen(device, probe.devices(look))
        self._level = calibration(study, self._output.name)
        self._room = Room.load(study.room) if study.room.is_file() else None
        self._store = open_for_sitting(study)
        speaker = Speaker(self.plan.rate_hz, now_s=time.monotonic, device=self._output.index)
        device_trial.make_ready(speaker, study, self._output.name, utc=utc_now())
        self._player = Aloud(clip_reading.Clips(study.clips, self.plan.rate_hz), speaker, self._level)

    def is_known(self, code: str) -> bool:
        """Whether somebody has begun under this code; raises ListeningError when it is no code."""
        station.check_code(code)
        return self._store.resume(listener=code) is not None

    def has_nobody_to_wait_for(self) -> bool:
        """Whether no sitting is begun and unfinished, so that nobody can come back."""
        return all(use.finished for use in self._store.slot_use(simulated=False))

    def sit(self, seat: Seat, spoken: Words) -> Sitting:
        """Take a seat, begun or resumed; raises as `station.take`."""
        row, hold = station.take(self.plan, self._store, seat)
        clocks = Clocks(time.monotonic, utc_now)
        sitting = station.seated(
            self.plan,
            self._store,
            row,
            player=self._player,
            clocks=clocks,
            spoken=spoken,
            level_is_set=self._level is not None,
        )
        sitting.hold = hold
        self._note_sound(row.id)
        return sitting

    def _note_sound(self, sitting: str) -> None:
        output, rate_hz = self._output, self.plan.rate_hz
        detail = f"device {output.name}; {_told(self._level)}"
        self._store.note(sitting, exposure.OPENED, detail=detail)
        if self._room is not None:
            self._store.note(sitting, "conditions", detail=self._room.told())
        if self._key_beside:
            self._store.note(sitting, "caution", detail=KEY_BESIDE)
        if output.rate_hz != rate_hz:
            detail = (
                f"the device runs at {output.rate_hz:.0f} Hz, the clips have {rate_hz} Hz: "
                "the system converts them on the way"
            )
            self._store.note(sitting, "caution", detail=detail)


def calibration(study: Study, device: str) -> Level | None:
    """The station's calibration, if it has one.

    Raises
    ------
    StudyError
        It was made on another device.
    """
    if not study.level.is_file():
        return None
    level = Level.load(study.level)
    if level.device != device:
        raise StudyError(
            f"{study.level}: calibrated on `{level.device}`, but the sound goes to `{device}`; "
            f"calibrate again (listening calibrate {study.root}), choose the device with --device, "
            f"or drop the calibration with listening calibrate {study.root} --forget"
        )
    return level


def _told(level: Level | None) -> str:
    if level is None:
        return "uncalibrated, the only ceiling is full scale"
    return (
        f"calibrated {level.calibrated_at}, {level.headphones}, {level.side}, "
        f"ceiling {level.ceiling_db:.1f} dB LAFmax"
    )

"""Everything behind the first screen: plan, clips, device, answers and seat, checked in that order."""

import time

from listening.audio import probe
from listening.audio.speaker import Speaker
from listening.errors import StudyError
from listening.records.level import Level
from listening.records.plan import Plan
from listening.records.study import Study
from listening.session import clips, exposure, station
from listening.session.aloud import Aloud
from listening.session.sitting import Clocks, Sitting
from listening.session.station import Seat
from listening.store import open_for_sitting, utc_now


def open_aloud(study: Study, seat: Seat, *, device: str | None = None) -> Sitting:
    """A sitting that sounds, on the chosen device or the system's own.

    The seat is held until the process ends.

    Raises
    ------
    ListeningError
        The station folder is not whole, there is no sound, or the seat cannot be taken.
    """
    plan = Plan.load(study.plan)
    clips.check(plan, study.clips)
    output = probe.chosen(device, probe.devices())
    level = calibration(study, output.name)
    store = open_for_sitting(study)
    row, hold = station.take(plan, store, seat)
    speaker = Speaker(plan.rate_hz, now_s=time.monotonic, device=output.index)
    player = Aloud(clips.Clips(study.clips, plan.rate_hz), speaker, level)
    sitting = station.seated(plan, store, row, player=player, clocks=Clocks(time.monotonic, utc_now))
    sitting.hold = hold
    clips.warm_up()
    sitting.level_is_set = level is not None
    store.note(row.id, exposure.OPENED, detail=f"device {output.name}; {_told(level)}")
    if output.rate_hz != plan.rate_hz:
        store.note(
            row.id,
            "caution",
            detail=f"the device runs at {output.rate_hz:.0f} Hz, the clips have {plan.rate_hz} Hz: "
            "the system converts them on the way",
        )
    return sitting


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
            f"calibrate again (listening level {study.root}), choose the device with --device, "
            f"or drop the calibration with listening level {study.root} --forget"
        )
    return level


def _told(level: Level | None) -> str:
    if level is None:
        return "uncalibrated, the only ceiling is full scale"
    return (
        f"calibrated {level.calibrated_at}, {level.headphones}, {level.side}, "
        f"ceiling {level.ceiling_db:.1f} dB LAFmax"
    )

"""Everything behind the first screen: plan, clips, device, answers and seat, checked in that order."""

import time

from listening.audio import probe
from listening.audio.speaker import Speaker
from listening.records.plan import Plan
from listening.records.study import Study
from listening.session import clips, station
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
    store = open_for_sitting(study)
    row, hold = station.take(plan, store, seat)
    speaker = Speaker(plan.rate_hz, now_s=time.monotonic, device=output.index)
    player = Aloud(clips.Clips(study.clips, plan.rate_hz), speaker)
    sitting = station.seated(plan, store, row, player=player, clocks=Clocks(time.monotonic, utc_now))
    sitting.hold = hold
    store.note(row.id, "opened", detail=f"device {output.name}; {output.rate_hz:.0f} Hz of its own")
    if output.rate_hz != plan.rate_hz:
        store.note(
            row.id,
            "caution",
            detail=f"the device runs at {output.rate_hz:.0f} Hz, the clips have {plan.rate_hz} Hz: "
            "the system converts them on the way",
        )
    return sitting

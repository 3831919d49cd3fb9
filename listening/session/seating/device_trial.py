"""The station's device tried once, before anybody is seated; what it showed is kept beside the plan."""

from listening.audio import silent_plays
from listening.audio.speaker import Speaker
from listening.errors import RecordError
from listening.records.dealt.device_start import DeviceStart
from listening.records.study import Study


def make_ready(speaker: Speaker, study: Study, device: str, *, utc: str) -> None:
    """Let the speaker know how its device starts: as was found before, or by ten silent plays now.

    Raises
    ------
    SoundError
        The device cannot be opened, or lost some of the plays.
    """
    known = _known(study)
    if known is not None and (known.device, known.rate_hz) == (device, speaker.rate_hz):
        speaker.longest_start_s = known.longest_start_s
        return
    found = silent_plays.tried(speaker)
    silent_plays.refuse_unfit(found, device)
    DeviceStart(
        device=device, rate_hz=speaker.rate_hz, longest_start_s=found.longest_start_s, tried_at=utc
    ).save(study.device_start)


def _known(study: Study) -> DeviceStart | None:
    """What an earlier sitting found; a file that cannot be read is as none: the device is tried again."""
    if not study.device_start.is_file():
        return None
    try:
        return DeviceStart.load(study.device_start)
    except RecordError:
        return None

"""What is wrong with the sounds of a study, one by one and taken together."""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import ListeningError
from listening.metrics import calibration, channels
from listening.metrics.striking import flags, onset, ringing_end
from listening.records.forms.problem import Problem
from listening.records.forms.text import from_root
from listening.records.kinds import metric_register
from listening.records.protocols.protocol import Protocol
from listening.records.sounds import recordings_table
from listening.records.sounds.recordings_table import Recording

FULL_SCALE = 1.0 - 2.0**-15  # the largest positive sample of 16 bit
CLIPPED_RUN = 3  # samples in a row at full scale
FLAT_RUN = 5  # samples in a row at the same peak below full scale: clipped, then scaled
WEAKEST_PEAK_DBFS = -80.0
CAUTIONS = {  # flags of `measure` that say what is wrong with a take
    flags.DC: ("a constant offset (DC)", "a high-pass, or an interface without offset"),
    flags.HUM: ("mains hum", "a recording without it: other cables, or batteries"),
    flags.SECOND_STRIKE: ("a second strike", "one strike a recording: cut it"),
    flags.REBOUND: ("a rebound within 150 ms", "a take without one, or say that it belongs to the sound"),
}


@dataclass(frozen=True)
class Heard:
    """What the checks need to know of one sound."""

    file: Path
    name: str
    """Id of the recording, or which example it is."""
    is_example: bool
    rate_hz: int
    n_channels: int
    loudest: int
    """Which channel is loudest, from 1."""
    duration_s: float
    peak: float
    clipped: int
    """Runs of samples at full scale."""
    flat: int
    """Runs of samples at one peak below full scale."""
    onset_s: float
    audible_until_s: float | None
    """From the onset; None when it still rings at the end."""
    noise: float | None
    """RMS before the strike, full scale = 1."""
    flags: tuple[str, ...]
    """As `measure` has them, of the loudest channel."""
    digest: str


def problems(
    protocol: Protocol,
    recordings: list[Recording],
    protocol_path: Path,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> list[Problem]:
    """Everything wrong or doubtful about the recordings and examples that a protocol uses."""
    wanted = [(r.file, r.recording, False) for r in recordings]
    folder = from_root(protocol_path.parent / protocol.recordings.folder)
    for attribute in protocol.attributes:
        if attribute.examples is not None:
            wanted.append((folder / attribute.examples.more, f"example of more {attribute.name}", True))
            wanted.append((folder / attribute.examples.less, f"example of less {attribute.name}", True))
    known: dict[Path, Heard | Problem] = {}  # one file may serve many rows of a faulty table
    heard: list[Heard] = []
    found: list[Problem] = []
    for done, (file, name, is_example) in enumerate(wanted, start=1):
        if file not in known:
            known[file] = _listen(file, name, is_example)
        one = known[file]
        if isinstance(one, Heard):
            heard.append(replace(one, name=name, is_example=is_example))
        else:
            found.append(replace(one, key=name))
        if on_progress:
            on_progress(done, len(wanted))
    for sound in heard:
        found += _one(sound, protocol)
    found += _response(protocol, folder)
    scale, about_chain = _chain(protocol, folder)
    recordings = recordings_table.calibrated(recordings, scale)
    return [
        *found,
        *about_chain,
        *_together(heard),
        *_channels(heard, recordings),
        *_calibration(recordings, protocol, protocol_path),
    ]


def _response(protocol: Protocol, folder: Path) -> Iterator[Problem]:
    name = protocol.playback.response
    if name is not None and not (folder / name).is_file():
        wanted = "a measured response (WAV, FLAC or CSV), or no playback.response"
        yield Problem(str(folder / name), "playback.response", "no such file", wanted)


def _chain(protocol: Protocol, folder: Path) -> tuple[float | None, list[Problem]]:
    """Pascal per full scale by the study's calibrator; what is wrong with it, or with the room."""
    found: list[Problem] = []
    room, own = protocol.recordings.background, protocol.recordings.calibrator
    if room is not None:
        try:
            wav.for_measuring(folder / room)
        except ListeningError as error:
            wanted = "the room alone, or no recordings.background"
            found.append(Problem(str(folder / room), "recordings.background", str(error), wanted))
    if own is None:
        return None, found
    place = "recordings.calibrator"
    try:
        chain = calibration.of_files(folder, own.before, own.after, level_db=own.level_db)
    except ListeningError as error:
        wanted = f"the calibrator's clean tone of {own.level_db} dB"
        return None, [*found, Problem(str(folder / own.before), place, str(error), wanted)]
    if chain.has_drifted:
        drift = f"a drift of {chain.drift_db:+.2f} dB from before to after"
        wanted = f"at most {calibration.LARGEST_DRIFT_DB} dB: find the cause and record again"
        found.append(Problem(str(folder / str(own.after)), place, drift, wanted))
    return chain.pascal_per_full_scale, found


def _listen(file: Path, name: str, is_example: bool) -> Heard | Problem:
    try:
        sound = wav.for_measuring(file)
        if sound.is_silent:
            return Problem(str(file), name, "silence: every sample is zero", "a recorded strike")
        return _heard(sound, file, name, is_example)
    except ListeningError as error:
        return Problem(str(file), name, str(error).removeprefix(f"{file}: "), "a whole WAV or FLAC file")


def _heard(sound: Sound, file: Path, name: str, is_example: bool) -> Heard:
    mono = sound.mono()
    listened = sound.channel(0) if mono.is_silent else mono
    start = onset.find(listened)
    peak = max(float(abs(sound.read(*span)).max()) for span in sound.spans())
    strongest, number = channels.chosen(sound, None)
    full = 0 if peak > 1.0 else flags.runs(sound, lambda magnitude: magnitude >= FULL_SCALE, CLIPPED_RUN)
    flat = flags.runs(sound, lambda magnitude: magnitude == peak, FLAT_RUN)
    return Heard(
        file=file,
        name=name,
        is_example=is_example,
        rate_hz=sound.rate_hz,
        n_channels=sound.n_channels,
        loudest=number,
        duration_s=sound.duration_s,
        peak=peak,
        clipped=full,
        flat=0 if full else flat,
        onset_s=start.time_s,
        audible_until_s=ringing_end.audible_until_s(listened, start.time_s),
        noise=start.noise_rms,
        flags=flags.find(strongest, start if sound.n_channels == 1 else None),
        digest=wav.digest_in_blocks(sound),
    )


def _one(sound: Heard, protocol: Protocol) -> Iterator[Problem]:
    def problem(found: str, wanted: str, severity: str = "error") -> Problem:
        return Problem(str(sound.file), sound.name, found, wanted, None, severity)

    peak_db = 20 * math.log10(sound.peak)
    if sound.clipped:
        found = f"{sound.clipped} places where samples stay at full scale: it is clipped"
        yield problem(found, "a recording made with less gain")
    if sound.flat:
        found = f"{sound.flat} flat tops at {peak_db:.1f} dBFS: it was clipped, then made softer"
        yield problem(found, "a recording made with less gain", "caution")
    if peak_db < WEAKEST_PEAK_DBFS:
        wanted = f"a peak above {WEAKEST_PEAK_DBFS:g} dBFS: record with more gain"
        yield problem(f"a peak of {peak_db:.1f} dBFS: as good as silence", wanted)
    yield from _length(sound, protocol, problem)
    if sound.noise and flags.NOISE in sound.flags:
        found = f"a peak only {20 * math.log10(sound.peak / sound.noise):.0f} dB above the noise before it"
        wanted = f"at least {flags.FEWEST_DB_OVER_NOISE:g} dB, or the decay is lost in it"
        yield problem(found, wanted, "caution")
    for flag, (found, wanted) in CAUTIONS.items():
        if flag in sound.flags and not sound.is_example:
            yield problem(found, wanted, "caution")


def _length(sound: Heard, protocol: Protocol, problem: Callable[..., Problem]) -> Iterator[Problem]:
    trimming = protocol.trimming
    after_s = sound.duration_s - sound.onset_s
    wanted_s = trimming.length_s - trimming.before_onset_s
    short = after_s < wanted_s - 1.0 / sound.rate_hz
    if short and sound.audible_until_s is not None:
        found = f"{after_s:.3f} s from the strike to its end, rung out after {sound.audible_until_s:.2f} s"
        yield problem(found, f"{wanted_s:g} s; silence will be put behind it", "caution")
    elif short:
        found = f"{after_s:.3f} s from the strike to its end"
        longest_s = math.floor((after_s + trimming.before_onset_s) * 1000) / 1000
        wanted = f"{wanted_s:g} s: a longer recording, or trimming.length_s at most {longest_s:.3f}"
        yield problem(found, wanted)
    elif not sound.is_example:
        yield from _cut_ringing(sound, protocol, problem)
    if sound.onset_s < trimming.before_onset_s:
        found = f"a strike {sound.onset_s * 1000:.1f} ms after the start"
        wanted = f"{trimming.before_onset_s * 1000:g} ms before it; silence will be put there"
        yield problem(found, wanted, "caution")


def _cut_ringing(sound: Heard, protocol: Protocol, problem: Callable[..., Problem]) -> Iterator[Problem]:
    trimming = protocol.trimming
    fades_s = trimming.length_s - trimming.before_onset_s - trimming.fade_out_s
    until_s = sound.audible_until_s
    if until_s is not None and until_s <= fades_s:
        return
    end_s = sound.duration_s - sound.onset_s
    rings = (
        f"for {until_s:.2f} s" if until_s is not None else f"still when the recording ends ({end_s:.2f} s)"
    )
    found = f"it rings audibly {rings}, the fade begins {fades_s:.2f} s after the strike"
    longer_s = (until_s or end_s) + trimming.before_onset_s + trimming.fade_out_s
    most = "" if until_s is not None else " and a longer recording"
    wanted = (
        f"trimming.length_s of {longer_s:.2f} or more{most}; else no question on how long it rings: "
        "the fade would decide it"
    )
    yield problem(found, wanted, "caution")


def _together(heard: list[Heard]) -> Iterator[Problem]:
    rates, numbers = Counter(s.rate_hz for s in heard), Counter(s.n_channels for s in heard)
    usual_hz = max(rates, key=lambda rate: (rates[rate], rate), default=0)
    usual = max(numbers, key=lambda n: numbers[n], default=0)
    for sound in heard:
        if sound.rate_hz != usual_hz:
            wanted = f"{usual_hz} Hz as in {rates[usual_hz]} others: it will be resampled (soxr)"
            yield Problem(
                str(sound.file), sound.name, f"a rate of {sound.rate_hz} Hz", wanted, None, "caution"
            )
        if sound.n_channels != usual:
            wanted = f"{usual} as in {numbers[usual]} others: export all alike"
            yield Problem(str(sound.file), sound.name, f"a number of channels of {sound.n_channels}", wanted)
    same: dict[tuple[str, bool], list[Heard]] = defaultdict(list)
    for sound in heard:
        same[sound.digest, sound.is_example].append(sound)
    for first, *twins in same.values():
        for twin in twins:
            if not twin.is_example or twin.file != first.file:  # one example may serve two attributes
                found = f"the same samples as `{first.name}`"
                yield Problem(str(twin.file), twin.name, found, "a recording of its own")


def _channels(heard: list[Heard], recordings: list[Recording]) -> Iterator[Problem]:
    """Channels that are not there, and several channels of which nobody said which is measured."""
    chosen = {r.recording: r.channel for r in recordings}
    studied = [s for s in heard if not s.is_example]
    for sound in studied:
        number = chosen.get(sound.name)
        if isinstance(number, int) and number > sound.n_channels:
            found = f"channel {number} of {sound.n_channels}"
            yield Problem(str(sound.file), sound.name, found, f"a channel from 1 to {sound.n_channels}")
    free = [s for s in studied if chosen.get(s.name) is None and s.n_channels > 1]
    counts = Counter(s.loudest for s in free)
    if len(counts) > 1:
        usual = min(counts, key=lambda n: (-counts[n], n))
        other = next(s for s in free if s.loudest != usual)
        others = f"channel {usual} in {counts[usual]} others"
        found = f"channel {other.loudest} is the loudest and would be measured, {others}"
        wanted = "the same channel, or `average`, for all: a column `channel` in the table"
        yield Problem(str(other.file), other.name, found, wanted, None, "caution")


def _calibration(recordings: list[Recording], protocol: Protocol, path: Path) -> Iterator[Problem]:
    bare = [r.recording for r in recordings if r.pascal_per_full_scale is None]
    if bare and len(bare) < len(recordings):
        found = (
            f"{len(recordings) - len(bare)} calibrated recordings and {len(bare)} not, such as `{bare[0]}`"
        )
        wanted = "all calibrated, or none: fill the column or empty it"
        yield Problem(str(path), "recordings: pascal_per_full_scale", found, wanted)
    if not bare:
        return
    for presentation in protocol.presentations:
        if presentation.metric and metric_register.named(presentation.metric).needs_calibration:
            found = f"`{presentation.metric}` for recordings without calibration"
            wanted = "pascal_per_full_scale in the table, or a level metric such as laf_max_db"
            yield Problem(str(path), "presentations.metric", found, wanted)

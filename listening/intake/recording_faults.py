"""What is wrong with the sounds of a study, one by one and taken together."""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from operator import attrgetter
from pathlib import Path
from typing import Any

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import ListeningError
from listening.metrics import channels, onset, ringing_end
from listening.records import metric_register
from listening.records.problem import Problem
from listening.records.protocol import Protocol
from listening.records.recordings_table import Recording
from listening.records.text import from_root

FULL_SCALE = 1.0 - 2.0**-15  # the largest positive sample of 16 bit
CLIPPED_RUN = 3  # samples in a row at full scale
FLAT_RUN = 5  # samples in a row at the same peak below full scale: clipped, then scaled
WEAKEST_PEAK_DBFS = -80.0
FEWEST_DB_OVER_NOISE = 40.0  # below, a decay of 30 dB ends in the noise


@dataclass(frozen=True)
class Heard:
    """What the checks need to know of one sound."""

    file: Path
    name: str
    """Id of the recording, or which anchor it is."""
    is_anchor: bool
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
    digest: str


def problems(
    protocol: Protocol,
    recordings: list[Recording],
    protocol_path: Path,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> list[Problem]:
    """Everything wrong or doubtful about the recordings and anchors that a protocol uses."""
    wanted = [(r.file, r.recording, False) for r in recordings]
    folder = from_root(protocol_path.parent / protocol.recordings.folder)
    for attribute in protocol.attributes:
        if attribute.anchor is not None:
            wanted.append((folder / attribute.anchor.more, f"anchor of more {attribute.name}", True))
            wanted.append((folder / attribute.anchor.less, f"anchor of less {attribute.name}", True))
    known: dict[Path, Heard | Problem] = {}  # one file may serve many rows of a faulty table
    heard: list[Heard] = []
    found: list[Problem] = []
    for done, (file, name, is_anchor) in enumerate(wanted, start=1):
        if file not in known:
            known[file] = _listen(file, name, is_anchor)
        one = known[file]
        if isinstance(one, Heard):
            heard.append(replace(one, name=name, is_anchor=is_anchor))
        else:
            found.append(replace(one, key=name))
        if on_progress:
            on_progress(done, len(wanted))
    for sound in heard:
        found += _one(sound, protocol)
    found += _response(protocol, folder)
    return [
        *found,
        *_together(heard),
        *_channels(heard, recordings),
        *_calibration(recordings, protocol, protocol_path),
    ]


def _response(protocol: Protocol, folder: Path) -> Iterator[Problem]:
    name = protocol.playback.response
    if name is not None and not (folder / name).is_file():
        wanted = "a measured response (WAV, FLAC or CSV), or no playback.response"
        yield Problem(str(folder / name), "playback.response", "no such file", wanted)


def _listen(file: Path, name: str, is_anchor: bool) -> Heard | Problem:
    try:
        sound = wav.load(file)
        if not sound.samples.any():
            return Problem(str(file), name, "silence: every sample is zero", "a recorded strike")
        return _heard(sound, file, name, is_anchor)
    except ListeningError as error:
        return Problem(str(file), name, str(error).removeprefix(f"{file}: "), "a whole WAV or FLAC file")


def _heard(sound: Sound, file: Path, name: str, is_anchor: bool) -> Heard:
    mono = sound.mono()
    listened = mono if mono.samples.any() else sound.channel(0)
    start = onset.find(listened)
    magnitude = abs(sound.samples)
    peak = float(magnitude.max())
    full = sum(_runs(magnitude[:, c] >= FULL_SCALE, CLIPPED_RUN) for c in range(sound.n_channels))
    flat = sum(_runs(magnitude[:, c] == peak, FLAT_RUN) for c in range(sound.n_channels))
    return Heard(
        file=file,
        name=name,
        is_anchor=is_anchor,
        rate_hz=sound.rate_hz,
        n_channels=sound.n_channels,
        loudest=channels.chosen(sound, None)[1],
        duration_s=sound.duration_s,
        peak=peak,
        clipped=full,
        flat=0 if full else flat,
        onset_s=start.time_s,
        audible_until_s=ringing_end.audible_until_s(listened, start.time_s),
        noise=start.noise_rms,
        digest=wav.digest(sound.samples),
    )


def _runs(mask: Any, length: int) -> int:
    """How many runs of at least `length` true values an (n,) boolean array has."""
    n_windows = len(mask) - length + 1
    inside = mask[:n_windows].copy()
    for shift in range(1, length):
        inside &= mask[shift : shift + n_windows]
    return int(inside[:1].sum() + (inside[1:] & ~inside[:-1]).sum())


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
    if sound.noise and 20 * math.log10(sound.peak / sound.noise) < FEWEST_DB_OVER_NOISE:
        found = f"a peak only {20 * math.log10(sound.peak / sound.noise):.0f} dB above the noise before it"
        yield problem(found, f"at least {FEWEST_DB_OVER_NOISE:g} dB, or the decay is lost in it", "caution")


def _length(sound: Heard, protocol: Protocol, problem: Callable[..., Problem]) -> Iterator[Problem]:
    trimming = protocol.trimming
    after_s = sound.duration_s - sound.onset_s
    wanted_s = trimming.length_s - trimming.before_onset_s
    if after_s < wanted_s - 1.0 / sound.rate_hz:
        found = f"{after_s:.3f} s from the strike to its end"
        longest_s = math.floor((after_s + trimming.before_onset_s) * 1000) / 1000
        wanted = f"{wanted_s:g} s: a longer recording, or trimming.length_s at most {longest_s:.3f}"
        yield problem(found, wanted)
    elif not sound.is_anchor:
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
    for what, unit, value in (
        ("rate", " Hz", attrgetter("rate_hz")),
        ("number of channels", "", attrgetter("n_channels")),
    ):
        counts = Counter(map(value, heard))
        usual = max(counts, key=lambda key: counts[key]) if counts else None
        for sound in heard:
            if value(sound) != usual:
                found = f"a {what} of {value(sound)}{unit}"
                wanted = f"{usual}{unit} as in {counts[usual]} others: export all alike"
                yield Problem(str(sound.file), sound.name, found, wanted)
    same: dict[tuple[str, bool], list[Heard]] = defaultdict(list)
    for sound in heard:
        same[sound.digest, sound.is_anchor].append(sound)
    for first, *twins in same.values():
        for twin in twins:
            if not twin.is_anchor or twin.file != first.file:  # one anchor may serve two attributes
                found = f"the same samples as `{first.name}`"
                yield Problem(str(twin.file), twin.name, found, "a recording of its own")


def _channels(heard: list[Heard], recordings: list[Recording]) -> Iterator[Problem]:
    """Channels that are not there, and several channels of which nobody said which is measured."""
    chosen = {r.recording: r.channel for r in recordings}
    studied = [s for s in heard if not s.is_anchor]
    for sound in studied:
        number = chosen.get(sound.name)
        if number is not None and number > sound.n_channels:
            found = f"channel {number} of {sound.n_channels}"
            yield Problem(str(sound.file), sound.name, found, f"a channel from 1 to {sound.n_channels}")
    free = [s for s in studied if chosen.get(s.name) is None and s.n_channels > 1]
    counts = Counter(s.loudest for s in free)
    if len(counts) > 1:
        number = min(counts, key=lambda n: (-counts[n], n))
        other = next(s for s in free if s.loudest != number)
        others = f"channel {number} in {counts[number]} others"
        found = f"channel {other.loudest} is the loudest and would be measured, {others}"
        wanted = "the same channel for all: a column `channel` in the table"
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

"""What is wrong with a recording, in words: a list of flags, empty when nothing is."""

from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.metrics.ringing import other_strikes
from listening.metrics.striking import onset, strike
from listening.metrics.striking.onset import Onset

CLIPPING, DC, HUM = "clipping", "dc", "hum"
SILENT_CHANNEL = "silent-channel"  # given by whoever looks at several channels
SECOND_STRIKE, REBOUND = "second-strike", "rebound"
FADE_OUT, TRUNCATED_TAIL = "fade-out", "truncated-tail"
NOISE = "noise"

FEWEST_DB_OVER_NOISE = 40.0  # of the peak: below, a decay of 30 dB ends in the noise
FLAT_SAMPLES = 3  # this many equal samples at the extreme, entered by a jump
FLAT_JUMP = 0.002  # re the extreme; a low tone that just touches it turns more gently
DC_SHARE = 0.002  # of the peak
HUM_BASES_HZ = (50.0, 60.0)  # mains
HUM_OVER_FLOOR_DB = 20.0
HUM_BELOW_PEAK_DB = 80.0  # weaker than this it changes nothing
SIDELOBES_BETA = 12.3  # of Kaiser's window: -90 dB, below the weakest hum that counts
SHORTEST_QUIET_S, LONGEST_QUIET_S = 0.5, 20.0
END_S = 0.05
FADE_EXTRA_DB = 8.0
RINGING_END_DB = -45.0  # re the loudest; a tail cut above this is missed
INAUDIBLE_DBFS = -100.0


def find(sound: Sound, start: Onset | None = None) -> tuple[str, ...]:
    """Flags of a one-channel sound; `start` is its onset, where that is known.

    clipping, dc, hum, noise, second-strike, rebound, fade-out, truncated-tail.
    """
    start = onset.find(sound) if start is None else start
    start_s = start.time_s
    bounces = [other_strikes.is_rebound(at, start_s) for at in other_strikes.find(sound, start_s)]
    checks: dict[str, Callable[[], bool]] = {
        CLIPPING: lambda: is_clipped(sound),
        DC: lambda: has_dc(sound),
        HUM: lambda: has_hum(sound, start_s),
        NOISE: lambda: is_noisy(sound, start.noise_rms),
        SECOND_STRIKE: lambda: not all(bounces),
        REBOUND: lambda: any(bounces),
        FADE_OUT: lambda: fades_out(sound),
    }
    found = [name for name, check in checks.items() if check()]
    if FADE_OUT not in found and is_truncated(sound, start_s):
        found.append(TRUNCATED_TAIL)
    return tuple(found)


def is_clipped(sound: Sound) -> bool:
    """Whether the waveform of a one-channel sound is cut flat at its largest or smallest value."""
    for side in (1.0, -1.0):
        top = max(float((side * block).max()) for block in sound.pressure_blocks())
        if top > 0 and any(_is_cut(side * block, top) for block in _overlapping(sound, FLAT_SAMPLES)):
            return True
    return False


def _overlapping(sound: Sound, more: int) -> Iterator[FloatArray]:
    """Blocks that each go on for `more` samples into the next."""
    return (sound.pressure_between(start, stop + more) for start, stop in sound.spans())


def has_dc(sound: Sound) -> bool:
    """Whether the mean differs from zero by more than the sound itself would make it."""
    n = sound.n_samples
    if n < 4:
        return False
    edges = np.cumsum([0, *(len(part) for part in np.array_split(np.empty(n, dtype=np.int8), 4))])
    sums = [
        sum(float(block.sum()) for block in sound.pressure_blocks(int(start), int(stop)))
        for start, stop in pairwise(edges)
    ]
    mean, quarters = sum(sums) / n, np.array(sums) / np.diff(edges)
    steady = abs(mean) > 3.0 * float(np.std(quarters))
    return bool(abs(mean) > DC_SHARE * _peak(sound) and steady)


def is_noisy(sound: Sound, noise_rms: float | None) -> bool:
    """Whether the peak is less than 40 dB above the noise before the strike, in the unit of the pressure."""
    if not noise_rms:
        return False
    return bool(_peak(sound) < noise_rms * 10.0 ** (FEWEST_DB_OVER_NOISE / 20.0))


def has_hum(sound: Sound, onset_s: float) -> bool:
    """Whether mains hum stands out of the quiet before the strike, or of the recording's end."""
    rate_hz, stop = sound.rate_hz, max(0, round((onset_s - 0.01) * sound.rate_hz))
    longest = round(LONGEST_QUIET_S * rate_hz)
    if stop < SHORTEST_QUIET_S * rate_hz:
        stop = sound.n_samples
        longest = min(longest, round(max(SHORTEST_QUIET_S, 0.25 * sound.duration_s) * rate_hz))
    quiet = sound.pressure_between(max(0, stop - longest), stop)
    if len(quiet) < SHORTEST_QUIET_S * rate_hz:
        return False
    window = np.kaiser(len(quiet), SIDELOBES_BETA)
    power = np.abs(np.fft.rfft((quiet - quiet.mean()) * window)) ** 2
    bin_hz = rate_hz / len(quiet)
    loudest = _peak(sound) ** 2 / 2
    return any(
        _stands_out(power, base_hz / bin_hz, bin_hz, loudest * window.sum() ** 2 / 4)
        for base_hz in HUM_BASES_HZ
    )


def fades_out(sound: Sound) -> bool:
    """Whether the last 50 ms fall much faster than what comes before, down to nothing."""
    level_db = _end_levels_db(sound, n_frames=40)
    if len(level_db) < 40 or level_db[:30].max() < INAUDIBLE_DBFS:
        return False
    slope = np.polyfit(np.arange(30), level_db[:30], 1)
    expected = np.polyval(slope, np.arange(30, 40))
    below = expected - level_db[30:]
    return bool(
        below[-1] > FADE_EXTRA_DB and below[-3:].mean() > 0.5 * FADE_EXTRA_DB and below[-1] > below[0]
    )


def is_truncated(sound: Sound, onset_s: float) -> bool:
    """Whether a strike still rings when the recording ends."""
    if not strike.rings_out(sound, onset_s) and not _falls(sound, onset_s):
        return False
    frame, stop = max(1, round(END_S * sound.rate_hz)), sound.sounding_samples()
    rms = onset.frames(sound.pressure_blocks(stop % frame if stop > frame else 0, stop), frame)
    if len(rms) < 6:
        return True
    level_db = 20 * np.log10(np.maximum(rms, 1e-300) / rms.max())
    last = level_db[-max(6, len(level_db) // 10) :]
    falls = np.polyfit(np.arange(len(last)) * END_S, last, 1)[0] * END_S * len(last) < -1.0
    return bool(level_db[-1] > RINGING_END_DB and falls)


def _falls(sound: Sound, onset_s: float) -> bool:
    start = round(onset_s * sound.rate_hz)
    rms = onset.frames(sound.pressure_blocks(start), max(1, sound.rate_hz // 100))
    top = int(np.argmax(rms))
    return bool(top < 10 and rms[-1] < 0.7 * rms[top])


def runs(sound: Sound, is_meant: Callable[[FloatArray], np.ndarray], length: int) -> int:
    """How many runs of at least `length` samples, in all channels, are of the magnitudes that are meant."""
    found = 0
    for start, stop in sound.spans():
        mask = is_meant(abs(sound.read(start - 1, stop + length - 1)))
        if start == 0:
            mask = np.concatenate([np.zeros_like(mask[:1]), mask])
        n_windows = max(0, len(mask) - length + 1)
        inside = np.ones_like(mask[:n_windows])
        for shift in range(length):
            inside &= mask[shift : shift + n_windows]
        found += int((inside[1:] & ~inside[:-1]).sum())
    return found


def _is_cut(samples: FloatArray, top: float) -> bool:
    """Whether a run of samples at the top is entered by a jump."""
    if len(samples) <= FLAT_SAMPLES:
        return False
    flat = samples[: len(samples) - FLAT_SAMPLES] < top * (1.0 - FLAT_JUMP)
    for later in range(1, FLAT_SAMPLES + 1):
        flat &= samples[later : len(samples) - FLAT_SAMPLES + later] == top
    return bool(flat.any())


def _peak(sound: Sound) -> float:
    return max(float(np.abs(block).max()) for block in sound.pressure_blocks())


def _stands_out(power: FloatArray, base_bin: float, bin_hz: float, loudest: float) -> bool:
    """Two of the first four harmonics, or the first alone, well above their neighbourhood."""
    out = []
    for harmonic in range(1, 5):
        middle, reach = harmonic * base_bin, max(2, round(1.0 / bin_hz))
        low, high = round(middle) - reach, round(middle) + reach + 1
        wide = round(15.0 / bin_hz)
        around = np.concatenate([power[max(1, low - wide) : max(1, low - 4)], power[high + 4 : high + wide]])
        line = float(power[max(0, low) : high].max(initial=0.0))
        floor = float(np.median(around)) if len(around) else np.inf
        out.append(
            line > floor * 10 ** (HUM_OVER_FLOOR_DB / 10) and line > loudest * 10 ** (-HUM_BELOW_PEAK_DB / 10)
        )
    return out[0] or sum(out) >= 2


def _end_levels_db(sound: Sound, *, n_frames: int) -> FloatArray:
    """dB re full scale of the last `n_frames` frames of 10 ms with something in them."""
    frame, stop = max(1, sound.rate_hz // 100), sound.sounding_samples()
    start = max(stop % frame, stop - n_frames * frame)
    samples = sound.pressure_between(start, stop) / (sound.pascal_per_full_scale or 1.0)
    return np.asarray(20 * np.log10(np.maximum(onset.envelope(samples, frame), 1e-12)))

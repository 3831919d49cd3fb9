"""The curves behind the numbers, as arrays that figures are drawn from."""

from collections.abc import Iterator

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray, Sound
from listening.metrics import bands
from listening.metrics.measures import Channel
from listening.metrics.striking import ringing_part

STEP_S = 0.01
SPECTROGRAM_STEP_S = 0.02
WINDOW_S = 0.04
HIGHEST_HZ = 16_000.0
DEMODULATION_HZ = 20.0  # half width of the Gaussian that isolates a partial
BAND_HZ = 100.0  # beyond, the Gaussian is down by 100 dB
FLOOR_DB = -300.0
MOST_COLUMNS = 2000  # of a spectrogram, more than a figure has pixels: 40 s of one every 20 ms
WAVEFORM_STEPS = 1500  # of a waveform: more than a figure has pixels
RANGE_DB = 200.0  # below the strongest value; what is weaker is rounding, other on each processor

Arrays = dict[str, np.ndarray]


def of(sound: Sound, channel: Channel) -> Arrays:
    """Arrays of one examined channel by name, single precision; levels in dB re 20 µPa or re full scale.

    time_s, loudness_sone (k,), specific_sone_per_bark (k, 240): every 10 ms, absent when not calibrated, the
    last of a long sound too;
    spectrogram_time_s (t,), spectrogram_hz (f,), spectrogram_db (t, f): a tone reads its rms level, every
    20 ms, or where that gives too many for a figure the mean power of several such;
    partial_hz, partial_t60_s, partial_t60_se_s, partial_level_db (p,), partial_known (p,) 1 or 0;
    partial_beat_hz, partial_beat_db (p,): rate and depth of its deepest beat, 0 where it beats with none;
    partial_time_s (k,), partial_course_db (p, k): measured; waveform_time_s, waveform_low, waveform_high
    (w,): extremes of the samples, full scale = 1; band_hz, band_db (b,): third-octaves, whole sound; of a
    long sound the partials' courses are those of the part that `ringing_part` has;
    all times from the file's start; onset_s (); calibrated () 1 or 0.
    """
    found: Arrays = {"onset_s": np.array(channel.onset.time_s), "calibrated": np.array(sound.calibrated)}
    found |= _loudness(channel) | _spectrogram(sound) | _partials(sound, channel)
    found |= _waveform(sound) | _bands(sound)
    return {name: np.asarray(value, dtype=np.float32) for name, value in found.items()}


def _loudness(channel: Channel) -> Arrays:
    course = channel.course
    if course is None:
        return {}
    step = round(STEP_S / (course.time_s[1] - course.time_s[0]))
    found = {"time_s": course.time_s[::step], "loudness_sone": course.loudness_sone[::step]}
    if len(course.specific_sone_per_bark) == len(course.time_s):
        found["specific_sone_per_bark"] = course.specific_sone_per_bark[::step]
    return found


def _spectrogram(sound: Sound) -> Arrays:
    length = max(16, round(WINDOW_S * sound.rate_hz))
    window = np.hanning(length + 1)[:-1]
    step = max(1, round(SPECTROGRAM_STEP_S * sound.rate_hz))
    line_hz = fft.rfftfreq(length, 1.0 / sound.rate_hz)
    together = 1 + sound.n_samples // step // MOST_COLUMNS
    low = line_hz <= HIGHEST_HZ
    scale = np.sqrt(2.0) / window.sum()
    columns = [
        _means(scale * np.abs(values[:, low]), together)
        for values in _columns(sound, window, step, unit=step * together)
    ]
    rms = np.concatenate(columns)
    return {
        "spectrogram_time_s": (np.arange(len(rms)) * together + 0.5 * (together - 1)) * step / sound.rate_hz,
        "spectrogram_hz": line_hz[low],
        "spectrogram_db": _db(rms, sound),
    }


def _columns(sound: Sound, window: FloatArray, step: int, *, unit: int) -> Iterator[np.ndarray]:
    """(t, f) of one block after another, of columns whose middle lies in it; silence lies around."""
    middle = len(window) // 2
    for start, stop in sound.spans(unit=unit):
        n_columns = (stop - start) // step + (stop == sound.n_samples)
        low, high = start - middle, start - middle + (n_columns - 1) * step + len(window)
        samples = sound.pressure_between(max(0, low), min(sound.n_samples, high))
        around = np.pad(samples, (max(0, -low), max(0, high - sound.n_samples)))
        framed = np.lib.stride_tricks.sliding_window_view(around, len(window))[::step]
        yield fft.rfft(framed * window, axis=1)


def _means(rms: FloatArray, together: int) -> FloatArray:
    """Of the powers of so many columns each; what is left over stands alone."""
    if together == 1:
        return rms
    starts = np.arange(0, len(rms), together)
    counts = np.diff([*starts, len(rms)])
    return np.asarray(np.sqrt(np.add.reduceat(rms**2, starts) / counts[:, np.newaxis]))


def _waveform(sound: Sound) -> Arrays:
    step = max(1, sound.n_samples // WAVEFORM_STEPS)
    low, high = [], []
    for span in sound.spans(unit=step):
        samples = sound.read(*span)[:, 0]
        starts = np.arange(0, len(samples), step)
        low.append(np.minimum.reduceat(samples, starts))
        high.append(np.maximum.reduceat(samples, starts))
    return {
        "waveform_time_s": np.arange(0, sound.n_samples, step) / sound.rate_hz,
        "waveform_low": np.concatenate(low),
        "waveform_high": np.concatenate(high),
    }


def _bands(sound: Sound) -> Arrays:
    found = bands.levels(sound)
    return {"band_hz": found.midband_hz, "band_db": np.maximum(found.level_db, FLOOR_DB)}


def _partials(sound: Sound, channel: Channel) -> Arrays:
    near, onset_s = ringing_part.of(sound, channel.onset.time_s)
    begin_s = channel.onset.time_s - onset_s
    if sound.is_long:  # a length of large prime factors would take the memory of several such sounds
        near = near.between(0, fft.prev_fast_len(near.n_samples))
    spectrum = fft.fft(near.only_channel())
    time_s = np.arange(0.0, near.duration_s, STEP_S)
    courses = [_course(spectrum, sound.rate_hz, p.frequency_hz, time_s) for p in channel.partials]
    return {
        "partial_hz": np.array([p.frequency_hz for p in channel.partials]),
        "partial_t60_s": np.array([p.t60_s for p in channel.partials]),
        "partial_t60_se_s": np.array([p.t60_se_s for p in channel.partials]),
        "partial_known": np.array([not p.doubts for p in channel.partials]),
        "partial_level_db": np.array([p.level_db for p in channel.partials]),
        **_beats(channel),
        "partial_time_s": begin_s + time_s,
        "partial_course_db": _db(np.array(courses).reshape(len(courses), len(time_s)), sound),
    }


def _beats(channel: Channel) -> Arrays:
    """Rate and depth of the deepest beat of each partial; 0 where it beats with none."""
    deepest = [
        max(zip(p.beat_depths_db, p.beat_rates_hz, strict=True), default=(0.0, 0.0)) for p in channel.partials
    ]
    found = np.array(deepest).reshape(len(deepest), 2)
    return {"partial_beat_db": found[:, 0], "partial_beat_hz": found[:, 1]}


def _course(spectrum: np.ndarray, rate_hz: int, frequency_hz: float, time_s: FloatArray) -> FloatArray:
    """(k,) rms, at `time_s`, of what lies within some 20 Hz of a frequency."""
    bin_hz = rate_hz / len(spectrum)
    middle, reach = round(frequency_hz / bin_hz), round(BAND_HZ / bin_hz)
    index = np.arange(middle - reach, middle + reach + 1)
    weight = np.exp(-0.5 * ((index * bin_hz - frequency_hz) / DEMODULATION_HZ) ** 2)
    band = spectrum[index % len(spectrum)] * weight
    envelope = np.abs(fft.ifft(band, n=4 * len(band))) * 4 * len(band) * 2 / len(spectrum)
    at_s = np.arange(len(envelope)) * len(spectrum) / rate_hz / len(envelope)
    return np.asarray(np.interp(time_s, at_s, envelope) / np.sqrt(2.0))


def _db(rms: FloatArray, sound: Sound) -> FloatArray:
    floor = max(sound.reference * 10 ** (FLOOR_DB / 20), rms.max(initial=0.0) * 10 ** (-RANGE_DB / 20))
    return np.asarray(20 * np.log10(np.maximum(rms, floor) / sound.reference))

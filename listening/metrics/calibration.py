"""What full scale means in pascal, from a recording of the sound calibrator."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from listening.audio import wav
from listening.audio.sound import REFERENCE_PRESSURE_PA, FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import channels
from listening.metrics.level import check_not_silent
from listening.metrics.striking import flags

LEVELS_DB = (94.0, 114.0)  # what calibrators give, IEC 60942
FREQUENCIES_HZ = (250.0, 1000.0)  # pistonphones give 250 Hz, sound calibrators 1 kHz
FREQUENCY_TOLERANCE = 0.02  # IEC 60942:2017 allows a class 2 calibrator about this (from memory)
LARGEST_DISTORTION = 0.05  # residual rms over tone rms; a class 1 calibrator has about 0.025 (from memory)
SHORTEST_S = 1.0
EDGE_S = 0.25  # left out at both ends: hands are still on the microphone
STEADY_FRAME_S = 0.1
STEADY_DB = 0.2
LARGEST_DRIFT_DB = 0.5  # between two checks


@dataclass(frozen=True)
class Calibration:
    """What the calibrator's tone says about the recording chain."""

    pascal_per_full_scale: float
    frequency_hz: float
    distortion: float
    """everything but the tone over the tone, rms"""
    unsteadiness_db: float
    """largest less smallest level of 0.1 s"""


def from_calibrator(sound: Sound, *, level_db: float) -> Calibration:
    """The calibration that makes the tone in `sound`, one channel, read `level_db`.

    Raises
    ------
    SoundError
        Not 94 or 114 dB, too short, clipped, not a clean steady tone at 1 kHz.

    Source: IEC 60942 (sound calibrators).
    """
    if level_db not in LEVELS_DB:
        wanted = " or ".join(f"{level:g}" for level in LEVELS_DB)
        raise SoundError(f"calibrator level {level_db:g} dB, wanted {wanted} dB")
    samples = _usable(sound)
    frequency_hz = _refined_hz(samples, _tone_hz(samples, sound.rate_hz), sound.rate_hz)
    tone_rms, rest_rms = _split(samples, frequency_hz, sound.rate_hz)
    found = Calibration(
        pascal_per_full_scale=REFERENCE_PRESSURE_PA * 10 ** (level_db / 20) / tone_rms,
        frequency_hz=frequency_hz,
        distortion=rest_rms / tone_rms,
        unsteadiness_db=_unsteadiness_db(samples, sound.rate_hz),
    )
    _check(found, sound.name)
    return found


@dataclass(frozen=True)
class StudyCalibration:
    """One calibration for a study, from the calibrator before and, where it was recorded, after."""

    pascal_per_full_scale: float
    """of both the mean in dB"""
    frequency_hz: float
    drift_db: float | None
    """sensitivity of the chain after, less before"""

    @property
    def has_drifted(self) -> bool:
        """Whether recordings between the two are not to be trusted."""
        return self.drift_db is not None and abs(self.drift_db) > LARGEST_DRIFT_DB


def of_study(before: Sound, after: Sound | None, *, level_db: float) -> StudyCalibration:
    """The calibration of what was recorded between two recordings of the calibrator.

    Of several channels the one with the tone counts. Raises as `from_calibrator`.

    Source: checks before and after a series may differ by 0.5 dB at most, ISO 3744:2010 (from memory).
    """
    first = from_calibrator(channels.loudest(before), level_db=level_db)
    if after is None:
        return StudyCalibration(first.pascal_per_full_scale, first.frequency_hz, None)
    second = from_calibrator(channels.loudest(after), level_db=level_db)
    scales = np.array([first.pascal_per_full_scale, second.pascal_per_full_scale])
    drift_db = float(20 * np.log10(scales[0] / scales[1]))
    return StudyCalibration(float(np.sqrt(scales.prod())), first.frequency_hz, drift_db)


def of_files(folder: Path, before: str, after: str | None, *, level_db: float) -> StudyCalibration:
    """The same of two files of a folder; raises MissingFile too."""
    last = None if after is None else wav.load(folder / after)
    return of_study(wav.load(folder / before), last, level_db=level_db)


def _usable(sound: Sound) -> FloatArray:
    sound.check_one_channel()
    check_not_silent(sound)
    if sound.duration_s < SHORTEST_S:
        raise SoundError(
            f"{sound.name}: {sound.duration_s:.2f} s of calibrator, at least {SHORTEST_S:.0f} s wanted"
        )
    if flags.is_clipped(sound):
        raise SoundError(
            f"{sound.name}: the calibrator's tone is clipped; lower the gain, and record all again"
        )
    edge = round(EDGE_S * sound.rate_hz)
    return np.asarray(sound.samples[edge:-edge, 0])


def _tone_hz(samples: FloatArray, rate_hz: int) -> float:
    """Frequency of the strongest line, by a parabola through the log spectrum of a Hann window."""
    power = np.abs(np.fft.rfft((samples - samples.mean()) * np.hanning(len(samples)))) ** 2 + 1e-300
    top = int(np.clip(np.argmax(power), 1, len(power) - 2))
    before, at, after = np.log(power[top - 1 : top + 2])
    bend = before - 2 * at + after  # 0: the same everywhere, so there is no line
    shift = 0.5 * (before - after) / bend if bend else 0.0
    return float((top + shift) * rate_hz / len(samples))


def _refined_hz(samples: FloatArray, frequency_hz: float, rate_hz: int) -> float:
    """Frequency corrected by the drift of the phase from the first half to the second."""
    for _ in range(2):
        halves = np.array_split(samples - samples.mean(), 2)
        phases, start = [], 0
        for half in halves:
            turn = np.exp(-2j * np.pi * frequency_hz * (start + np.arange(len(half))) / rate_hz)
            phases.append(np.angle((half * turn * np.hanning(len(half))).sum()))
            start += len(half)
        drift = np.angle(np.exp(1j * (phases[1] - phases[0])))
        frequency_hz += float(drift) / (2 * np.pi) * rate_hz / len(halves[0])
    return frequency_hz


def _split(samples: FloatArray, frequency_hz: float, rate_hz: int) -> tuple[float, float]:
    """rms of the tone and of the rest."""
    angle = 2 * np.pi * frequency_hz * np.arange(len(samples)) / rate_hz
    matrix = np.column_stack([np.cos(angle), np.sin(angle), np.ones(len(samples))])
    weights = np.linalg.lstsq(matrix, samples, rcond=None)[0]
    rest = samples - matrix @ weights
    return float(np.hypot(weights[0], weights[1]) / np.sqrt(2)), float(np.sqrt((rest**2).mean()))


def _unsteadiness_db(samples: FloatArray, rate_hz: int) -> float:
    frame = round(STEADY_FRAME_S * rate_hz)
    whole = samples[: len(samples) // frame * frame].reshape(-1, frame)
    level = 10 * np.log10((whole**2).mean(axis=1) + 1e-300)
    return float(np.ptp(level))


def _check(found: Calibration, name: str) -> None:
    off = min(abs(found.frequency_hz / wanted_hz - 1) for wanted_hz in FREQUENCIES_HZ)
    if off > FREQUENCY_TOLERANCE:
        raise SoundError(
            f"{name}: the strongest tone is at {found.frequency_hz:.1f} Hz, 250 or 1000 Hz within "
            f"{FREQUENCY_TOLERANCE:.0%} wanted; is this the calibrator?"
        )
    if found.distortion > LARGEST_DISTORTION:
        raise SoundError(
            f"{name}: {found.distortion:.1%} of the tone is something else, at most {LARGEST_DISTORTION:.0%} "
            "wanted; seat the microphone firmly and record in a quiet room"
        )
    if found.unsteadiness_db > STEADY_DB:
        raise SoundError(
            f"{name}: the tone's level moves by {found.unsteadiness_db:.2f} dB, at most {STEADY_DB} dB "
            "wanted; wait until the calibrator is steady"
        )

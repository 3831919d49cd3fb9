"""Coded clips: the sounds a station plays, all of one length, no two alike, under names that tell nothing.

Two clips of one recording differ as two takes of one sound would: each begins a little later or earlier, by a
part of a sample too, and carries its own noise at the last step of 24 bit. The ear hears no difference;
neither hashes nor samples tell that they are one sound, and no gain turns one into the other.
"""

import hashlib
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import fft

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.records.dealt.secret import keyed
from listening.stimuli.folder import replacing

SHORTEST_TAIL_S, LONGEST_TAIL_S = 0.05, 0.25
LEAD_S = 0.010  # silence before every clip; long enough for the shift's own ringing
LONGEST_WAIT_S = (
    0.020  # and so much more, drawn for each clip that is heard in turn: below a reaction's scatter
)
SHIFTS_DRAWN = 64
STEP = 1 / 2**23  # of 24 bit, full scale 1


@dataclass(frozen=True)
class Coded:
    """What one clip is made of."""

    path: Path
    """The stimulus file."""
    gain_db: float = 0.0
    """0 or below."""
    source: str = ""
    """The recording: clips of one source are shifted far apart from each other."""
    is_aligned: bool = False
    """Whether listeners go to and fro between it and others, so that it must begin with them."""


def write(
    folder: Path,
    sounds: Mapping[str, Coded],
    *,
    secret: str,
    expected: Mapping[Path, str] | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> dict[str, str]:
    """Write `<code>.wav` for every clip and give the SHA-256 of each file's bytes.

    Every clip is its stimulus times its gain between silences, shifted by up to half a sample either way,
    with triangular dither of 24 bit (-144 dB re full scale). All of it hangs on the secret; all clips have
    one length.

    Parameters
    ----------
    secret : 32 hexadecimal digits
    expected : for each stimulus file, the hash of its samples when it was prepared

    Raises
    ------
    MissingFile, SoundError, CannotWrite
        A stimulus cannot be read or the clips cannot be written; the old folder stays as it was.
    StudyError
        A stimulus is not what was prepared.
    """
    loaded = {path: wav.load(path) for path in sorted({coded.path for coded in sounds.values()})}
    _check_unaltered(loaded, expected or {})
    rate_hz = next(iter(loaded.values())).rate_hz
    room = round((LEAD_S + LONGEST_WAIT_S) * rate_hz) + _tail_samples(secret, rate_hz)
    # a length of small factors, up to 2 % longer: the shift's transform is up to twenty times faster
    length = fft.next_fast_len(max(s.n_samples for s in loaded.values()) + room, real=True)
    shifts = dict(_shifts(sounds, secret))
    with replacing(folder) as fresh:
        digests = {}
        for done, (code, coded) in enumerate(sorted(sounds.items()), start=1):
            rng = _rng(secret, "clip", code)
            wait = 0.0 if coded.is_aligned else rng.uniform(0.0, LONGEST_WAIT_S)
            lead = round((LEAD_S + wait) * rate_hz)
            sound = loaded[coded.path].amplified(coded.gain_db)
            clip = _dithered(_placed(sound.samples, lead + shifts[code], length), rng)
            wav.save(fresh / f"{code}.wav", Sound(clip, rate_hz), "PCM_24")
            digests[code] = hashlib.sha256((fresh / f"{code}.wav").read_bytes()).hexdigest()
            if on_progress:
                on_progress(done, len(sounds))
    return digests


def add(
    into: Path,
    folder: Path,
    sounds: Mapping[str, Coded],
    *,
    beside: Mapping[str, Coded],
    secret: str,
    expected: Mapping[Path, str] | None = None,
) -> dict[str, str]:
    """Write clips that will join those of a folder; result, errors and other parameters as `write`.

    Parameters
    ----------
    into : an empty folder for the new ones
    beside : the clips that are there; the new ones get their length, and other shifts
    """
    loaded = {path: wav.load(path) for path in sorted({coded.path for coded in sounds.values()})}
    _check_unaltered(loaded, expected or {})
    there = wav.load(folder / f"{next(iter(sorted(beside)))}.wav")
    digests = {}
    for code, coded in sorted(sounds.items()):
        sound, rng = loaded[coded.path].amplified(coded.gain_db), _rng(secret, "clip", code)
        room = there.n_samples - sound.n_samples - round((LEAD_S + LONGEST_WAIT_S) * sound.rate_hz)
        if room < 0 or sound.rate_hz != there.rate_hz:
            raise StudyError(
                f"{coded.path}: longer than the clips that were dealt, or of another rate; deal a new version"
            )
        wait = 0.0 if coded.is_aligned else rng.uniform(0.0, LONGEST_WAIT_S)
        shift = _shift_beside(code, coded, beside, secret)
        start = round((LEAD_S + wait) * sound.rate_hz) + shift
        clip = _dithered(_placed(sound.samples, start, there.n_samples), rng)
        written = into / f"{code}.wav"
        wav.save(written, Sound(clip, sound.rate_hz), "PCM_24")
        digests[code] = hashlib.sha256(written.read_bytes()).hexdigest()
    return digests


def _shift_beside(code: str, coded: Coded, beside: Mapping[str, Coded], secret: str) -> float:
    """A shift of -0.5 to 0.5 samples: of many drawn the one farthest from those of the same sound."""
    alike = {name: one for name, one in beside.items() if one.source == coded.source}
    known = np.array([shift for _, shift in _shifts(alike, secret)])
    drawn = _rng(secret, "shift of an added clip", code).uniform(-0.5, 0.5, SHIFTS_DRAWN)
    if not known.size:
        return float(drawn[0])
    apart = np.abs(drawn[:, np.newaxis] - known)
    return float(drawn[np.argmax(np.minimum(apart, 1.0 - apart).min(axis=1))])


def _check_unaltered(loaded: Mapping[Path, Sound], expected: Mapping[Path, str]) -> None:
    for path, sound in loaded.items():
        if path in expected and wav.digest(sound.samples) != expected[path]:
            raise StudyError(
                f"{path}: altered since it was prepared; run: listening prepare, then deal again"
            )


def _rng(secret: str, purpose: str, *parts: str) -> np.random.Generator:
    return np.random.default_rng(int.from_bytes(keyed(secret, purpose, *parts)))


def _tail_samples(secret: str, rate_hz: int) -> int:
    return round(_rng(secret, "tail").uniform(SHORTEST_TAIL_S, LONGEST_TAIL_S) * rate_hz)


def _shifts(sounds: Mapping[str, Coded], secret: str) -> Iterator[tuple[str, float]]:
    """For each clip a shift of -0.5 to 0.5 samples; n clips of one source lie at least 1 / 2n apart."""
    of_source: defaultdict[str, list[str]] = defaultdict(list)
    for code, coded in sorted(sounds.items()):
        of_source[coded.source or coded.path.name].append(code)
    for source, codes in of_source.items():
        rng = _rng(secret, "shift", source)
        places = rng.permutation(len(codes)) + rng.uniform(0.25, 0.75, len(codes))
        yield from zip(codes, (places / len(codes) - 0.5).tolist(), strict=True)


def _placed(samples: npt.NDArray[np.float64], start_samples: float, length: int) -> npt.NDArray[np.float64]:
    """The samples from a place that may lie between two samples on, in silence: a delay of the spectrum."""
    spectrum = np.fft.rfft(samples, n=length, axis=0)
    turn = np.exp(-2j * np.pi * np.arange(len(spectrum)) * start_samples / length)
    if length % 2 == 0:
        turn[-1] = turn[-1].real  # half the rate has no phase
    return np.asarray(np.fft.irfft(spectrum * turn[:, np.newaxis], n=length, axis=0))


def _dithered(samples: npt.NDArray[np.float64], rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """With triangular dither of one step either way, kept below full scale."""
    return np.clip(samples + STEP * rng.triangular(-1.0, 0.0, 1.0, samples.shape), -1.0, 1.0 - 2 * STEP)

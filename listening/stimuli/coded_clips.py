"""Coded clips: the sounds a station plays, all of one length, under names that tell nothing."""

import hashlib
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.stimuli.folder import replacing

SHORTEST_TAIL_S, LONGEST_TAIL_S = 0.05, 0.25


def write(
    folder: Path,
    sounds: Mapping[str, tuple[Path, float]],
    *,
    secret: str,
    expected: Mapping[Path, str] | None = None,
    copies: Collection[str] = (),
    on_progress: Callable[[int, int], None] | None = None,
) -> dict[str, str]:
    """Write `<code>.wav` for every clip and give the SHA-256 of each file's bytes.

    Every clip is its stimulus times its gain, followed by silence up to one common length. The length of the
    silence comes from the secret, so that neither size nor hash joins a clip to its stimulus.

    Parameters
    ----------
    sounds : for each clip code, the stimulus file and the gain in dB (0 or below)
    secret : 32 hexadecimal digits
    expected : for each stimulus file, the hash of its samples when it was prepared
    copies : codes of clips that play what another clip plays
        They differ from it by one step of 24 bit in their last samples, so that no hash tells the two alike.

    Raises
    ------
    MissingFile, SoundError, CannotWrite
        A stimulus cannot be read or the clips cannot be written; the old folder stays as it was.
    StudyError
        A stimulus is not what was prepared.
    """
    loaded = {path: wav.load(path) for path in sorted({path for path, _ in sounds.values()})}
    _check_unaltered(loaded, expected or {})
    length = max(s.n_samples for s in loaded.values()) + _tail_samples(
        secret, next(iter(loaded.values())).rate_hz
    )
    with replacing(folder) as fresh:
        digests = {}
        for done, (code, (path, gain_db)) in enumerate(sorted(sounds.items()), start=1):
            clip = _padded(loaded[path].amplified(gain_db), length)
            wav.save(fresh / f"{code}.wav", _marked(clip, secret, code) if code in copies else clip, "PCM_24")
            digests[code] = hashlib.sha256((fresh / f"{code}.wav").read_bytes()).hexdigest()
            if on_progress:
                on_progress(done, len(sounds))
    return digests


def _check_unaltered(loaded: Mapping[Path, Sound], expected: Mapping[Path, str]) -> None:
    for path, sound in loaded.items():
        if path in expected and wav.digest(sound.samples) != expected[path]:
            raise StudyError(
                f"{path}: altered since it was prepared; run: listening prepare, then deal again"
            )


def _tail_samples(secret: str, rate_hz: int) -> int:
    share = int.from_bytes(hashlib.sha256(f"tail:{secret}".encode()).digest()[:4]) / 2**32
    return round((SHORTEST_TAIL_S + share * (LONGEST_TAIL_S - SHORTEST_TAIL_S)) * rate_hz)


def _padded(sound: Sound, length: int) -> Sound:
    silence = np.zeros((length - sound.n_samples, sound.n_channels))
    return Sound(np.vstack([sound.samples, silence]), sound.rate_hz)


def _marked(clip: Sound, secret: str, code: str) -> Sound:
    """The clip with its last samples at plus or minus one step of 24 bit, -138 dB re full scale."""
    bits = np.unpackbits(np.frombuffer(hashlib.sha256(f"mark:{secret}:{code}".encode()).digest(), np.uint8))
    samples = clip.samples.copy()
    samples[-len(bits) :] += (2.0 * bits[:, np.newaxis] - 1.0) / 2**23
    return replace(clip, samples=samples)

"""Sound files: WAV and FLAC in, checked; WAV and FLAC out, whole or not at all."""

import contextlib
import hashlib
import io
import os
import secrets
import stat
import struct
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import soundfile

from listening.audio import long_sound
from listening.audio.long_sound import LongSound
from listening.audio.sound import BLOCK_SAMPLES, FloatArray, Sound
from listening.errors import CannotWrite, MissingFile, SoundError

READABLE = ("WAV", "WAVEX", "RF64", "FLAC")
WRITABLE = {".wav": "WAV", ".flac": "FLAC"}
BITS = {"PCM_16": 16, "PCM_24": 24}
LARGEST_SAMPLE = 1e6  # 120 dB above full scale: no converter writes that
MOST_SAMPLES = 400_000_000  # 35 minutes of stereo at 96 kHz; a header may promise anything
UNKNOWN_SIZE = 0xFFFFFFFF  # a writer that could not seek back; also the mark of RF64


def load(path: Path | str, pascal_per_full_scale: float | None = None) -> Sound:
    """The sound in a WAV or FLAC file, named after the file.

    Raises
    ------
    MissingFile
        Nothing there, or a folder.
    SoundError
        Empty, shorter than its header says, not WAV or FLAC, or with samples that are not numbers.
    """
    path = Path(path)
    with _opened(path) as file:
        declared = file.frames
        samples = file.read(dtype="float64", always_2d=True)
        rate_hz = int(file.samplerate)
    if len(samples) < declared:
        raise SoundError(f"{path}: cut short, {len(samples)} of {declared} samples are there; copy it again")
    _check_peak(samples, path)
    return Sound(samples, rate_hz, pascal_per_full_scale, path.name)


def for_measuring(path: Path | str, pascal_per_full_scale: float | None = None) -> Sound:
    """The same, but a long sound stays in its file and is read in blocks; raises as `load`."""
    path = Path(path)
    with _opened(path) as file:
        declared, n_channels, rate_hz = file.frames, file.channels, int(file.samplerate)
        if declared * n_channels > long_sound.HELD_SAMPLES:
            _check_blocks(file, path)
    if declared * n_channels <= long_sound.HELD_SAMPLES:
        return load(path, pascal_per_full_scale)
    return LongSound(
        path,
        rate_hz,
        start=0,
        stop=declared,
        channels=tuple(range(n_channels)),
        pascal_per_full_scale=pascal_per_full_scale,
    )


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """The file, its header found good; what goes wrong while it is read is told in plain words."""
    _check_presence(path)
    try:
        with soundfile.SoundFile(os.fsencode(path)) as file:
            _check_format(file, path)
            if file.frames * file.channels > MOST_SAMPLES:
                raise SoundError(
                    f"{path}: {file.frames} samples of {file.channels} channels, wanted at most "
                    f"{MOST_SAMPLES} in all; cut the recording, or look whether its header is right"
                )
            yield file
    except (soundfile.LibsndfileError, RuntimeError) as error:
        raise SoundError(
            f"{path}: cannot be decoded ({_reason(error)}); wanted a whole WAV or FLAC file"
        ) from error
    except OSError as error:
        raise SoundError(f"{path}: cannot be read ({error.strerror or error})") from error


def _check_blocks(file: soundfile.SoundFile, path: Path) -> None:
    """Look once at every sample of a file that will not be held."""
    found = 0
    while len(block := file.read(BLOCK_SAMPLES, dtype="float64", always_2d=True)):
        if not np.isfinite(block).all():
            where = found + int(np.argmax(~np.isfinite(block).all(axis=1)))
            raise SoundError(
                f"{path.name}: samples are not numbers (NaN or infinite), the first at sample {where}; "
                "export the recording again"
            )
        _check_peak(block, path)
        found += len(block)
    if found < file.frames:
        raise SoundError(f"{path}: cut short, {found} of {file.frames} samples are there; copy it again")


def rate_hz(path: Path) -> int:
    """The rate that a file's header says; raises as `load`, for what can be seen without its samples."""
    _check_presence(path)
    try:
        with soundfile.SoundFile(os.fsencode(path)) as file:
            return int(file.samplerate)
    except (soundfile.LibsndfileError, RuntimeError) as error:
        raise SoundError(
            f"{path}: cannot be decoded ({_reason(error)}); wanted a whole WAV or FLAC file"
        ) from error


def _check_peak(samples: FloatArray, path: Path) -> None:
    """A file of floating-point samples may hold anything; what is no number is told by `Sound`."""
    peak = float(np.abs(samples).max(initial=0.0))
    if np.isfinite(peak) and peak > LARGEST_SAMPLE:
        raise SoundError(
            f"{path}: a sample of {peak:.3g} where full scale is 1, wanted at most {LARGEST_SAMPLE:g}; "
            "export the recording again"
        )


def save(path: Path | str, sound: Sound, subtype: str = "PCM_24") -> None:
    """Write `sound` as WAV or FLAC by the ending of `path`; an older file stays until the new one is whole.

    The file holds samples and nothing else, no name, date or calibration: same sound, same bytes.

    Raises
    ------
    SoundError
        A sample exceeds full scale, or the ending or `subtype` is not one of ours.
    CannotWrite
        The folder is missing or read-only, or the disk is full; nothing was changed.
    """
    path = Path(path)
    _check_writable_form(path, sound, subtype)
    buffer = io.BytesIO()
    whole, kind = _rounded(sound.samples, BITS[subtype]), WRITABLE[path.suffix.lower()]
    soundfile.write(buffer, whole, sound.rate_hz, subtype=subtype, format=kind)
    _replace_file(path, buffer.getvalue())


def digest(samples: FloatArray) -> str:
    """SHA-256, in hex, of decoded samples: shape and values as little-endian 64-bit floats."""
    return _digest(samples.shape, [samples])


def digest_in_blocks(sound: Sound) -> str:
    """The same of a sound that may be long."""
    blocks = (sound.read(start, stop) for start, stop in sound.spans())
    return _digest((sound.n_samples, sound.n_channels), blocks)


def _digest(shape: tuple[int, ...], blocks: Iterable[FloatArray]) -> str:
    found = hashlib.sha256("x".join(str(length) for length in shape).encode() + b":")
    for block in blocks:
        found.update(np.ascontiguousarray(block, dtype="<f8").tobytes())
    return found.hexdigest()


def _check_presence(path: Path) -> None:
    if path.is_dir():
        raise MissingFile(f"{path}: is a folder, a sound file was wanted")
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise SoundError(
                f"{path}: is a pipe or a device, a sound file was wanted; save it to a file first"
            )
        size = found.st_size
        with path.open("rb") as file:
            head = file.read(12)
            if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
                _check_wav_is_whole(file, size, path)
    except FileNotFoundError as error:
        raise MissingFile(f"{path}: no such file; check the name and the folder") from error
    except OSError as error:
        raise SoundError(f"{path}: cannot be opened ({error.strerror})") from error
    except SoundError:
        raise
    except ValueError as error:  # a null character in the name
        raise SoundError(f"{str(path)!r}: not a file name ({error}); give another one") from error
    if size == 0:
        raise SoundError(f"{path}: is empty (0 bytes); copy or record it again")


def _check_wav_is_whole(file: io.BufferedReader, size: int, path: Path) -> None:
    # libsndfile reads a cut-off WAV without a word: compare the data chunk with the file's length
    while len(head := file.read(8)) == 8:
        kind, length = struct.unpack("<4sI", head)
        if kind == b"data":
            present = size - file.tell()
            if length != UNKNOWN_SIZE and present < length:
                raise SoundError(
                    f"{path}: cut short, the header promises {length} bytes of sound, "
                    f"{present} are there; copy it again"
                )
            return
        file.seek(length + length % 2, os.SEEK_CUR)
    raise SoundError(f"{path}: a WAV file without sound data; record or export it again")


def _check_format(file: soundfile.SoundFile, path: Path) -> None:
    if file.format not in READABLE:
        raise SoundError(f"{path}: is {file.format}; wanted WAV or FLAC, which lose nothing")


def _reason(error: Exception) -> str:
    text = str(getattr(error, "error_string", "") or error)
    return text.strip().rstrip(".").lower() or "unknown reason"


def _check_writable_form(path: Path, sound: Sound, subtype: str) -> None:
    if path.suffix.lower() not in WRITABLE:
        raise SoundError(f"{path}: ends in '{path.suffix}', wanted {' or '.join(WRITABLE)}")
    if subtype not in BITS:
        raise SoundError(f"{path}: sample form {subtype}, wanted {' or '.join(BITS)}")
    peak = float(np.abs(sound.samples).max())
    if peak > 1.0:
        over_db = 20 * np.log10(peak)
        raise SoundError(
            f"{path}: peak {over_db:+.2f} dB re full scale would clip; lower it by {over_db:.2f} dB"
        )


def _rounded(samples: FloatArray, bits: int) -> np.ndarray:
    """Samples as 32-bit integers with `bits` in use: the library rounds differently for WAV and FLAC."""
    top = 2 ** (bits - 1)
    steps = np.clip(np.rint(samples * top), -top, top - 1).astype(np.int64)
    return np.asarray((steps << (32 - bits)).astype(np.int32))


def _replace_file(path: Path, content: bytes) -> None:
    temporary = None
    try:
        name = path.with_name(f".{secrets.token_hex(8)}.part")
        with os.fdopen(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), "wb") as file:
            temporary = name
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
        _sync_folder(path.parent)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise CannotWrite(
            f"{path}: cannot be written ({error.strerror}); nothing was changed; "
            "make the folder writable or free some space"
        ) from error


def _sync_folder(folder: Path) -> None:
    """The new name survives a power cut too; a file system that cannot do that does it by itself."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

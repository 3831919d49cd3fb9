"""Sound files are read whole or refused in one plain message, and written whole or not at all."""

import errno
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import CannotWrite, ListeningError, MissingFile, SoundError

NOISE = Sound(np.random.default_rng(1).uniform(-0.9, 0.9, (4800, 2)), 48_000)


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
def test_what_is_saved_is_read_back_within_half_a_step(tmp_path: Path, name: str, subtype: str) -> None:
    wav.save(tmp_path / name, NOISE, subtype)
    again = wav.load(tmp_path / name, 2.0)
    step = {"PCM_16": 2.0**-15, "PCM_24": 2.0**-23}[subtype]
    assert np.abs(again.samples - NOISE.samples).max() <= step / 2
    assert (again.rate_hz, again.n_channels, again.pascal_per_full_scale) == (48_000, 2, 2.0)
    assert again.name == name


def test_saving_again_gives_the_same_bytes_and_no_metadata(tmp_path: Path) -> None:
    for name in ("a.wav", "b.wav"):
        wav.save(tmp_path / name, NOISE)
    first, second = ((tmp_path / name).read_bytes() for name in ("a.wav", "b.wav"))
    assert first == second
    assert b"LIST" not in first[:200]
    assert b"PEAK" not in first[:200]


def _bad_files(folder: Path) -> dict[str, Path]:
    paths = {name: folder / f"{name}.wav" for name in ("empty", "cut", "text", "nan", "headless", "one")}
    paths["empty"].write_bytes(b"")
    paths["text"].write_text("no sound in here, only words, but enough of them to fill a header")
    wav.save(folder / "whole.wav", NOISE)
    whole = (folder / "whole.wav").read_bytes()
    paths["cut"].write_bytes(whole[: len(whole) // 2])
    paths["headless"].write_bytes(whole[:36])
    soundfile.write(paths["nan"], np.array([0.0, np.nan, 0.0]), 48_000, subtype="FLOAT")
    soundfile.write(paths["one"], np.array([0.5]), 48_000)
    wav.save(folder / "whole.flac", NOISE)
    paths["cut flac"] = folder / "cut.flac"
    paths["cut flac"].write_bytes((folder / "whole.flac").read_bytes()[:6000])
    paths["ogg"] = folder / "lossy.ogg"
    soundfile.write(paths["ogg"], NOISE.samples, 48_000)
    return paths


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("empty", "0 bytes"),
        ("cut", "cut short, the header promises"),
        ("headless", "without sound data"),
        ("text", "cannot be decoded"),
        ("nan", "not numbers"),
        ("one", "holds 1 samples"),
        ("cut flac", "cut.flac: (cut short|cannot be decoded)"),
        ("ogg", "is OGG; wanted WAV or FLAC"),
    ],
)
def test_a_bad_file_is_one_plain_message(tmp_path: Path, kind: str, message: str) -> None:
    with pytest.raises(SoundError, match=message):
        wav.load(_bad_files(tmp_path)[kind])


@pytest.mark.parametrize("name", ["nothing.wav", "."])
def test_a_missing_file_or_a_folder_is_named(tmp_path: Path, name: str) -> None:
    with pytest.raises(MissingFile, match=r"no such file|is a folder"):
        wav.load(tmp_path / name)


def test_a_sample_above_full_scale_is_refused_with_the_gain_that_helps(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match=r"lower it by 6\.02 dB"):
        wav.save(tmp_path / "a.wav", Sound(np.array([0.0, 2.0]), 48_000))
    assert list(tmp_path.iterdir()) == []


def test_unknown_endings_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match=r"wanted \.wav or \.flac"):
        wav.save(tmp_path / "a.mp3", NOISE)
    with pytest.raises(SoundError, match="sample form FLOAT"):
        wav.save(tmp_path / "a.wav", NOISE, "FLOAT")


def test_a_full_disk_leaves_the_old_file_and_no_rubbish(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wav.save(tmp_path / "a.wav", NOISE)
    before = (tmp_path / "a.wav").read_bytes()

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match=r"No space left.*nothing was changed"):
        wav.save(tmp_path / "a.wav", NOISE.amplified(-6.0))
    assert (tmp_path / "a.wav").read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]


def test_a_missing_folder_is_a_plain_message(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="cannot be written") as caught:
        wav.save(tmp_path / "nowhere" / "a.wav", NOISE)
    assert isinstance(caught.value, ListeningError)


def test_the_digest_is_of_samples_not_of_the_file(tmp_path: Path) -> None:
    for name in ("a.wav", "a.flac"):
        wav.save(tmp_path / name, NOISE)
    of_wav, of_flac = (wav.digest(wav.load(tmp_path / name).samples) for name in ("a.wav", "a.flac"))
    assert of_wav == of_flac
    assert wav.digest(NOISE.samples.T.copy()) != wav.digest(NOISE.samples)


def test_a_pipe_a_device_and_a_giant_are_refused_at_once(tmp_path: Path) -> None:
    import os

    import soundfile

    os.mkfifo(tmp_path / "pipe.wav")
    for path in (tmp_path / "pipe.wav", Path("/dev/zero")):
        with pytest.raises(SoundError, match="pipe or a device"):
            wav.load(path)
    samples = np.full(9000, 0.1)
    samples[5] = 1e38
    soundfile.write(tmp_path / "giant.wav", samples, 48_000, subtype="FLOAT")
    with pytest.raises(SoundError, match="where full scale is 1"):
        wav.load(tmp_path / "giant.wav")

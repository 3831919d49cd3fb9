"""The wheel holds the two packages with their data files, and nothing else."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of what is built, so that the source tree stays clean."""
    folder = tmp_path_factory.mktemp("source")
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, folder)
    for name in ("listening", "stats"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", "*.nb?"))
    return folder


@pytest.fixture(scope="module")
def wheel(source: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel."""
    pytest.importorskip("wheel", reason="wheel is missing: pip install 'listening[test]'")
    out = tmp_path_factory.mktemp("out")
    copied = out / "source"
    shutil.copytree(source, copied)  # building leaves files behind
    words = ["wheel", str(copied), "--no-deps", "--no-build-isolation", "--quiet", "-w", str(out)]
    done = subprocess.run([sys.executable, "-m", "pip", *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return next(out.glob("*.whl"))


def names(wheel: Path) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return {name for name in archive.namelist() if ".dist-info/" not in name}


def test_the_wheel_holds_every_module_and_data_file(wheel: Path, source: Path) -> None:
    wanted = {
        str(path.relative_to(source))
        for package in ("listening", "stats")
        for path in (source / package).rglob("*")
        if path.is_file()
    }
    assert names(wheel) == wanted


def test_the_wheel_holds_no_test_recording_or_reference_value(wheel: Path) -> None:
    assert {name.split("/")[0] for name in names(wheel)} == {"listening", "stats"}
    assert not [name for name in names(wheel) if name.endswith((".flac", ".wav", ".csv", ".sqlite"))]


def test_the_wheel_says_licence_command_and_python(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        text = {n.split("/")[-1]: archive.read(n).decode() for n in archive.namelist() if ".dist-info/" in n}
    assert "Requires-Python: >=3.11" in text["METADATA"]
    assert "License-Expression: MIT" in text["METADATA"]
    assert "listening = listening.start:main" in text["entry_points.txt"]

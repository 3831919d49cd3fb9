"""A folder is replaced whole or not at all."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from listening.errors import CannotWrite
from listening.stimuli import folder


def _tree(path: Path) -> dict[str, str]:
    return {p.name: p.read_text() for p in path.iterdir()}


def test_the_new_folder_takes_the_place_of_the_old(tmp_path: Path) -> None:
    target = tmp_path / "stimuli"
    for text in ("one", "two"):
        with folder.replacing(target) as fresh:
            (fresh / text).write_text(text)
        assert _tree(target) == {text: text}
    assert [p.name for p in tmp_path.iterdir()] == ["stimuli"]


def test_it_works_where_folders_cannot_be_exchanged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder, "_exchanged", lambda one, other: False)
    test_the_new_folder_takes_the_place_of_the_old(tmp_path)


def test_a_failure_half_way_leaves_the_old_folder(tmp_path: Path) -> None:
    target = tmp_path / "stimuli"
    with folder.replacing(target) as fresh:
        (fresh / "old").write_text("old")
    with pytest.raises(ValueError, match="half-way"), folder.replacing(target) as fresh:
        (fresh / "new").write_text(str(int("half-way")))
    assert _tree(target) == {"old": "old"}
    assert [p.name for p in tmp_path.iterdir()] == ["stimuli"]


KILLED = """
import sys, time
from pathlib import Path
from listening.stimuli import folder
with folder.replacing(Path(sys.argv[1])) as fresh:
    (fresh / "new").write_text("new")
    print("ready", flush=True)
    time.sleep(60)
"""


def test_a_kill_half_way_leaves_the_old_folder_and_the_rest_is_swept_later(tmp_path: Path) -> None:
    target = tmp_path / "stimuli"
    with folder.replacing(target) as fresh:
        (fresh / "old").write_text("old")
    process = subprocess.Popen([sys.executable, "-c", KILLED, str(target)], stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    assert _tree(target) == {"old": "old"}
    leftover = next(p for p in tmp_path.iterdir() if p != target)
    two_hours_ago = time.time() - 7200
    os.utime(leftover, (two_hours_ago, two_hours_ago))
    with folder.replacing(target) as fresh:
        (fresh / "third").write_text("third")
    assert [p.name for p in tmp_path.iterdir()] == ["stimuli"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_place_is_named(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(CannotWrite, match="nothing was changed"), folder.replacing(tmp_path / "stimuli"):
        pass
    tmp_path.chmod(0o700)


def test_a_full_disk_is_named(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="No space left"), folder.replacing(tmp_path / "stimuli"):
        raise OSError(28, "No space left on device")
    assert list(tmp_path.iterdir()) == []

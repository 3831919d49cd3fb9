"""A small study gone through from its protocol to its page: what the fuzzer spoils copies of."""

import contextlib
import io
import os
import shutil
from pathlib import Path

from listening import cli
from listening.records.study import Study
from tests.stimuli import small_study

STRIKES = {
    f"{design}{n}": (design, small_study.ringing(f_hz=1480.0 + 10 * n, gain_db=gain_db + 0.3 * n, lead_s=0.1))
    for design, gain_db in (("a", 0.0), ("b", 6.0))
    for n in (1, 2, 3)
}
WALK = (
    ("measure", "--jobs", "1"),
    ("prepare", "--jobs", "1"),
    ("deal",),
    ("simulate", "--listeners", "8"),
    ("analyse",),
    ("report", "--no-sounds"),
)


def make(root: Path) -> Study:
    """The study, analysed and reported, in `root`."""
    study = small_study.write(root, STRIKES)
    for name, *words in WALK:
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            code = cli.main([name, str(root), *words])
        if code:
            raise RuntimeError(
                f"the study to spoil cannot be made: {name} ended with {code}: {said.getvalue()}"
            )
    (root / "table.csv").write_text(_table())
    (root / "about.toml").write_text('format = 1\nname = "t"\ntitle = "A table"\n')
    return study


def spoil_folder(root: Path) -> None:
    """Put things into a folder that are no plain files: a pipe, a folder, a loop of links, an empty file."""
    with contextlib.suppress(FileExistsError):
        os.mkfifo(root / "pipe")
        (root / "folder").mkdir()
        (root / "empty").touch()
        (root / "loop").symlink_to(root / "loop")


def copy(template: Path, place: Path) -> None:
    """A fresh copy; a pipe is no file to copy, and put in anew."""
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(template, place, symlinks=True)


def _table() -> str:
    rows = ["listener,first,second,answer,count,score,place"]
    for listener in range(8):
        for i in range(6):
            answer = "first" if (listener + i) % 3 else "second"
            first, second = ("a", "b") if i % 2 else ("b", "a")
            rows.append(f"L{listener},{first},{second},{answer},1,{listener + i % 3},{i % 2}")
    return "\n".join(rows) + "\n"

"""One thing changed in every place of a study: does `verify` see it, as it is and after a new analysis?

`python -m tests.attacks.test_tampering` prints the table that stands in docs/threats.md.
"""

import contextlib
import io
import shutil
import tempfile
from pathlib import Path

import pytest

from listening.records.study import Study
from tests.attacks.places import PLACES
from tests.attacks.whole_study import command

INHERENT = {
    "store: the ledger's last row": "the opening that was taken out is put in again from the record",
    "report/report.html": "written anew by `report`",
    "report/claims.html": "written anew by `report`",
    "findings.json": "written anew by `analyse`",
    "measures.json": "measured values are taken as they lie when analysed; only changes since then are seen",
}
"""After a new analysis with the key these are what the data give again, or taken as they lie."""
QUICK = tuple(PLACES)[::9]


def seen(study: Study) -> bool:
    """Whether `verify` names something."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        return command("verify", study.root) != 0


def seen_after_a_new_analysis(study: Study) -> bool:
    """The same once somebody with the key analysed and reported again, or was not let."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        if command("analyse", study.root) or command("report", study.root):
            return True
    return seen(study)


def test_there_are_a_hundred_places() -> None:
    assert len(PLACES) >= 100


def test_an_untouched_study_is_what_it_was(study: Study) -> None:
    assert not seen(study)
    assert not seen_after_a_new_analysis(study)


def _inherent(place: str) -> bool:
    return any(place.startswith(file) for file in INHERENT)


@pytest.mark.parametrize(
    "place", [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in PLACES]
)
def test_every_changed_place_is_seen(study: Study, place: str) -> None:
    PLACES[place](study)
    assert seen(study), place
    assert seen_after_a_new_analysis(study) or _inherent(place), place


def _table(kept: Path) -> None:
    """Print each place with what was seen."""
    counts = [0, 0]
    for name, change in PLACES.items():
        with tempfile.TemporaryDirectory() as folder:
            study = Study(Path(shutil.copytree(kept, Path(folder) / "study")))
            change(study)
            found = [seen(study), seen_after_a_new_analysis(study)]
        counts = [n + is_seen for n, is_seen in zip(counts, found, strict=True)]
        print(
            f"| {name} | {' | '.join('seen' if is_seen else 'NOT seen' for is_seen in found)} |", flush=True
        )
    print(f"{counts[0]} and {counts[1]} of {len(PLACES)}")


if __name__ == "__main__":
    from tests.attacks import whole_study
    from tests.attacks.conftest import small

    with tempfile.TemporaryDirectory() as place, contextlib.redirect_stderr(io.StringIO()):
        with contextlib.redirect_stdout(io.StringIO()):
            made = whole_study.finished(small(Path(place) / "study"))
        _table(made.root)

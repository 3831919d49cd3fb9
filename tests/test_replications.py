"""The page of replications: every published value is met, and the page is what the commands give."""

import csv
import runpy
import shlex
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
MADE = runpy.run_path(str(ROOT / "docs" / "make_replications.py"))
ANALYSES = MADE["analyses"]()


@pytest.mark.parametrize("one", ANALYSES, ids=[one["title"].replace(" ", "_") for one in ANALYSES])
def test_a_published_value_is_met(one: dict[str, Any]) -> None:
    for value, found in zip(one["values"], MADE["ours"](one["command"], one["values"]), strict=True):
        assert float(value["printed"]) == pytest.approx(found, abs=MADE["tolerance"](value)), value["what"]


def test_there_are_ten_of_different_kinds() -> None:
    assert len({one["source"] for one in ANALYSES}) >= 10
    kinds = " ".join(one["kind"] for one in ANALYSES)
    for kind in ("ties", "order", "ratings", "discrimination", "mixed", "loudness", "sharpness", "decay"):
        assert kind in kinds


def test_the_page_is_what_the_commands_give() -> None:
    assert (ROOT / "docs" / "replications.md").read_text() == MADE["page"]()


def test_the_figures_are_what_the_commands_give() -> None:
    made = MADE["figures"]()
    assert len(made) == 2
    for path, text in made.items():
        assert path.read_text() == text
        assert f"replications/{path.name}" in (ROOT / "docs" / "replications.md").read_text()


def test_another_published_value_is_seen_to_fail() -> None:
    one = ANALYSES[0]
    wrong = [one["values"][0] | {"printed": "1.59"}]
    with pytest.raises(AssertionError, match="team 5"):
        test_a_published_value_is_met(one | {"values": wrong})


def test_every_file_is_used_by_one_of_the_commands() -> None:
    used = {word for one in ANALYSES for word in shlex.split(one["command"]) if "/" in word}
    held = {
        f"docs/replications/{p.name}"
        for p in (ROOT / "docs" / "replications").iterdir()
        if p.suffix in (".csv", ".flac")
    }
    assert used == held


@pytest.mark.parametrize(
    ("ours", "published", "names", "columns"),
    [
        ("baseball", "baseball", ("first", "second"), {"win_first": "first", "win_second": "second"}),
        ("citations", "citations", ("item1", "item2"), {"win1": "first", "win2": "second"}),
        (
            "sound_fields_flute",
            "sound_fields",
            ("item1", "item2"),
            {"win1": "first", "tie": "tie", "win2": "second"},
        ),
        (
            "flavour_strength",
            "springall",
            ("item1", "item2"),
            {"win1": "first", "tie": "tie", "win2": "second"},
        ),
    ],
)
def test_a_table_holds_the_counts_that_were_published(
    ours: str, published: str, names: tuple[str, str], columns: dict[str, str]
) -> None:
    wanted: Counter[tuple[str, ...]] = Counter()
    with (ROOT / "tests" / "published" / f"{published}.csv").open() as file:
        for row in csv.DictReader(file):
            if row.get("instrument", "flute") == "flute":
                for column, answer in columns.items():
                    wanted[row[names[0]], row[names[1]], answer] += int(row[column])
    found: Counter[tuple[str, ...]] = Counter()
    with (ROOT / "docs" / "replications" / f"{ours}.csv").open() as file:
        for row in csv.DictReader(file):
            found[row["first"], row["second"], row["answer"]] += int(row["count"])
    assert found == +wanted

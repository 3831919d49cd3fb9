"""`listening picture`: SVG and PNG, on common scales, the same bytes for the same sounds."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from listening import cli
from tests.metrics.signals import DEMO

SOUNDS = [str(DEMO / "dome_c-free-1.flac"), str(DEMO / "dome_c-handlebar-1.flac")]


@pytest.mark.parametrize(("kind", "head"), [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_a_picture_is_written_and_is_the_same_again(tmp_path: Path, kind: str, head: bytes) -> None:
    made = []
    for name in ("one", "two"):
        out = tmp_path / f"{name}.{kind}"
        assert cli.main(["picture", *SOUNDS, "--pascal-per-full-scale", "5", "--out", str(out)]) == 0
        made.append(out.read_bytes())
    assert made[0].startswith(head)
    assert made[0] == made[1]


def test_axes_carry_their_units_and_partials_their_frequencies(tmp_path: Path) -> None:
    out = tmp_path / "two.svg"
    assert cli.main(["picture", *SOUNDS, "--pascal-per-full-scale", "5", "--out", str(out)]) == 0
    text = out.read_text()
    for wanted in (
        "dB re 20 µPa",
        "frequency, Hz",
        "time from the onset, s",
        "loudness N, sone",
        "3455",
        "T60, s",
    ):
        assert wanted in text


def test_what_cannot_be_drawn_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["picture", SOUNDS[0], "--out", str(tmp_path / "a.jpg")]) == 2
    assert ".svg or .png" in capsys.readouterr().err
    assert cli.main(["picture", *(SOUNDS[:1] * 7), "--out", str(tmp_path / "a.png")]) == 2
    assert "at most 6" in capsys.readouterr().err
    assert cli.main(["picture", *SOUNDS, "--names", "one", "--out", str(tmp_path / "a.png")]) == 2
    assert not list(tmp_path.iterdir())


def test_names_are_drawn_as_they_are_and_never_obeyed(tmp_path: Path) -> None:
    """No formula is read into them (a half one ended in a fault); a control character is refused."""
    out = tmp_path / "named.svg"
    words = ["picture", SOUNDS[0], SOUNDS[0], "--out", str(out), "--names"]
    assert cli.main([*words, "a,\x1b[2J=cmd"]) == 2
    assert not out.exists()
    assert cli.main([*words, "$\\frac{a$,=cmd"]) == 0
    said = "".join(ElementTree.parse(out).getroot().itertext())
    assert "$\\frac{a$" in said
    assert "=cmd" in said


def test_compare_draws_the_same_picture(tmp_path: Path) -> None:
    out = tmp_path / "pair.png"
    assert cli.main(["compare", SOUNDS[0], "--with", SOUNDS[1], "--picture", str(out)]) == 0
    assert out.stat().st_size > 50_000

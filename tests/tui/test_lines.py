"""The plain line mode: the same session, answered in typed lines."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from listening.store import open_store
from listening.tui import lines
from tests import alsa, stations, terminal
from tests.stations import Bench, make_plan, take_seat
from tests.terminal import Terminal


def typed(bench: Bench, *answers: str) -> list[str]:
    """Run the line mode on these lines; what it wrote."""
    bench.sitting._course.become(words=bench.sitting.words.in_lines())
    waiting: Iterator[str] = iter(answers)
    wrote: list[str] = []

    def read(_: float) -> str:
        try:
            return next(waiting) + "\n"
        except StopIteration:
            raise EOFError from None

    lines.run(bench.sitting, read=read, write=wrote.append)
    return wrote


def test_a_whole_sitting_in_lines(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=2, n_practice=0))
    opening = ("", "y", "play", "", "play", "")
    wrote = typed(bench, *opening, "play", "a", "", "play", "b", "", "")
    assert bench.sitting.is_over
    assert [a.answer for a in bench.store.answers()] == ["first", "second"]
    text = "\n".join(wrote)
    assert text.count("Welcome to the test.") == 1
    for heading in ("Your agreement", "Set the level", "Trial 1 of 2", "Trial 2 of 2", "The end"):
        assert f"== {heading}" in text
    assert text.count("Which of the two sounds is brighter?") == 3  # in the introduction and each trial


def test_a_line_that_means_nothing_here_is_said_so_and_changes_nothing(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    assert any("B does nothing here; type one of the words" in line for line in typed(bench, "b"))
    assert bench.store.answers() == []


def test_the_end_of_the_input_ends_the_sitting_in_order(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    typed(bench, "", "y")
    assert not bench.sitting.is_over


def test_a_scale_takes_a_typed_number(tmp_path: Path, rated: Callable[[], Bench]) -> None:
    bench = rated()
    typed(bench, "", "y", "play", "", "", "play", "63", "less", "")
    assert [a.answer for a in bench.store.answers()] == ["62"]


@alsa.needed
@terminal.needed
def test_line_mode_in_a_terminal(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", make_plan(n_trials=1, n_practice=0))
    environment, captured = alsa.environment(tmp_path)
    command = f"{sys.executable} -m listening sit {study.root} --listener L01 --plain"
    with Terminal(command, environment) as window:
        for wanted, line in (
            ("(just Enter): go on", ""),
            ("y: I agree", "y"),
            ("play: play", "play"),
            ("clear and comfortable, go on", ""),
            ("What you will be asked", "play"),
            ("(just Enter): I understand", ""),
            ("Trial 1 of 1", "play"),
            ("Type the letter or number", "b"),
            ("You chose: Sound B", ""),
            ("The end", ""),
        ):
            window.wait_for(wanted)
            window.press(*([line] if line else []), "Enter")
        window.wait_for("ended-with-0")
    assert [a.answer for a in open_store(study.answers).answers()] == ["second"]
    assert len(alsa.samples(captured)) > 0

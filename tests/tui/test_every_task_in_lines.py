"""Every way of asking, sat in the plain line mode to its goodbye in both languages, by words it listed."""

from pathlib import Path

import pytest

from listening.records.kinds.tasks import TASKS
from listening.session.actions import Action
from listening.session.showing.words import words
from listening.tui import lines
from tests.tui.test_every_task import seated, wanted

MOST_LINES = 200


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("task", sorted(TASKS))
def test_a_sitting_in_lines_comes_to_its_goodbye(tmp_path: Path, task: str, language: str) -> None:
    bench = seated(tmp_path, TASKS[task], language)
    bench.sitting._course.become(words=words(language).in_lines())
    wrote: list[str] = []
    n_lines = 0

    def read(_: float) -> str:
        nonlocal n_lines
        n_lines += 1
        assert n_lines < MOST_LINES, wrote[-5:]
        return line(bench.sitting.actions(), wanted(bench), "\n".join(wrote)) + "\n"

    def line(offered: tuple, act: str, told: str) -> str:
        offer = next(o for o in offered if o.name == act)
        if offer.action is Action.DIGIT:
            return "4"
        typed = offer.key if offer.argument else lines._typed(offer, bench.sitting.words)
        is_listed = offer.argument or f"{typed or bench.sitting.words.text('line_enter')}: " in told
        assert is_listed, f"`{typed}` works and was never said"
        return typed

    lines.run(bench.sitting, read=read, write=wrote.append)
    assert bench.sitting.state.is_finished
    assert len(bench.store.answers()) == 2
    assert not any("{" in text for text in wrote), "a place in a text was not filled"

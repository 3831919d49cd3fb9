"""What stands on the terminal when a sitting has ended, in the language of the study."""

import signal
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from listening.commands.sit import sit_ending
from listening.errors import SoundError
from listening.records.study import Study
from listening.session.showing.words import words
from tests import stations
from tests.stations import take_seat, walk


def ended(folder: Path, language: str, *, is_seated: bool = True, **how: Any) -> int:
    bench = take_seat(folder, stations.make_plan(sitting=stations.rules(language=language)))
    walk(bench.sitting, "go_on")
    ending = SimpleNamespace(
        sitting=bench.sitting if is_seated else None, **{"trouble": None, "ended_by": 0} | how
    )
    return sit_ending.say(cast(Any, ending), Study(folder), words(language))


@pytest.mark.parametrize(
    ("language", "wanted"),
    [
        ("en", ("To go on at the same place:  listening sit", "For the researcher's notes:  study dddd")),
        ("de", ("An derselben Stelle geht es weiter mit:  listening sit", "Notizen der Versuchsleitung")),
    ],
)
def test_a_signal_leaves_words_in_the_language_of_the_study(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], language: str, wanted: tuple[str, ...]
) -> None:
    assert ended(tmp_path, language, ended_by=signal.SIGTERM) == 128 + signal.SIGTERM
    told = capsys.readouterr().out
    assert all(text in told for text in wanted)
    assert "--listener L01" in told
    assert language == "en" or not any(word in told for word in ("To go on", "notes", "answers"))


@pytest.mark.parametrize(
    ("language", "is_seated", "wanted"),
    [
        ("en", False, "The test cannot begin. Please call the person in charge"),
        ("de", False, "Der Hörversuch kann nicht beginnen. Bitte rufen Sie die Versuchsleitung"),
        ("de", True, "Der Hörversuch wurde angehalten. Jede bestätigte Antwort ist gespeichert."),
    ],
)
def test_a_missing_device_is_told_to_the_listener_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], language: str, is_seated: bool, wanted: str
) -> None:
    with pytest.raises(SoundError, match="no device"):
        ended(tmp_path, language, is_seated=is_seated, trouble=SoundError("no device"))
    assert wanted in capsys.readouterr().err

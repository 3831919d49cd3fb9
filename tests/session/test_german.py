"""A German sitting is German throughout: no entry is left in English, and no screen that is reached."""

import random
import re
from pathlib import Path

import pytest

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial, Slot
from listening.session.showing import words
from listening.session.showing.view import Stage, View
from tests import stations
from tests.stations import TestPlayer, make_plan, take_seat

ALIKE = {"key_enter", "key_escape", "key_f1", "comment_typed"}
"""Entries that are the same in both languages: names of keys, and what is typed."""
ENGLISH = re.compile(
    r"(?i)\b(the|you|your|are|press|type|sounds?|trials?|answers?|please|is|not|of|go|keys?|again|play"
    r"|listen|question|break|pause[ds]|yes|thank|done|here|this|that|with|hear|heard|mark|code is|help|leave"
    r"|space)\b"
)
PLACE = re.compile(r"\{\w+\}")
A, B, C, D, E, R = stations.CODES
TASKS = {
    "paired comparison": {"no_difference": True},
    "same-different": {},
    "category rating": {"scale": ("gar nicht", "wenig", "mittel", "sehr", "äußerst")},
    "multiple stimulus": {"scale": ("schlecht", "gut"), "switching": True, "loops": True},
    "adjustment": {"switching": True, "loops": True},
}
STEPS = 300


def _plan(task: str) -> object:
    one = PlannedAttribute.model_validate(
        {
            "name": "helligkeit",
            "task": task,
            "wording": "Welcher Klang ist heller?",
            "explanation": "",
            **TASKS[task],
        }
    )
    trials = [
        PlannedTrial(
            trial=f"{n:03d}",
            attribute="helligkeit",
            clips=(A,) if task == "category rating" else (A, B),
            reference=R if task == "multiple stimulus" else None,
            practice=n == 1,
        )
        for n in range(1, 9)
    ]
    rules = stations.rules(
        language="de",
        welcome="Guten Tag.",
        consent="Ihre Antworten werden unter einem Code gespeichert.",
        questionnaire=[{"wording": "Wie alt sind Sie?", "answers": ["unter 30", "30 oder mehr"]}],
        comments="each trial",
        hearing_check=True,
        break_every_trials=5,
        break_every_min=1,
    )
    return make_plan(attributes=(one,), slots=(Slot(slot=0, trials=tuple(trials)),), sitting=rules)


def _texts(view: View) -> list[str]:
    told = [view.heading, *view.body, view.question, view.status, view.notice, view.hint, view.progress]
    told += [clip.state for clip in view.clips] + [clip.name for clip in view.clips]
    told += [choice.label for choice in view.choices] + [dial.text for dial in view.dials]
    return [*told, *(part for offer in view.actions for part in (offer.label, offer.shown))]


def _met(folder: Path, task: str, *, lines: bool) -> tuple[set[str], set[Stage]]:
    """Every text that a listener meets who presses what comes to mind, and the stages."""
    folder.mkdir()
    bench = take_seat(folder, _plan(task))  # type: ignore[arg-type]
    state = bench.sitting.state
    if lines:
        bench.sitting._course.become(words=state.words.in_lines())
    rng, told, stages = random.Random(1), set(), set()
    for _ in range(STEPS):
        view = bench.sitting.view()
        told |= set(_texts(view))
        stages.add(view.stage)
        offered = [offer.name for offer in view.actions]
        if not offered:
            break
        if rng.random() < 0.1:
            bench.sitting.wrong_key("X")
            told |= set(_texts(bench.sitting.view()))
        name = rng.choice(offered)
        unwanted = {
            "leave_now": 0.1,
            "decline_now": 0.0,
            "decline": 0.3,
            "leave": 0.2,
            "end": 0.2,
            "pause": 0.3,
        }
        if rng.random() > unwanted.get(name, 1.0):
            continue
        bench.sitting.act(name)
        if isinstance(bench.player, TestPlayer) and rng.random() < 0.1:
            bench.player.finish(played=10, trouble="stille")
        bench.sitting.tick()
        bench.clock.s += rng.choice((0.1, 5.0, 60.0))
    bench.die()
    return {text for text in told if text}, stages


def english(texts: set[str]) -> list[str]:
    """Texts that are English, by a word or as an entry of the table."""
    table = {text for name, text in words.words("en").table.items() if name not in ALIKE and len(text) > 2}
    own = set(words.words("de").table.values())
    return sorted(text for text in texts if ENGLISH.search(text) or (text in table and text not in own))


@pytest.mark.parametrize("lines", [False, True], ids=["screen", "lines"])
def test_nothing_that_a_listener_meets_is_english(tmp_path: Path, lines: bool) -> None:
    seen: set[Stage] = set()
    for task in [*TASKS][:: 2 if lines else 1]:
        told, stages = _met(tmp_path / task.replace(" ", "_"), task, lines=lines)
        assert english(told) == [], task
        seen |= stages
    print(sorted(s.value for s in seen))
    assert {Stage.QUESTIONNAIRE, Stage.HEARING, Stage.TRIAL, Stage.LEAVING, Stage.PAUSE, Stage.BREAK} <= seen


def test_an_english_text_is_seen() -> None:
    assert english({"Klang A", "Sound A"}) == ["Sound A"]
    assert english({"Pause", "Practice is over. From now on your answers count."}) != []


def test_no_entry_is_left_in_english() -> None:
    own, german = words.words("en").table, words.words("de").table
    assert {name for name in own if own[name] == german[name]} == ALIKE
    assert [text for text in german.values() if ENGLISH.search(PLACE.sub("", text))] == []


def test_yes_is_j_on_every_question_answered_by_yes_or_no() -> None:
    letters = {name: text for name, text in words.words("de").table.items() if name.startswith("letter_")}
    assert set(letters.values()) == {"j"}
    english_yes = {name for name, text in words.words("en").table.items() if name in letters and text == "y"}
    assert english_yes == set(letters)

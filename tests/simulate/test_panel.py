"""Simulated listeners answer as their known sensitivities say, the same with and without the session."""

from collections import defaultdict
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.keys.key import Key, KeyedClip
from listening.simulate import panel, percepts
from listening.simulate import run as simulate
from listening.simulate.listener import LAPSES, Truth, chosen
from listening.store import open_store
from tests import bells

CHOICES = 20_000
MARGIN = 4 * 0.5 / np.sqrt(CHOICES)  # four standard errors of a share


def shares(answers: list[Answer], key: Key, presentation: str) -> dict[tuple[str, str, str], float]:
    """(attribute, more, than) to the share that chose `more`, over the study clips of one presentation."""
    clip: dict[str, KeyedClip] = {c.clip: c for c in key.clips}
    counts: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    for answer in answers:
        first, second = (clip[c] for c in answer.clips)
        if {first.presentation, second.presentation} == {
            presentation
        } and first.condition != second.condition:
            won = answer.answer == "first"
            counts[answer.attribute, first.condition[5], second.condition[5]].append(won)
            counts[answer.attribute, second.condition[5], first.condition[5]].append(not won)
    return {pair: float(np.mean(won)) for pair, won in counts.items()}


@cache
def over_seeds(n_seeds: int, presentation: str = "matched") -> dict[tuple[str, str, str], float]:
    """Shares over many panels, so that quirks and chance average out."""
    made = bells.dealt()
    heard = percepts.of_study(made.key, bells.manifest())
    found = [a for seed in range(n_seeds) for a in panel.answers(made.plan, heard, n_listeners=24, seed=seed)]
    return shares(found, made.key, presentation)


def test_bright_and_long_designs_are_chosen_and_level_alone_is_not() -> None:
    found = over_seeds(20)
    assert found["brightness", "d", "c"] == pytest.approx(0.85, abs=0.04)
    assert found["ringing", "f", "e"] == pytest.approx(0.85, abs=0.04)
    # 20 panels of 24 listeners hear each pair twice: 960 answers, and quirks of 6 recordings a panel
    assert found["brightness", "b", "a"] == pytest.approx(0.5, abs=0.05)
    assert found["ringing", "b", "a"] == pytest.approx(0.5, abs=0.05)


def test_the_louder_design_is_louder_as_recorded_and_not_when_matched() -> None:
    assert over_seeds(3, "as recorded")["loudness", "b", "a"] > 0.9
    assert over_seeds(20)["loudness", "b", "a"] == pytest.approx(0.5, abs=0.05)


def test_the_same_seed_gives_the_same_answers_and_another_seed_others() -> None:
    made = bells.dealt(3)
    heard = percepts.of_study(made.key, bells.manifest())
    one, two, other = (panel.answers(made.plan, heard, n_listeners=3, seed=seed) for seed in (1, 1, 2))
    assert one == two
    assert [a.answer for a in one] != [a.answer for a in other]


def test_a_listener_answers_the_same_in_a_larger_panel() -> None:
    made = bells.dealt(4)
    heard = percepts.of_study(made.key, bells.manifest())
    small = panel.answers(made.plan, heard, n_listeners=2, seed=1)
    large = panel.answers(made.plan, heard, n_listeners=4, seed=1)
    assert large[: len(small)] == small


def test_certain_differences_are_missed_by_lapses_only() -> None:
    draws = np.random.default_rng(0).random((CHOICES, 2))
    picks = chosen(
        np.full(CHOICES, 50.0),
        np.zeros(CHOICES),
        order_bias=0.0,
        truth=Truth(),
        tie_allowed=False,
        draws=draws,
    )
    assert np.mean(picks != 0) == pytest.approx(LAPSES / 2, abs=MARGIN)


def test_equal_sounds_are_split_and_mostly_tied_where_a_tie_is_allowed() -> None:
    draws = np.random.default_rng(0).random((CHOICES, 2))
    equal = np.zeros(CHOICES)
    forced = chosen(equal, equal, order_bias=0.0, truth=Truth(), tie_allowed=False, draws=draws)
    assert np.mean(forced == 0) == pytest.approx(0.5, abs=MARGIN)
    free = chosen(
        equal, equal, order_bias=0.0, truth=Truth(no_difference_width=2.0), tie_allowed=True, draws=draws
    )
    # by hand: 1/(1+exp(-2)) - 1/(1+exp(2)) = 0.7616 tied, 98 of 100; lapses tie one time in three
    assert np.mean(free == 1) == pytest.approx(0.98 * 0.7616 + 0.02 / 3, abs=MARGIN)


def test_a_metric_that_is_missing_is_named() -> None:
    made, known = bells.dealt(1), bells.manifest()
    bare = [s.model_copy(update={"after": {**s.after, "t60_s": None}}) for s in known.stimuli]
    with pytest.raises(StudyError, match="has no t60_s"):
        percepts.of_study(made.key, known.model_copy(update={"stimuli": tuple(bare)}))


def test_the_session_stores_what_the_listeners_decided(tmp_path: Path) -> None:
    study = bells.write_study(tmp_path, n_listeners=3)
    n_answers = simulate.run(study, n_listeners=2, seed=7)
    stored = [a for a in open_store(study.answers).answers() if not a.practice]
    made = bells.dealt(3)
    fast = panel.answers(made.plan, percepts.of_study(made.key, bells.manifest()), n_listeners=2, seed=7)
    assert len(stored) == n_answers == len(fast)
    same = (
        "listener",
        "slot",
        "trial",
        "attribute",
        "clips",
        "answer",
        "simulated",
        "answered_at",
    )
    for kept, quick in zip(stored, fast, strict=True):
        assert [getattr(kept, name) for name in same] == [getattr(quick, name) for name in same]
        assert kept.response_s == pytest.approx(quick.response_s, abs=1e-9)


def test_two_runs_of_a_panel_leave_the_same_answers(tmp_path: Path) -> None:
    stored = []
    for name in ("one", "two"):
        study = bells.write_study(tmp_path / name, n_listeners=1)
        simulate.run(study, seed=3)
        stored.append(open_store(study.answers).answers())
    assert stored[0] == stored[1]


def test_more_listeners_than_slots_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="dealt for 2 listeners, 3 wanted"):
        simulate.run(bells.write_study(tmp_path, n_listeners=2), n_listeners=3)


def test_the_same_panel_cannot_sit_twice(tmp_path: Path) -> None:
    study = bells.write_study(tmp_path, n_listeners=1)
    simulate.run(study)
    with pytest.raises(StudyError, match="has finished"):
        simulate.run(study)

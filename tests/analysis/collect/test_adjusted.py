"""Adjustments by ear: gains put in come back out, with their standard error."""

import numpy as np
import pytest

from listening.analysis.collect import adjustments
from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.keys.key import Key, KeyedClip
from listening.records.sounds.manifest import Manifest
from tests import bells

TRUE_DB = {"dome_a/free": 1.0, "dome_c/free": -0.5, "dome_e/free": -0.5}
PAIRS = [("dome_a/free", "dome_c/free"), ("dome_e/free", "dome_a/free"), ("dome_c/free", "dome_e/free")]


def _clips(manifest: Manifest, presentation: str) -> dict[str, KeyedClip]:
    return {
        s.condition: KeyedClip(
            clip=f"clip{i:04d}",
            stimulus=s.stimulus,
            condition=s.condition,
            presentation=presentation,
            role="study",
        )
        for i, s in enumerate(manifest.stimuli)
        if s.presentation == presentation and s.strike == "2" and s.condition in TRUE_DB
    }


def _answers(
    presentation: str, own_db: dict[str, dict[str, float]], pairs: list[tuple[str, str]] = PAIRS
) -> tuple[list[Answer], Key, Manifest]:
    """Adjustments of listeners who hear each condition off its computed match by `own_db`."""
    manifest = bells.manifest()
    clips = _clips(manifest, presentation)
    level = {c: manifest.of(k.stimulus).after["laf_max_db"] or 0.0 for c, k in clips.items()}
    answers = [
        Answer(
            sitting=f"s{listener}",
            listener=listener,
            slot=0,
            trial=f"{i:03d}",
            attribute="loudness",
            task="adjustment",
            clips=(clips[a].clip, clips[b].clip),
            answer=repr(level[a] - level[b] + own[b] - own[a]),
            response_s=1.0,
            plays=1,
            practice=False,
            simulated=True,
            answered_at="2030-01-01T00:00:00+00:00",
        )
        for listener, own in own_db.items()
        for i, (a, b) in enumerate(pairs)
    ]
    return answers, Key(secret="0" * 32, clips=tuple(clips.values())), manifest


@pytest.mark.parametrize("presentation", ["as recorded", "matched"])
def test_gains_put_in_come_back_out_whatever_was_adjusted(presentation: str) -> None:
    found = adjustments.from_answers(*_answers(presentation, dict.fromkeys("abcd", TRUE_DB)))
    for condition, gain_db in TRUE_DB.items():
        gain = found.of(condition)
        assert gain is not None
        assert gain.gain_db == pytest.approx(gain_db, abs=1e-9)
        assert gain.se_db == pytest.approx(0.0, abs=1e-9)
    assert (found.metric, found.n_listeners, found.simulated) == ("laf_max_db", 4, True)


def test_the_standard_error_is_that_of_the_mean_over_listeners() -> None:
    shifts = {"a": 0.0, "b": 0.3, "c": 0.6}
    own = {
        name: {"dome_a/free": 1.0 + s, "dome_c/free": -0.5 - s, "dome_e/free": -0.5}
        for name, s in shifts.items()
    }
    found = adjustments.from_answers(*_answers("matched", own))
    gain = found.of("dome_a/free")
    assert gain is not None
    assert gain.gain_db == pytest.approx(1.3)
    # by hand: 1.0, 1.3, 1.6 have standard deviation 0.3, over the root of 3
    assert gain.se_db == pytest.approx(0.3 / np.sqrt(3))
    pair = next(p for p in found.pairs if (p.first, p.second) == ("dome_a/free", "dome_c/free"))
    assert pair.gain_db == pytest.approx(-2.1)  # c over a: -1.5, -2.1, -2.7
    assert pair.se_db == pytest.approx(0.6 / np.sqrt(3))


def test_pairs_that_differ_from_the_computed_match_are_named() -> None:
    rng = np.random.default_rng(2)
    own = {f"l{i}": {c: g + 0.1 * rng.standard_normal() for c, g in TRUE_DB.items()} for i in range(12)}
    found = adjustments.from_answers(*_answers("matched", own))
    assert {(p.first, p.second) for p in adjustments.disagreeing(found)} == {
        ("dome_a/free", "dome_c/free"),
        ("dome_a/free", "dome_e/free"),
    }


def test_two_listeners_are_too_few() -> None:
    with pytest.raises(StudyError, match="adjustments of 2 listeners, at least 3 wanted"):
        adjustments.from_answers(*_answers("matched", dict.fromkeys("ab", TRUE_DB)))


def test_pairs_that_do_not_join_all_conditions_are_refused() -> None:
    answers, key, manifest = _answers("matched", dict.fromkeys("abc", TRUE_DB))
    kept = [a for a in answers if a.listener != "b" or a.trial == "000"]
    with pytest.raises(StudyError, match="listener b: the pairs adjusted do not join all 3 conditions"):
        adjustments.from_answers(kept, key, manifest)

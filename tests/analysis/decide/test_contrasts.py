"""Main effects, trends, interactions and a reference product: planned, dealt, decided, worded, checked."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from listening.analysis.decide import direct_answers
from listening.planning import approximate, panel_size
from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.contrasts import Contrast
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.report.sentences import sentences
from tests.attacks import whole_study
from tests.attacks.conftest import _text
from tests.attacks.whole_study import command
from tests.design import conftest as design

BASE = {"kind": "more", "attribute": "brightness", "presentation": "matched", "smallest_effect": 0.55}
CONTRASTS: dict[str, dict[str, Any]] = {
    "main": {"more": "c01/*", "than": "c00/*", "over": ["free", "held"]},
    "trend": {"more": "c02/free", "than": "c00/free", "through": ["c01/free"]},
    "interaction": {
        "more": "c02/free",
        "than": "c00/free",
        "exceeds": {"more": "c02/held", "than": "c00/held"},
    },
    "reference": {"more": "*/free", "than": "c00/free", "each": ["c01", "c02"]},
}


def _protocol(**more: Any) -> Protocol:
    questions = [{"id": name, "contrast": one, **BASE} for name, one in CONTRASTS.items()]
    return design.protocol_of(
        3,
        listeners=24,
        pairs="planned",
        repeats=8,
        questions=questions,
        labels={"c01/*": "dome B"},
        controls=[{"attribute": "brightness", "gains_db": [1.0], "repeats": 8}],
        **more,
    )


def _study(root: Path) -> Study:
    """Three designs in two hangings; brightness grows with the design and knows no hanging."""
    manifest = design.manifest_of(3)
    held = [
        s.model_copy(
            update={
                "stimulus": s.stimulus.replace("free", "held"),
                "recording": s.recording.replace("free", "held"),
                "condition": s.condition.replace("free", "held"),
                "file": s.file.replace("free", "held"),
            }
        )
        for s in manifest.stimuli
    ]
    both = manifest.model_copy(update={"stimuli": (*manifest.stimuli, *held)})
    study = whole_study.prepared(root, (_protocol(), both), _text)
    made = Manifest.load(study.manifest)
    brighter = [
        s.model_copy(update={"after": s.after | {"centroid_hz": 2000.0 * 1.4 ** int(s.condition[1:3])}})
        for s in made.stimuli
    ]
    made.model_copy(update={"stimuli": tuple(brighter)}).save(study.manifest)
    return study


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return whole_study.finished(_study(tmp_path_factory.mktemp("contrasts") / "study"))


@pytest.fixture(scope="module")
def found(kept: Study) -> Findings:
    return Findings.load(kept.findings)


def _of(found: Findings, name: str) -> QuestionFinding:
    return next(q for q in found.questions if q.id == name)


def test_the_known_truth_is_found(found: Findings) -> None:
    """Brighter designs are, whatever the hanging; the hanging changes no difference."""
    words = {q.id: q.word for q in found.questions}
    assert words.pop("interaction") != "supported"
    assert set(words.values()) == {"supported"}
    assert set(words) == {"main", "trend", "reference c01", "reference c02"}


def test_every_pair_of_a_contrast_was_dealt_and_stands_beside(found: Findings) -> None:
    main = _of(found, "main")
    assert [(p.more, p.than) for p in main.parts] == [("c01/free", "c00/free"), ("c01/held", "c00/held")]
    assert [p.n for p in main.parts] == [24 * 8, 24 * 8]
    assert main.share is not None
    assert main.share.value == pytest.approx(sum(p.share for p in main.parts) / 2, abs=1e-12)
    assert main.n_direct == sum(p.n for p in main.parts)


def test_an_interaction_is_half_the_difference_of_two_shares(found: Findings) -> None:
    q = _of(found, "interaction")
    here, there = q.parts
    assert (here.is_turned, there.is_turned) == (False, True)
    assert q.share is not None
    assert 2 * (q.share.value - 0.5) == pytest.approx(here.share - (1 - there.share), abs=1e-12)


def test_a_reference_makes_a_question_each_in_one_family(found: Findings) -> None:
    made = [_of(found, name) for name in ("reference c01", "reference c02")]
    assert [(q.more, q.than, q.family, q.family_size) for q in made] == [
        ("c01/free", "c00/free", "reference", 2),
        ("c02/free", "c00/free", "reference", 2),
    ]


def test_each_is_worded_by_what_was_averaged(found: Findings) -> None:
    said = {q.id: sentences.printable(q, found) for q in found.questions}
    assert "recordings of dome B are heard as more brightness than" in said["main"]
    assert "on average over free and held" in said["main"]
    assert "each step of" in said["trend"]
    assert "on average over the steps" in said["trend"]
    assert said["interaction"].endswith("listeners.")
    assert "more often than" in said["interaction"]
    notes = {q.id: sentences.footnote(q, found) for q in found.questions}
    assert "a single pair may differ from the mean" in notes["main"]
    assert "apart" in notes["interaction"]


def test_a_claim_without_the_averaging_is_not_printable(
    kept: Study, found: Findings, capsys: pytest.CaptureFixture[str]
) -> None:
    said = sentences.printable(_of(found, "main"), found).removeprefix(sentences.SIMULATED)
    command("claim", said, kept.root)
    assert "answered as this simulated panel did: supported" in capsys.readouterr().out
    command("claim", said.replace(", on average over free and held", ""), kept.root)
    assert "did: supported" not in capsys.readouterr().out


def test_verify_export_and_deposit_take_it(kept: Study, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["verify"], ["export"], ["deposit"]):
        assert command(words[0], kept.root) == 0, words
    page = (kept.root / "deposited.md").read_text()
    assert "by the mean share of choices over 2 pairs" in page
    capsys.readouterr()


@pytest.mark.parametrize("name", ["main", "trend", "interaction"])
def test_a_drawn_panel_has_the_effect_in_every_pair(kept: Study, name: str) -> None:
    """Sizing draws panels with the effect asked for; the share they come to is that effect."""
    planned, manifest = protocol_form.load(kept.protocol), Manifest.load(kept.manifest)
    question = next(q for q in planned.questions if q.id == name)
    made = panel_size.trials(planned, manifest, question, listeners=200)
    logit = float(np.log(0.7 / 0.3))
    strengths = panel_size.true_strengths(made, logit)
    assert panel_size.differences(made) @ strengths == pytest.approx(logit)
    quiet = Assumed(spread_listeners=0.0, spread_stimuli=0.0, order=0.0, lapses=0.0)
    answered = panel_size.answers(made, 200, logit, quiet, np.random.default_rng(1))
    found = direct_answers.of_contrast(pd.DataFrame(answered), question.contrast).share(0.05)
    assert found.share == pytest.approx(0.7, abs=4 * np.sqrt(0.21 / found.of))  # four standard errors
    # by formula the weakest pair stands for the mean of several, which sees no more than the mean does
    assert approximate.planned_pair(made, 200, logit, quiet).strikes == (3, 3)
    assert approximate.power(made, 200, logit, alpha=0.05, assumed=quiet) == pytest.approx(1.0, abs=1e-6)


def test_a_question_on_several_pairs_is_planned_on_the_weakest(kept: Study) -> None:
    """The last pair is heard by every third listener only: it is the one that is named and planned on."""
    planned, manifest = protocol_form.load(kept.protocol), Manifest.load(kept.manifest)
    question = next(q for q in planned.questions if q.id == "main")
    made = panel_size.trials(planned, manifest, question, listeners=24)
    last = {made.conditions.index(name) for name in question.contrast.pairs[-1]}
    of_last = np.array([set(pair) == last for pair in made.condition.tolist()])
    kept_rows = ~of_last | (made.slot % 3 == 0)
    fewer = replace(
        made,
        slot=made.slot[kept_rows],
        condition=made.condition[kept_rows],
        stimulus=made.stimulus[kept_rows],
    )
    spread = Assumed(spread_listeners=0.6, spread_stimuli=0.3)
    assert approximate.planned_pair(made, 24, 1.0, spread).listeners == 24
    assert approximate.planned_pair(fewer, 24, 1.0, spread).listeners == 8
    assert approximate.weakest_pair(fewer, 24, 1.0, spread) == question.contrast.pairs[-1]


@pytest.mark.parametrize(
    ("contrast", "why"),
    [
        ({"more": "a/*", "than": "b/*"}, "name them in `over` or `each`"),
        ({"more": "a/*", "than": "b/x", "over": ["x", "y"]}, "in every condition"),
        ({"more": "a/*", "than": "b/*", "over": ["x"]}, "two values or more"),
        ({"more": "a/*", "than": "b/*", "over": ["x", "x"]}, "each value once"),
        ({"more": "a/x", "than": "a/x"}, "with itself"),
        ({"more": "a", "than": "b", "through": ["a"]}, "with itself"),
        ({"more": "a", "than": "b", "exceeds": {"more": "b", "than": "a"}}, "one pair twice"),
        (
            {"more": "a", "than": "b", "through": ["c"], "exceeds": {"more": "d", "than": "e"}},
            "do not go together",
        ),
    ],
)
def test_a_contrast_that_compares_nothing_is_refused(contrast: dict[str, Any], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        Contrast.model_validate(contrast)


def test_an_average_is_never_called_the_same() -> None:
    planned = {"id": "q", "contrast": CONTRASTS["main"], **BASE, "kind": "same"}
    with pytest.raises(ValueError, match="holds on average need not hold for each"):
        design.protocol_of(3, questions=[planned])


def test_a_listener_who_met_one_pair_only_does_not_enter() -> None:
    rows = pd.DataFrame(
        [
            {"listener": who, "condition_first": a, "condition_second": b, "chosen": 1.0}
            | {"stimulus_first": a + "1", "stimulus_second": b + "1"}
            for who, pairs in {"L1": "ab cd", "L2": "ab cd", "L3": "ab"}.items()
            for a, b in pairs.split()
        ]
    )
    planned = Contrast.model_validate({"more": "a", "than": "b", "exceeds": {"more": "d", "than": "c"}})
    found = direct_answers.of_contrast(rows, planned)
    assert sorted(set(found.listener)) == ["L1", "L2"]
    assert found.part.tolist() == [0, 0, 1, 1]


def test_each_pair_weighs_the_same_however_often_it_was_met() -> None:
    """One answer to the first pair, three to the second: the mean of the two shares, not of four answers."""
    rows = pd.DataFrame(
        [
            {"listener": who, "condition_first": a, "condition_second": b, "chosen": chosen}
            | {"stimulus_first": a + "1", "stimulus_second": b + "1"}
            for who in ("L1", "L2", "L3", "L4")
            for a, b, chosen in (("b", "a", 0.0), ("d", "c", 0.0), ("d", "c", 1.0), ("d", "c", 1.0))
        ]
    )
    planned = Contrast.model_validate({"more": "a", "than": "b", "exceeds": {"more": "d", "than": "c"}})
    found = direct_answers.of_contrast(rows, planned)
    each = [found.of_part(n).share(0.05).share for n in (0, 1)]
    assert each == [pytest.approx(1.0), pytest.approx(1 / 3)]  # the second turned round: d over c in 2 of 3
    assert found.share(0.05).share == pytest.approx((1.0 + 1 / 3) / 2)


@pytest.mark.parametrize(
    ("than", "shares"), [("c", True), ("d", False)], ids=["a step of a trend", "another pair"]
)
def test_pairs_that_share_a_condition_share_its_strikes(than: str, shares: bool) -> None:
    rows = pd.DataFrame(
        [
            {"listener": who, "condition_first": a, "condition_second": b, "chosen": float(who == "L1")}
            | {"stimulus_first": a + "1", "stimulus_second": b + "1"}
            for who in ("L1", "L2", "L3")
            for a, b in (("b", "a"), ("e", "d"), ("c", "b"))
        ]
    )
    pairs = {"c": {"more": "c", "than": "b"}, "d": {"more": "d", "than": "e"}}[than]
    planned = Contrast.model_validate({"more": "b", "than": "a", "exceeds": pairs})
    assert direct_answers.of_contrast(rows, planned).shares_strikes is shares


def test_the_page_shows_each_pair(kept: Study) -> None:
    page = kept.page.read_text()
    assert "Pair by pair, choices in 100: c01, free against c00, free" in page
    assert "the later step" in page

"""Studies that also rate, or that ask whether two things can be told apart at all."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from listening.analysis import full_analysis
from listening.analysis.again import exported_tables
from listening.analysis.collect import keyed_answers, keyed_discrimination
from listening.analysis.explain import describe, strength_sets, strengths
from listening.analysis.opening.sealed_key import Opened
from listening.design import dealing
from listening.records.found.findings import Findings
from listening.records.protocols.protocol import Protocol, Question
from listening.simulate import panel as panel_of_nobody
from listening.simulate import percepts
from listening.simulate.listener import Sensitivity, Truth
from stats.errors import BadData

PROTOCOL = {
    "format": 1,
    "name": "made-up",
    "title": "Made up for a test",
    "seed": 1,
    "recordings": {"folder": "nowhere", "factors": ["design"]},
    "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": 12},
    "presentations": [{"name": "matched", "metric": "laf_max_db"}],
    "attributes": [
        {"name": "brightness", "wording": "Which is brighter?", "comparative": "brighter"},
        {
            "name": "bright at all",
            "task": "category rating",
            "wording": "How bright is it?",
            "comparative": "brighter",
            "scale": ["none", "little", "some", "much", "very much"],
            "scale_standard": "own",
        },
    ],
    "blocks": [
        {"attribute": "brightness", "presentation": "matched"},
        {"attribute": "bright at all", "presentation": "matched"},
    ],
    "sitting": {"welcome": "Welcome.", "consent": "I agree."},
    "questions": [
        {
            "id": "q",
            "kind": "more",
            "attribute": "brightness",
            "presentation": "matched",
            "contrast": {"more": "b", "than": "a"},
            "smallest_effect": 0.6,
        }
    ],
}


def test_only_the_comparisons_get_strengths(panel) -> None:  # type: ignore[no-untyped-def]
    table = panel(np.random.default_rng(1), {"a": 0.0, "b": 1.0, "c": 0.5}, n_listeners=10)
    protocol = Protocol.model_validate(PROTOCOL)
    assert [s.attribute for s in strength_sets.fit(table, protocol)] == ["brightness"]
    assert [w.attribute for w in describe.winners(table, protocol)] == ["brightness"]


def test_strengths_of_nothing_are_refused(panel) -> None:  # type: ignore[no-untyped-def]
    table = panel(np.random.default_rng(1), {"a": 0.0, "b": 1.0}, n_listeners=2)
    with pytest.raises(BadData, match="0 conditions were compared"):
        strengths.fit(keyed_answers.select(table, attribute="bright at all"))


def discrimination_protocol(task: str) -> Protocol:
    """Domes c and d (another brightness), a and b (level alone), each pair at one level."""

    def question(more: str, than: str) -> dict[str, object]:
        return {
            "id": f"{more}{than}",
            "kind": "audible",
            "attribute": "brightness",
            "presentation": "matched",
            "contrast": {"more": f"dome_{more}/free", "than": f"dome_{than}/free"},
            "smallest_effect": 0.15,
            "unit": "share not guessed",
            "family": "both",
        }

    asked = {"name": "brightness", "task": task, "wording": "Which?", "comparative": "brighter"}
    return Protocol.model_validate(
        PROTOCOL
        | {
            "attributes": [asked],
            "blocks": [
                {"attribute": "brightness", "presentation": "matched", "pairs": "planned", "repeats": 12}
            ],
            "questions": [question("d", "c"), question("b", "a")],
            "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": 16},
        }
    )


def discrimination_study(
    bells: Opened, task: str, *, seed: int = 3, n_listeners: int = 16
) -> tuple[Findings, dict[str, pd.DataFrame]]:
    """Findings of a simulated panel, and what is exported of them."""
    chosen = discrimination_protocol(task)
    manifest = bells.manifest
    dealt = dealing.deal(
        chosen,
        manifest,
        protocol_digest="0" * 64,
        secret="00112233445566778899aabbccddeeff",
        dealt_at="2026-01-01T00:00:00.000+00:00",
    )
    heard = percepts.of_study(dealt.key, manifest)
    truth = Truth(
        sensitivities={"brightness": Sensitivity(level=0.0, brightness=5.0, decay=0.0)}, quirk_sd=0.0
    )
    answers = panel_of_nobody.answers(dealt.plan, heard, n_listeners=n_listeners, seed=seed, truth=truth)
    found = full_analysis.findings(Opened(chosen, dealt.plan, dealt.key, manifest), answers)
    compared = keyed_answers.frame(answers, dealt.key, manifest, may_be_empty=True)
    told = keyed_discrimination.frame(answers, dealt.key.clips, dealt.plan)
    return found, exported_tables.tables(compared, found, told).tables


@pytest.fixture(scope="session", params=["triangle", "duo-trio", "same-different", "2-AFC"])
def told_study(request: pytest.FixtureRequest, bells: Opened) -> tuple[Findings, dict[str, pd.DataFrame]]:
    return discrimination_study(bells, request.param)


@pytest.fixture(scope="session")
def told(told_study: tuple[Findings, dict[str, pd.DataFrame]]) -> Findings:
    return told_study[0]


def test_the_exported_table_gives_the_counts_and_the_exact_p(
    told_study: tuple[Findings, dict[str, pd.DataFrame]],
) -> None:
    found, tables = told_study
    q = found.questions[0]
    rows = tables["discriminated"]
    rows = rows[rows["one"].isin([q.more, q.than]) & rows["other"].isin([q.more, q.than])]
    assert len(rows) == q.n_answers
    assert set(tables["discriminated"].columns) <= set(
        tables["dictionary"].query("table == 'discriminated'")["column"]
    )
    if q.guess is not None:
        right = rows["right"] if q.task != "2-AFC" or q.more < q.than else 1 - rows["right"]
        assert right.sum() == q.n_direct_more
        p = binomtest(int(right.sum()), len(right), q.guess, alternative="greater").pvalue
        pooled = next(s for s in q.sensitivity if s.name == "answers pooled over listeners")
        assert pooled.p == pytest.approx(p, rel=1e-9)


def test_what_is_discriminated_is_supported_and_what_is_not_is_not(told: Findings) -> None:
    apart, alike = told.questions
    assert apart.word == "supported", apart
    assert apart.share_not_guessed is not None
    assert (apart.share_not_guessed.lower or 0) > 0
    assert alike.word in ("undecided", "contradicted"), alike
    assert apart.alpha_corrected == 0.05 / (2 / 0.8)  # the first of two steps
    assert apart.n_direct == (96 if apart.task == "same-different" else 192)  # 16 listeners, 12 trials each
    assert (apart.n_alike or 0) >= (96 if apart.task == "same-different" else 0)


def test_listeners_who_only_tell_apart_are_screened(told: Findings) -> None:
    assert (told.panel.n_listeners, told.panel.n_answers) == (16, 16 * 24)
    two = told.questions[0].task in ("duo-trio", "2-AFC")
    assert all((row.first_share is not None) == two for row in told.panel.listeners)
    assert told.strengths == ()


def test_right_answers_are_those_of_the_key(told: Findings) -> None:
    q = told.questions[0]
    if q.guess is not None and q.share is not None and q.share_not_guessed is not None:
        assert q.share.value == pytest.approx(q.n_direct_more / q.n_direct)
        assert q.share_not_guessed.value == pytest.approx((q.share.value - q.guess) / (1 - q.guess))
    else:
        rate = q.n_direct_more / q.n_direct - (q.n_false or 0) / (q.n_alike or 1)
        assert q.share_not_guessed is not None
        assert q.share_not_guessed.value == pytest.approx(rate)


def test_few_listeners_tell_nothing_apart(bells: Opened) -> None:
    few, _ = discrimination_study(bells, "triangle", n_listeners=5)
    assert {q.word for q in few.questions} == {"no verdict"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"unit": "share", "smallest_effect": 0.6}, 'wanted unit "share not guessed"'),
        ({"kind": "more"}, 'wanted unit "share not guessed"'),
        ({"smallest_effect": 1.5}, "between 0 and 1"),
    ],
)
def test_an_audible_question_is_planned_in_its_own_unit(change: dict[str, object], said: str) -> None:
    question = discrimination_protocol("triangle").questions[0].model_dump()
    with pytest.raises(ValueError, match=said):
        Question.model_validate(question | change)


def test_a_comparison_tells_nothing_apart() -> None:
    raw = discrimination_protocol("triangle").model_dump()
    raw["attributes"][0]["task"] = "paired comparison"
    with pytest.raises(ValueError, match="same-different or 2-AFC or triangle or duo-trio"):
        Protocol.model_validate(raw)

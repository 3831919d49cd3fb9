"""Looks before the planned end: refused unless asked for, logged, counted, and deciding only as planned."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import special
from scipy.stats import multivariate_normal

from listening.analysis.opening import looks, sealed_key
from listening.errors import StudyError
from listening.records.protocols.protocol import Protocol
from listening.records.study import Study
from stats.deciding import alpha_spending

DIGEST = "ab12" * 16
PLAIN = {
    "format": 1,
    "name": "made-up",
    "title": "Made up for a test",
    "seed": 1,
    "recordings": {"folder": "nowhere", "factors": ["design"]},
    "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": 24},
    "presentations": [{"name": "matched", "metric": "laf_max_db"}],
    "attributes": [{"name": "brightness", "wording": "Which is brighter?", "comparative": "brighter"}],
    "blocks": [{"attribute": "brightness", "presentation": "matched"}],
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


def _protocol(**stopping: Any) -> Protocol:
    return Protocol.model_validate({**PLAIN, "stopping": stopping})


AT = "2026-01-01T00:00:00+00:00"


@pytest.fixture
def study(tmp_path: Path) -> Study:
    folder = Study(tmp_path)
    folder.sealed.mkdir()
    return folder


def _look(study: Study, protocol: Protocol, finished: int, **more: Any) -> looks.Look:
    """A look logged as an analysis does; other counts are other answers unless told."""
    more = {"answers": f"{finished:08x}{more.get('withdrawn', 0):08x}", **more}
    now = looks.look(study, DIGEST, protocol, finished=finished, **more)
    sealed_key.note(study, now.line(DIGEST, protocol.stopping), at=AT, told={})
    return now


def _alpha(protocol: Protocol, now: looks.Look) -> float:
    return looks.protocol_at(protocol, now).questions[0].alpha


def test_before_the_planned_end_the_answers_stay_closed(study: Study) -> None:
    with pytest.raises(StudyError, match="23 of 24 planned listeners finished"):
        _look(study, _protocol(), 23)
    assert not (study.sealed / sealed_key.LOG).exists()


def test_at_the_planned_end_nothing_needs_to_be_asked(study: Study) -> None:
    now = _look(study, _protocol(), 24)
    assert now.at_end
    assert looks.protocol_at(_protocol(), now) == _protocol()


def test_a_look_that_was_not_planned_shows_counts_and_so_spends_nothing(study: Study) -> None:
    protocol = _protocol(looks=[12], spending="Pocock")
    early = _look(study, protocol, 9, interim=True)
    planned = _look(study, protocol, 13, interim=True)
    more = _look(study, protocol, 18, interim=True)
    assert [n.is_planned(protocol.stopping) for n in (early, planned, more)] == [False, True, False]
    lines = (study.sealed / sealed_key.LOG).read_text().splitlines()
    assert ["counts only" in line for line in lines] == [True, False, True]
    assert _look(study, protocol, 24).earlier == (13,)


def test_a_look_at_the_same_answers_is_the_same_look(study: Study) -> None:
    protocol = _protocol(looks=[8, 16], spending="Pocock")
    first, again = (_look(study, protocol, 9, interim=True) for _ in range(2))
    assert _alpha(protocol, first) == _alpha(protocol, again)
    _look(study, protocol, 16, interim=True)
    last, once_more = _look(study, protocol, 24), _look(study, protocol, 24)
    assert last.earlier == once_more.earlier == (9, 16)
    assert _alpha(protocol, last) == _alpha(protocol, once_more)


def test_looks_at_another_deal_do_not_count(study: Study) -> None:
    protocol = _protocol(looks=[8], spending="Pocock")
    _look(study, protocol, 10, interim=True)
    assert looks.look(study, "f" * 64, protocol, finished=24).earlier == ()


def test_what_a_look_spent_stays_spent_when_listeners_withdraw_and_recruitment_closes(study: Study) -> None:
    """By Pocock's rule a look at half spends 0.05 ln(1 + (e - 1) / 2) = 0.031; both together spend 0.05."""
    protocol = _protocol(looks=[12], spending="Pocock", fewest=8)
    first = _look(study, protocol, 12, interim=True)
    closed = _look(study, protocol, 8, withdrawn=4, closed="the season is over")
    assert _alpha(protocol, first) == pytest.approx(0.05 * np.log1p((np.e - 1) / 2), rel=1e-6)
    assert _alpha(protocol, first) + _alpha(protocol, closed) == pytest.approx(0.05, rel=1e-6)


@pytest.mark.parametrize(("at", "gone"), [(12, 4), (12, 12), (18, 18)])
@pytest.mark.parametrize("rule", ["O'Brien-Fleming", "Pocock"])
def test_both_looks_together_err_in_alpha_at_most_when_listeners_are_replaced(
    study: Study, rule: alpha_spending.Spending, at: int, gone: int
) -> None:
    """Bounds that suppose the end to hold all that the look saw err in up to 6.6 % (Pocock, 18 replaced).

    The look and the end share at - gone listeners; both z are normal with that correlation.
    """
    protocol = _protocol(looks=[at], spending=rule, withdrawn="replace")
    first = _look(study, protocol, at, interim=True)
    end = _look(study, protocol, 24, withdrawn=gone)
    z = [float(special.ndtri(_alpha(protocol, now))) for now in (first, end)]
    together = (at - gone) / np.sqrt(at * 24)
    both = multivariate_normal(cov=[[1, together], [together, 1]]).cdf(z)
    assert float(special.ndtr(z).sum() - both) <= 0.05 * (1 + 1e-6)


def test_a_look_that_adds_no_listener_to_the_information_spends_nothing_again(study: Study) -> None:
    """24 planned, many replaced: the second look would come at the same share of the plan as the first."""
    protocol = _protocol(looks=[20, 22], spending="Pocock", withdrawn="replace")
    assert _look(study, protocol, 17, withdrawn=8, interim=True).is_planned(protocol.stopping)
    assert not _look(study, protocol, 19, withdrawn=8, interim=True).is_planned(protocol.stopping)


def test_a_place_filled_again_after_a_withdrawal_is_another_look(study: Study) -> None:
    protocol = _protocol(looks=[8, 16], spending="Pocock")
    _look(study, protocol, 9, interim=True)
    assert _look(study, protocol, 9, withdrawn=7, interim=True).is_planned(protocol.stopping)  # 16 were heard
    assert not _look(study, protocol, 9, withdrawn=8, interim=True).is_planned(protocol.stopping)


def test_after_the_end_was_analysed_more_listeners_are_not_asked_the_same_question(study: Study) -> None:
    """Else one could close at `fewest` and every second listener after it until the answer pleases."""
    protocol = _protocol(fewest=16)
    _look(study, protocol, 16, closed="the season is over")
    for options in ({"closed": "now then"}, {"interim": True}, {}):
        with pytest.raises(StudyError, match="analysed with 16 listeners, and 2 more finished since"):
            _look(study, protocol, 18, **options)


def test_who_withdraws_after_the_end_changes_the_answers_and_not_the_alpha(study: Study) -> None:
    protocol = _protocol(looks=[12], spending="Pocock")
    _look(study, protocol, 12, interim=True)
    end = _look(study, protocol, 24)
    fewer = _look(study, protocol, 23, withdrawn=1)
    assert fewer.at_end
    assert _alpha(protocol, fewer) == _alpha(protocol, end)
    with pytest.raises(StudyError, match="1 more finished since"):
        _look(study, protocol, 24, withdrawn=1)


def test_the_log_of_an_earlier_version_counts_too(study: Study) -> None:
    protocol = _protocol(looks=[12], spending="Pocock")
    line = f"{AT} interim look, 12 of 24 finished, study {DIGEST[:16]}"
    (study.sealed / sealed_key.LOG).write_text(f"{line}\n")
    now = _look(study, protocol, 24)
    assert now.earlier == (12,)
    assert _alpha(protocol, now) < 0.05


@pytest.mark.parametrize("rule", ["O'Brien-Fleming", "Pocock"])
def test_the_whole_error_rate_at_the_end_is_written_as_planned(
    study: Study, rule: alpha_spending.Spending
) -> None:
    """No look was taken: 0.05 is left, and not 0.05000000000000179."""
    protocol = _protocol(looks=[8, 16], spending=rule)
    assert repr(_alpha(protocol, _look(study, protocol, 24))) == "0.05"


@pytest.mark.parametrize("rule", ["O'Brien-Fleming", "Pocock"])
def test_planned_looks_share_the_error_rate_by_the_rule(study: Study, rule: alpha_spending.Spending) -> None:
    protocol = _protocol(looks=[8, 16], spending=rule)
    bounds = alpha_spending.bounds([9 / 24, 16 / 24, 1.0], 0.05, rule)
    found = [_look(study, protocol, n, interim=n < 24) for n in (9, 16, 24)]
    for now, nominal in zip(found, bounds.nominal_alpha, strict=True):
        assert _alpha(protocol, now) == pytest.approx(float(nominal), rel=1e-9)


@pytest.mark.parametrize("rule", ["O'Brien-Fleming", "Pocock"])
def test_no_step_through_a_family_spends_more_than_its_share_over_all_looks(
    study: Study, rule: alpha_spending.Spending
) -> None:
    """Three looks, six questions: alpha shared after spending would spend 5 % (Pocock: 11 %) too much."""
    family = [PLAIN["questions"][0] | {"id": f"q{i}", "family": "x"} for i in range(6)]
    plan = PLAIN | {"questions": family, "stopping": {"looks": [8, 16], "spending": rule}}
    protocol = Protocol.model_validate(plan)
    taken = [_look(study, protocol, n, interim=n < 24) for n in (8, 16, 24)]
    left = [looks.protocol_at(protocol, now).questions[0].alpha for now in taken]
    for m in (6, 5, 2, 1):
        bounds = [-float(special.ndtri(alpha / m)) for alpha in left]
        spent = alpha_spending.crossing([8 / 24, 16 / 24, 1.0], bounds).sum()
        assert spent <= 0.05 / m * (1 + 1e-6)
        assert m < 6 or spent == pytest.approx(0.05 / 6, rel=1e-6)  # nothing is given away at the first step


def test_a_planned_look_that_was_not_taken_leaves_its_error_for_the_end(study: Study) -> None:
    protocol = _protocol(looks=[12], spending="Pocock")
    assert looks.protocol_at(protocol, _look(study, protocol, 24)).questions[0].alpha == pytest.approx(0.05)


def test_recruitment_ends_early_only_as_the_rule_says(study: Study) -> None:
    protocol = _protocol(fewest=20)
    with pytest.raises(StudyError, match="only from 20 on"):
        _look(study, protocol, 19, closed="the season is over")
    with pytest.raises(StudyError, match="planned end"):
        _look(study, protocol, 21)
    now = _look(study, protocol, 21, closed="the season is over")
    assert now.at_end
    assert now.closed == "the season is over"
    assert "closed: the season is over" in (study.sealed / sealed_key.LOG).read_text()


@pytest.mark.parametrize(
    ("stopping", "told"),
    [
        ({"looks": [8]}, "go together"),
        ({"looks": [12, 8], "spending": "Pocock"}, "growing"),
        ({"looks": [24], "spending": "Pocock"}, "not before the end"),
        ({"fewest": 30}, "above the 24"),
    ],
)
def test_a_stopping_rule_that_cannot_be_is_refused(stopping: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        _protocol(**stopping)


def test_a_withdrawal_at_the_planned_end_closes_no_study_whose_plan_counts_it(tmp_path: Path) -> None:
    """24 of 24 finished, one withdraws before the first analysis: what holds stands in the plan."""
    study = Study(tmp_path)
    counts = Protocol.model_validate({**PLAIN, "stopping": {"withdrawn": "count"}})
    assert looks.look(study, DIGEST, counts, finished=23, withdrawn=1).now.at_end
    for rule in ({"withdrawn": "replace"}, {}):
        replaces = Protocol.model_validate({**PLAIN, "stopping": rule})
        with pytest.raises(StudyError, match="1 withdrew, and the plan wants each replaced"):
            looks.look(study, DIGEST, replaces, finished=23, withdrawn=1)
    with pytest.raises(StudyError, match=r"22 of 24 .* \(1 withdrew, and counts without answers\)"):
        looks.look(study, DIGEST, counts, finished=22, withdrawn=1)

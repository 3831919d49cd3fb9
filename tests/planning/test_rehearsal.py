"""A rehearsed study: what is true of its panel, who comes, what is promised, and that nothing is touched.

Expected shares come from the normal-logistic integral and the binomial law, computed here; powers from the
simulation that `size` uses, a way of its own to the same analysis.
"""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate, special, stats

import listening
from listening import cli
from listening.analysis import full_analysis, planned_verdicts
from listening.analysis.collect import keyed_answers
from listening.planning import effect, power, reached_end
from listening.planning.power import Wanted
from listening.planning.rehearsal import hoped, one_run, rehearsed
from listening.planning.rehearsal.rehearsed import Supposed
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.simulate import recruiting, true_effects
from listening.simulate.recruiting import People
from listening.steps import study_rehearsal

Maker = Callable[..., tuple[Protocol, Manifest]]
NOBODY_LEAVES = People(0.0, 0.0)


def _changed(protocol: Protocol, **tables: Any) -> Protocol:
    raw = protocol.model_dump(mode="json", exclude_none=True)
    for name, value in tables.items():
        raw[name] = {**raw.get(name, {}), **value} if isinstance(value, dict) else value
    return Protocol.model_validate(raw)


def _setting(study: tuple[Protocol, Manifest], state: hoped.State, **supposed: Any) -> one_run.Setting:
    from listening.planning import budget

    given = Supposed(**{"people": NOBODY_LEAVES, **supposed})
    return rehearsed._setting(*study, given, state, budget.of_study(*study), 1)


def _share_of_more(setting: one_run.Setting, seed: int) -> float:
    trials = setting.trials
    said = true_effects.answers(trials, setting.panel, frozenset(), np.random.default_rng(seed))
    keep = np.ones(len(trials.slot), bool)
    opened = setting.opened
    table = keyed_answers.frame(
        true_effects.columns(trials, said, keep), opened.key, opened.manifest, may_be_empty=False
    )
    first_is_more = table["condition_first"] == "d1"
    return float(np.where(first_is_more, table["chosen"], 1 - table["chosen"]).mean())


def test_a_panel_chooses_as_often_as_was_hoped(planned: Maker) -> None:
    """400 listeners x 12 hearings; the share of a normal spread about the mean logit, by quadrature."""
    study = planned(strikes=12, repeats=12, listeners=400)
    assumed = Assumed(spread_stimuli=0.0, order=0.0, lapses=0.0)
    setting = _setting(study, "as hoped", assumed=assumed, share=0.75)
    logit = setting.hoped.effects["brightness", "matched"].strength
    mean, sd = logit["d1"] - logit["d0"], 0.6

    def chosen(x: float) -> float:
        return float(special.expit(mean + sd * x) * stats.norm.pdf(x))

    expected = integrate.quad(chosen, -8, 8)[0]
    assert expected == pytest.approx(0.75, abs=1e-6)
    four_se = 4 * np.sqrt(
        0.75 * 0.25 / 4800 + 0.012 / 400
    )  # of answers, and of listeners (sd of own share 0.11)
    assert _share_of_more(setting, 3) == pytest.approx(0.75, abs=four_se)
    assert _share_of_more(_setting(study, "nothing true", assumed=assumed), 3) == pytest.approx(
        0.5, abs=four_se
    )


def test_the_power_seen_is_that_of_studies_simulated_for_size(planned: Maker) -> None:
    study = planned(strikes=3, repeats=6, listeners=16)
    question = study[0].questions[0]
    found = rehearsed.rehearse(*study, Supposed(people=NOBODY_LEAVES), runs=80, seed=5)
    [line] = [one for one in found.lines if one.state == "as hoped"]
    wanted = [Wanted(16, 6, effect.of_share(0.75, Assumed()))]
    [cell] = power.simulate(*study, question, wanted, assumed=Assumed(), studies=80, seed=2)
    table = [[line.supported.count, 80 - line.supported.count], [cell.supported, 80 - cell.supported]]
    assert stats.fisher_exact(table).pvalue > 0.001  # both fixed by their seeds
    assert 0.3 < line.supported.share < 1.0


def test_the_words_are_those_of_the_whole_analysis(planned: Maker) -> None:
    study = planned(conditions=3, strikes=3, repeats=4, listeners=12)
    setting = _setting(study, "as hoped")
    said = true_effects.answers(setting.trials, setting.panel, frozenset(), np.random.default_rng(1))
    given = true_effects.columns(setting.trials, said, np.ones(len(setting.trials.slot), bool))
    whole = full_analysis.findings(setting.opened, given)
    seen = planned_verdicts.screened(setting.opened, given, study[0])
    alone = planned_verdicts.words(seen, study[0])
    assert alone == {q.id: q.word for q in whole.questions}


def test_the_same_seed_gives_the_same_numbers_on_two_processes(planned: Maker) -> None:
    study = planned(repeats=4, listeners=8)
    here = rehearsed.rehearse(*study, Supposed(), runs=20, seed=7)
    there = rehearsed.rehearse(*study, Supposed(), runs=20, seed=7, where=2)
    other = rehearsed.rehearse(*study, Supposed(), runs=20, seed=8)
    assert here.courses == there.courses
    assert here.courses != other.courses


@pytest.mark.parametrize(("spare", "fewest"), [(0, None), (3, None), (0, 20), (2, 22)])
def test_the_end_is_reached_as_often_as_the_binomial_law_says(
    planned: Maker, spare: int, fewest: int | None
) -> None:
    stopping = {} if fewest is None else {"fewest": fewest}
    protocol, manifest = planned(listeners=24)
    protocol = _changed(protocol, panel={"spare": spare}, stopping=stopping)
    setting = _setting((protocol, manifest), "as hoped")
    rng = np.random.default_rng(4)
    plan, n = setting.opened.plan, 400
    courses = [recruiting.course(plan, protocol.stopping, People(0.1, 0.0), rng) for _ in range(n)]
    ended = sum(course.reached_its_end for course in courses)
    expected = stats.binom.sf((fewest or 24) - 1, 24 + spare, 0.9)
    assert reached_end.chance(protocol) == pytest.approx(expected, rel=1e-9)
    assert stats.binomtest(ended, n, expected).pvalue > 0.001


def test_a_study_whose_places_ran_out_stays_closed(planned: Maker) -> None:
    study = planned(listeners=8)
    found = rehearsed.rehearse(*study, Supposed(people=People(0.9, 0.0)), runs=3, seed=1)
    assert {run.words["q"] for run in found.all_runs()} == {one_run.NEVER_OPENED}


@pytest.mark.parametrize(("rule", "more"), [("count", 0), ("replace", 1)])
def test_withdrawals_are_counted_or_replaced(planned: Maker, rule: str, more: int) -> None:
    protocol, manifest = planned(listeners=10)
    protocol = _changed(protocol, panel={"spare": 60}, stopping={"withdrawn": rule})
    setting = _setting((protocol, manifest), "as hoped")
    rng = np.random.default_rng(9)
    for _ in range(20):
        course = recruiting.course(setting.opened.plan, protocol.stopping, People(0.0, 0.3), rng)
        withdrew = sum(person.withdrew for person in course.people)
        assert len(course.people) == 10 + more * withdrew
        assert course.moments[-1].finished == 10 - (1 - more) * withdrew


def test_answers_before_a_drop_out_count_and_those_of_a_withdrawal_do_not(planned: Maker) -> None:
    setting = _setting(planned(repeats=10, listeners=3), "as hoped")
    course = recruiting.Course(
        [recruiting.Person(0, 1.0), recruiting.Person(1, 0.45), recruiting.Person(2, 1.0, withdrew=True)]
    )
    at = recruiting.Moment(3, 1, 2, at_end=True)
    kept = one_run._answered(setting.trials, course, at)
    assert [int(kept[setting.trials.slot == slot].sum()) for slot in range(3)] == [10, 4, 0]


def test_planned_looks_stop_a_study_whose_questions_are_all_decided(planned: Maker) -> None:
    protocol, manifest = planned(repeats=12, strikes=6, listeners=40)
    protocol = _changed(protocol, stopping={"looks": [20], "spending": "Pocock"})
    found = rehearsed.rehearse(protocol, manifest, Supposed(share=0.9, people=NOBODY_LEAVES), runs=5, seed=3)
    hoped_runs = found.courses["as hoped"]
    assert all(run.stopped_at_look and run.invited == 20 for run in hoped_runs)
    assert not any(run.stopped_at_look and run.invited != 20 for run in found.courses["nothing true"])


def test_true_shares_stand_beside_questions_that_hang_together(planned: Maker) -> None:
    protocol, _ = planned(conditions=3)
    more = protocol.questions[0].model_dump(mode="json", exclude_none=True)
    same = {
        **more,
        "id": "s",
        "kind": "same",
        "contrast": {"more": "d2", "than": "d1"},
        "smallest_effect": 0.7,
    }
    protocol = _changed(protocol, questions=[more, same])
    conditions = {"matched": ["d0", "d1", "d2"]}
    true = hoped.of_study(protocol, conditions, 0.8, Assumed(), "as hoped")
    nothing = hoped.of_study(protocol, conditions, 0.8, Assumed(), "nothing true")
    assert true.true == pytest.approx({"q": 0.8, "s": 0.5})
    assert nothing.true == pytest.approx({"q": 0.5, "s": 0.7})
    alike = true.effects["brightness", "matched"].alike
    assert alike["d1"] == alike["d2"] != alike["d0"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--runs", "0"], "runs: found 0"),
        (["--drop-outs", "1.5"], "drop-outs: found 1.5"),
        (["--effect", "db=2"], "wanted a share"),
        (["--effect", "share=0.4"], "wanted a share"),
        (["--sites", "0"], "sites: found 0"),
        (["--spread-listeners", "-1"], "standard deviation"),
        (["--spread-stimuli", "nan"], "standard deviation"),
    ],
)
def test_a_number_out_of_range_is_named(
    bells: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert cli.main(["rehearse", str(bells), "--jobs", "1", *words]) == 2
    assert said in capsys.readouterr().err


@pytest.fixture
def bells(tmp_path: Path) -> Path:
    """The small protocol of the demo, as `new` makes it."""
    folder = tmp_path / "study"
    protocol = Path(__file__).resolve().parents[2] / "protocols/difference_beyond_level.toml"
    assert cli.main(["new", str(folder), "--from", str(protocol)]) == 0
    return folder


def _hashes(folder: Path) -> dict[str, str]:
    files = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_nothing_in_the_folder_is_touched_and_no_key_is_read(
    bells: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sealed = bells / "sealed"
    sealed.mkdir()
    (sealed / "key.json").write_text("no key that anybody could read")
    (bells / "plan.json").write_text("no plan")
    before = _hashes(bells)
    assert cli.main(["rehearse", str(bells), "--runs", "2", "--jobs", "1"]) == 0
    assert _hashes(bells) == before
    assert "nothing true" in capsys.readouterr().out


def test_the_notebook_and_the_command_give_the_same_numbers(
    bells: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert cli.main(["rehearse", str(bells), "--runs", "2", "--jobs", "1", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    made = listening.open(bells).rehearse(runs=2, jobs=1)
    assert printed == json.loads(json.dumps(made.to_dict()))
    assert list(made.to_frame()["state"]) == ["as hoped", "nothing true"]
    assert "power" in str(made)


def test_nobody_leaves_a_plan_that_has_no_answer_to_it(planned: Maker) -> None:
    protocol, _ = planned()
    assert study_rehearsal.likely(protocol) == NOBODY_LEAVES
    assert study_rehearsal.likely(_changed(protocol, panel={"spare": 2})) == People(0.1, 0.02)


def test_who_misses_the_last_session_has_answered_the_others(planned: Maker) -> None:
    protocol, manifest = planned(repeats=10, strikes=2, listeners=6)
    protocol = _changed(protocol, sessions={"number": 2, "met_at_least": 4})
    setting = _setting((protocol, manifest), "as hoped")
    trials = setting.trials
    course = recruiting.Course(
        [recruiting.Person(0, 1.0, missed_last=True), *(recruiting.Person(i, 1.0) for i in range(1, 6))]
    )
    kept = one_run._answered(trials, course, recruiting.Moment(6, 6, 6, at_end=True))
    mine = trials.slot == 0
    assert set(trials.session[mine & kept]) == {0}
    assert (kept == (~mine | (trials.session == 0))).all()


def test_both_sessions_of_a_listener_are_timed(planned: Maker) -> None:
    protocol, manifest = planned(repeats=10, listeners=8)
    whole = rehearsed.rehearse(protocol, manifest, Supposed(people=NOBODY_LEAVES), runs=2, seed=1)
    parted = _changed(protocol, sessions={"number": 2, "met_at_least": 4})
    halves = rehearsed.rehearse(parted, manifest, Supposed(people=NOBODY_LEAVES), runs=2, seed=1)
    assert len(halves.all_runs()[0].minutes) == 2 * len(whole.all_runs()[0].minutes) == 16
    assert max(halves.all_runs()[0].minutes) < max(whole.all_runs()[0].minutes)


@pytest.mark.parametrize(("name", "most"), [("multiple_stimulus", 0.75), ("triple_stimulus", 0.2)])
def test_honest_listeners_hear_a_hidden_reference_out(tmp_path: Path, name: str, most: float) -> None:
    """Nobody is asked of it, so it lies in front of the rest; guessing would leave out nearly everybody."""
    root = Path(__file__).resolve().parents[2]
    text = (
        (root / f"protocols/{name}.toml").read_text().replace("../stimuli_demo", str(root / "stimuli_demo"))
    )
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "protocol.toml").write_text(text)
    found = listening.open(folder).rehearse(runs=1, jobs=1).found.all_runs()
    assert sum(run.honest_lost for run in found) <= most * sum(run.honest for run in found)

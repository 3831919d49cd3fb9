"""Planned questions decided on panels with known truth, in memory."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import beside, decide, level_taken
from listening.records.protocols.protocol import Contrast, Protocol, Question

SIX = {"a": 0.0, "b": 0.0, "c": -0.6, "d": 0.9, "e": 0.0, "f": 0.3}
TWO = {"a": 0.0, "b": 0.0}


def question(more: str, than: str, kind: str = "more", smallest: float = 0.6, family: str = "") -> Question:
    return Question(
        id=f"{more}-{than}",
        kind=kind,
        attribute="brightness",
        presentation="matched",
        contrast=Contrast(more=more, than=than),
        smallest_effect=smallest,
        family=family,
        split_limit=0.5,
    )


def decided(table: pd.DataFrame, asked: Question, **options: object) -> decide.Decided:
    return decide.decide_question(table, asked, **options)


def unanimous(table: pd.DataFrame, name: str = "a") -> pd.DataFrame:
    """The table with `name` chosen in every study trial."""
    study = table["role"] == "study"
    return table.assign(chosen=np.where(study, (table["condition_first"] == name) * 1.0, table["chosen"]))


@pytest.mark.parametrize("repeats", [1, 4])
def test_24_of_24_choosing_one_every_time_is_supported(panel, repeats):
    table = unanimous(panel(np.random.default_rng(1), TWO, repeats=repeats))
    assert decided(table, question("a", "b")).word == "supported"
    assert decided(table, question("b", "a")).word == "contradicted"


def test_95_of_96_choices_is_supported(panel):
    table = unanimous(panel(np.random.default_rng(1), TWO, repeats=4))
    odd = np.flatnonzero(table["role"] == "study")[7]
    table.loc[odd, "chosen"] = 1 - table.loc[odd, "chosen"]
    found = decided(table, question("a", "b"))
    assert found.word == "supported"
    assert found.judged.found.share == pytest.approx(95 / 96)  # listeners answered equally often
    assert (found.judged.found.chosen, found.judged.found.of) == (95, 96)


def test_the_share_is_of_direct_answers_alone_whatever_other_pairs_say(panel):
    """Intransitive: b and a are even where they meet, but b beats c and d, and a loses to both."""
    table = panel(np.random.default_rng(8), dict.fromkeys("abcd", 0.0), repeats=4)
    study = table["role"] == "study"
    pair = [*zip(table["condition_first"], table["condition_second"], strict=True)]
    met = np.array([set(one) == {"a", "b"} for one in pair])
    better = table["condition_first"].isin(["b"]) | table["condition_second"].isin(["a"])
    worse = table["condition_first"].isin(["a"]) | table["condition_second"].isin(["b"])
    bent = table["chosen"].where(~study | met | ~(better | worse), better.astype(float))
    table = table.assign(chosen=bent)
    found = decided(table, question("b", "a"))
    rows = keyed_answers.select(table, attribute="brightness", presentation="matched")
    beside_it = {one.name: one.word for one in beside.of_question(found, rows).others}
    assert beside_it["mixed model over all conditions"] == "supported"
    assert beside.of_question(found, rows).transitivity_p < 0.001  # the page tells that they disagree
    assert found.word != "supported"
    assert found.judged.found.of == met.sum()


def test_each_listener_weighs_the_same_however_many_answers_they_gave(panel):
    """One who always chooses a and answered 20 times as often moves the share no more than another."""
    table = unanimous(panel(np.random.default_rng(1), TWO, n_listeners=10, repeats=2), "b")
    first = (table["listener"] == "L000") & (table["role"] == "study")
    one = table[first].assign(chosen=(table["condition_first"] == "a") * 1.0)
    much = pd.concat([table[~first], *[one] * 20], ignore_index=True)
    found = decided(much, question("a", "b"), about_level=True)
    assert found.judged.found.share == pytest.approx(1 / 10)
    assert found.judged.found.chosen == 40


def test_degrees_of_freedom_come_from_those_who_met_the_pair(panel):
    table = panel(np.random.default_rng(2), SIX, repeats=4)
    met = (table["condition_first"].isin(["c", "d"])) & (table["condition_second"].isin(["c", "d"]))
    few = table[~met | (table["listener"] < "L002") | (table["role"] == "control")]
    found = decided(few, question("d", "c"))
    assert found.word == "no verdict"
    assert "2 listeners" in found.reason
    nobody = decided(few[~met[few.index] | (few["role"] == "control")], question("d", "c"))
    assert (nobody.word, nobody.fitted.n_listeners) == ("no verdict", 0)


def test_a_clear_difference_is_supported_and_none_is_not(panel):
    table = panel(np.random.default_rng(2), SIX)
    assert decided(table, question("d", "c")).word == "supported"
    assert decided(table, question("b", "a")).word != "supported"


@pytest.mark.parametrize(("n_listeners", "word"), [(7, "no verdict"), (8, "supported")])
def test_below_eight_listeners_there_is_no_verdict(panel, n_listeners, word):
    table = unanimous(panel(np.random.default_rng(1), TWO, n_listeners=n_listeners, repeats=4))
    assert decided(table, question("a", "b")).word == word


def with_residual(table: pd.DataFrame, metric: str, db: dict[str, float]) -> pd.DataFrame:
    """The table with conditions apart in a level metric, as matching may leave them."""
    level = {name: db.get(name, 0.0) for name in SIX}
    study = table["role"] == "study"
    more = table["condition_first"].map(level) - table["condition_second"].map(level)
    column = f"{metric}_difference"
    return table.assign(**{column: np.where(study, more, table[column])})


def test_without_a_control_gain_at_the_residual_nothing_is_said_beyond_level(panel):
    table = with_residual(panel(np.random.default_rng(2), SIX), "lae_db", {"d": 4.0})
    assert decided(table, question("d", "c")).word == "supported"  # gains of 3 and 6 dB
    for gains in ((), (3.0,)):
        kept = table[(table["role"] == "study") | table["gain_difference_db"].abs().isin(gains)]
        found = decided(kept, question("d", "c"))
        assert found.word == "undecided"
        assert "no control gain" in found.reason
        assert found.flips


def test_a_difference_that_level_explains_is_not_supported(panel):
    """The two differ by 3 dB of level left over after a bad match, and level moves the answer."""
    level_db = {"a": 0.0, "b": 3.0}
    blind, taken = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        table = panel(rng, TWO, repeats=6, slope_logit_per_db=0.4, level_db=level_db)
        blind.append(decided(table, question("b", "a"), about_level=True).word == "supported")
        taken.append(decided(table, question("b", "a")).word == "supported")
    assert all(blind)  # the plain answer: louder is called brighter
    assert sum(taken) <= 2  # each with a chance of 0.05 at most: three or more of 8 are 0.006


def test_level_that_saturates_is_bounded_by_the_next_gain_above_it(panel):
    """At 1.5 dB it moves answers nearly as far as at 3 dB: half of a straight line would be too little."""
    rng = np.random.default_rng(11)
    table = with_residual(panel(rng, TWO, repeats=8, control_repeats=6), "lae_db", {"b": 1.5})
    louder_first = np.where(table["role"] == "study", table["lae_db_difference"], table["gain_difference_db"])
    chance = 1 / (1 + np.exp(-1.2 * np.tanh(louder_first)))
    table = table.assign(chosen=(rng.random(len(table)) < chance) * 1.0)
    assert decided(table, question("b", "a"), about_level=True).word == "supported"
    found = decided(table, question("b", "a"))
    assert found.word == "undecided"
    assert "lae_db" in found.reason
    [way] = [one for one in found.judged.level if one.metric == "lae_db"]
    assert [gain.gain_db for gain in way.gains] == [3.0]


def test_a_verdict_that_one_metric_of_level_overturns_is_undecided(panel):
    table = panel(np.random.default_rng(4), SIX, slope_logit_per_db=0.4, control_repeats=6)
    found = decided(with_residual(table, "lae_db", {"d": 4.0}), question("d", "c"))
    assert found.flips
    assert found.word == "undecided"
    assert "lae_db" in found.reason


def asked_too(table: pd.DataFrame, rng: np.random.Generator, logit: float) -> pd.DataFrame:
    """The table with the same trials asked for loudness: 0.8 logit a decibel, the pair apart by `logit`."""
    sign = (table["condition_first"] == "b").astype(float) - (table["condition_second"] == "b")
    heard = np.where(table["role"] == "study", sign * logit, 0.8 * table["gain_difference_db"])
    chosen = (rng.random(len(table)) < 1 / (1 + np.exp(-heard))) * 1.0
    return pd.concat([table, table.assign(attribute="loudness", chosen=chosen)], ignore_index=True)


def test_level_as_heard_is_one_more_way_and_bounds_what_no_meter_sees(panel):
    """Both are called b: the listeners hear b louder by their own measure, and louder is called brighter."""
    rng = np.random.default_rng(12)
    table = panel(rng, TWO, repeats=8, slope_logit_per_db=0.4, control_repeats=6)
    sign = (table["condition_first"] == "b").astype(float) - (table["condition_second"] == "b")
    heard = np.where(table["role"] == "study", 2.0 * sign, table["gain_difference_db"])
    table = table.assign(chosen=(rng.random(len(table)) < 1 / (1 + np.exp(-0.4 * heard))) * 1.0)
    table = asked_too(table, rng, 1.6)  # 2 dB louder as heard, 0 dB by every meter
    assert decided(table, question("b", "a")).word == "supported"
    found = decided(table, question("b", "a"), loudness="loudness")
    assert found.word == "undecided"
    assert "as heard" in found.reason
    assert level_taken.HEARD_UNASKED not in found.fitted.warnings
    above, below = level_taken.heard_limits_db(table, question("b", "a"), "loudness", 0.05)
    assert above == 3.0  # the control gain next above 2 dB
    assert below == -3.0  # the smallest gain there is: it is surely not softer by more


def test_level_as_heard_equal_leaves_a_clear_difference_supported(panel):
    rng = np.random.default_rng(13)
    table = asked_too(panel(rng, {"a": 0.0, "b": 1.5}, repeats=8), rng, 0.0)
    found = decided(table, question("b", "a"), loudness="loudness")
    assert found.word == "supported"
    assert {one.metric for one in found.judged.level} == {"laf_max_db", "lae_db", "as heard"}


def test_loudness_not_asked_is_a_warning_and_no_refusal(panel):
    found = decided(panel(np.random.default_rng(2), SIX), question("d", "c"), loudness="loudness")
    assert found.word == "supported"
    assert level_taken.HEARD_UNASKED in found.fitted.warnings


def test_the_verdict_does_not_depend_on_row_order_or_names_of_listeners(panel):
    table = panel(np.random.default_rng(5), SIX, n_listeners=12)
    shuffled = table.sample(frac=1, random_state=3).reset_index(drop=True)
    renamed = shuffled.assign(
        listener=shuffled["listener"].map(lambda name: f"x{int(name[1:]) * 7 % 101:03d}")
    )
    one, other = decided(table, question("d", "c")), decided(renamed, question("d", "c"))
    assert other.judged.found.share == pytest.approx(one.judged.found.share, abs=1e-12)
    assert other.judged.found.lower == pytest.approx(one.judged.found.lower, abs=1e-9)
    assert other.word == one.word


def test_exchanging_the_conditions_turns_the_share_about_even(panel):
    table = panel(np.random.default_rng(5), SIX, n_listeners=12)
    one, other = decided(table, question("d", "c")), decided(table, question("c", "d"))
    assert other.judged.found.share == pytest.approx(1 - one.judged.found.share, abs=1e-12)
    assert other.judged.found.lower == pytest.approx(1 - one.judged.found.upper, abs=1e-9)


def test_the_same_is_supported_where_nothing_differs(panel):
    table = panel(np.random.default_rng(6), TWO, repeats=24, sd_listener=0.1, sd_stimulus=0.05, order=0.1)
    found = decided(table, question("a", "b", kind="same", smallest=0.7))
    assert found.word == "supported"


def test_a_split_panel_is_not_the_same(panel):
    """Half the listeners hear more in one, half in the other: no mean effect, but a split panel."""
    table = panel(np.random.default_rng(7), TWO, repeats=8, sd_listener=0.0, sd_stimulus=0.0)
    study = table["role"] == "study"
    likes_a = table["listener"].map(lambda name: int(name[1:]) % 2 == 0)
    strong = np.random.default_rng(0).random(len(table)) < 0.85
    picks_a = np.where(strong, likes_a, ~likes_a)
    chosen = np.where(table["condition_first"] == "a", picks_a, ~picks_a) * 1.0
    table = table.assign(chosen=np.where(study, chosen, table["chosen"]))
    found = decided(table, question("a", "b", kind="same", smallest=0.7))
    assert found.word == "undecided"


def test_a_family_is_judged_by_holms_steps(panel):
    table = panel(np.random.default_rng(2), SIX)
    asked = [question("d", "c", family="x"), question("b", "a", family="x")]
    family = [decide.fit_question(table, q) for q in asked]
    by_id = {one.fitted.question.id: one for one in decide.judge_family(family)}
    assert by_id["d-c"].alpha == pytest.approx(0.02)  # the strongest of two: four fifths of 0.05, halved
    assert by_id["b-a"].alpha == pytest.approx(0.04)  # after the first fell
    nothing = [decide.fit_question(table, question(*pair)) for pair in (("b", "a"), ("a", "e"))]
    assert [one.alpha for one in decide.judge_family(nothing)] == pytest.approx([0.02, 0.02])


def test_a_refused_question_gives_its_step_to_nobody(panel):
    """Its null hypothesis may fall; as it has no verdict, the next of the family stays at the step of two."""
    table = panel(np.random.default_rng(2), SIX)
    asked = [question("d", "c", family="x"), question("b", "a", family="x")]
    first, second = (decide.fit_question(table, q) for q in asked)
    assert decide.judge(first, 0.01).judged.rejects
    made = decide.judge_family([replace(first, refused="no level is known"), second])
    assert [(one.word, one.alpha) for one in made] == [
        ("undecided", pytest.approx(0.02)),
        ("undecided", pytest.approx(0.02)),
    ]
    assert made[0].reason == "no level is known"


@pytest.mark.parametrize(
    ("limits", "wanted"),
    [
        ([(1.5, -3.0), (3.0, -1.5)], (3.0, -3.0)),
        ([(3.0, -1.5), (1.5, -3.0)], (3.0, -3.0)),
        ([(1.5, -1.5), ()], ()),
    ],
    ids=["one each", "the other way round", "one not asked"],
)
def test_of_several_pairs_level_as_heard_is_the_widest_of_either_side(monkeypatch, limits, wanted):
    pairs = {"more": "a", "than": "b", "exceeds": {"more": "d", "than": "c"}}
    asked = question("a", "b").model_copy(update={"contrast": Contrast.model_validate(pairs)})
    left = iter(limits)
    monkeypatch.setattr(level_taken, "_heard_of_pair", lambda *given: next(left))
    names = ("attribute", "role", "presentation", "gain_difference_db", "chosen", "listener")
    empty = pd.DataFrame({name: [] for name in names})
    assert level_taken.heard_limits_db(empty, asked, "loudness", 0.05) == wanted
    assert level_taken.heard_limits_db(empty, asked, None, 0.05) == ()


def test_level_is_taken_off_unless_the_question_is_about_it(panel):
    table = panel(np.random.default_rng(2), SIX)
    asked = question("d", "c")
    assert [way.metric for way in decide.fit_question(table, asked).level] != []
    assert decide.fit_question(table, asked, about_level=True).level == ()
    heard_as_recorded = asked.model_copy(update={"presentation": "as recorded"})
    assert decide.fit_question(table, heard_as_recorded).level == ()


def test_the_order_is_taken_off_unless_nobody_knows_it(panel):
    table = panel(np.random.default_rng(2), SIX)
    known = decide.fit_question(table, question("d", "c")).found
    unknown = decide.fit_question(table, question("d", "c"), ordered=False).found
    assert known.order == pytest.approx(0.05, abs=0.1)
    assert unknown.order is None


def test_loudness_is_asked_by_a_paired_comparison_of_level_alone():
    def found(*attributes: tuple[str, bool, str]) -> str | None:
        made = [SimpleNamespace(name=n, about_level=level, task=task) for n, level, task in attributes]
        return Protocol.paired_loudness.fget(SimpleNamespace(attributes=made))

    assert found(("bright", False, "paired comparison"), ("loud", True, "category rating")) is None
    assert found(("bright", False, "paired comparison"), ("loud", True, "paired comparison")) == "loud"


def test_only_the_listeners_of_its_group_decide_a_question():
    """Planned for a subgroup, or where a rule leaves some out: then the groups name who may decide."""
    table = pd.DataFrame({"listener": ["L1", "L2", "L3", "L2"]})
    asked = question("a", "b")
    among = asked.model_copy(update={"among": "some"})

    def heard(one: Question, groups: dict[str, set[str]]) -> list[str]:
        return decide.of_group(table, one, groups)["listener"].tolist()

    assert heard(asked, {}) == ["L1", "L2", "L3", "L2"]
    assert heard(asked, {"c-d": {"L1"}}) == ["L1", "L2", "L3", "L2"]
    assert heard(asked, {"a-b": {"L2", "L3"}}) == ["L2", "L3", "L2"]
    assert heard(among, {"a-b": {"L1"}}) == ["L1"]
    assert heard(among, {}) == []


def test_control_answers_are_turned_to_the_louder_of_the_two():
    """By hand: the first is 3 dB louder and chosen; the second is 2 dB louder and chosen; a tie; no gain."""
    table = pd.DataFrame(
        {
            "attribute": "brightness",
            "role": "control",
            "gain_difference_db": [3.0, -2.0, -3.0, 0.0],
            "chosen": [1.0, 0.0, 0.5, 1.0],
            "listener": ["L1", "L1", "L2", "L2"],
        }
    )
    found = level_taken.controls(table, "brightness")
    assert found.gain_db.tolist() == [3.0, 2.0, 3.0]
    assert found.louder_chosen.tolist() == [1.0, 1.0, 0.5]
    assert found.louder_first.tolist() == [1.0, 0.0, 0.0]
    assert found.listener.tolist() == ["L1", "L1", "L2"]


def test_an_effect_in_log_odds_is_the_share_of_a_listener_who_has_it():
    asked = question("a", "b").model_copy(update={"unit": "logit", "smallest_effect": np.log(3)})
    assert asked.smallest_share == pytest.approx(0.75)


def test_a_comparison_of_a_superlative_is_contradicted_at_its_even_part_of_alpha(monkeypatch):
    asked = []
    monkeypatch.setattr(decide, "judge", lambda fitted, alpha: asked.append(alpha) or "judged again")
    fitted = SimpleNamespace(question=SimpleNamespace(alpha=0.05))
    contradicted = SimpleNamespace(fitted=fitted, word="contradicted", alpha=0.05)
    supported = SimpleNamespace(fitted=fitted, word="supported", alpha=0.05)
    assert decide.contradicted_in_superlative(contradicted, 4) == "judged again"
    assert decide.contradicted_in_superlative(supported, 4) is supported
    assert asked == [0.05 / 4]

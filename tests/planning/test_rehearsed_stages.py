"""A late stage is rehearsed with the rest: its own listeners, end and questions."""

from collections.abc import Callable
from pathlib import Path

import pytest
from scipy import stats

from listening.design import slots
from listening.design.draws import Draws
from listening.intake import names
from listening.planning import criticism, reached_end, stage_parts
from listening.planning.rehearsal import promises, rehearsed
from listening.planning.rehearsal.rehearsed import Supposed
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.recordings_table import Recording
from listening.simulate.recruiting import People
from listening.steps import rehearsal_lines

Maker = Callable[..., tuple[Protocol, Manifest]]
NOBODY_LEAVES = People(0.0, 0.0)


@pytest.fixture
def staged(planned: Maker) -> tuple[Protocol, Manifest]:
    """d2 came late: 9 listeners with one spare place are asked of it, 12 with none of the first two."""
    protocol, manifest = planned(conditions=3, repeats=6, listeners=12)
    raw = protocol.model_dump(mode="json", exclude_none=True)
    raw["sessions"] = {"number": 2, "met_at_least": 2}
    raw["stopping"] = {"fewest": 10, "withdrawn": "count"}
    raw["stages"] = [{"stage": 2, "listeners": 9, "spare": 1}]
    raw["blocks"].append({**raw["blocks"][0], "stage": 2})
    late = {"id": "late", "stage": 2, "contrast": {"more": "d2", "than": "d1"}}
    raw["questions"].append({**raw["questions"][0], **late})
    return Protocol.model_validate(raw), manifest


def test_each_stage_is_a_study_of_its_own(staged: tuple[Protocol, Manifest]) -> None:
    first, late = stage_parts.of_study(*staged)
    assert {s.condition for s in first.manifest.stimuli} == {"d0", "d1"}
    assert {s.condition for s in late.manifest.stimuli} == {"d0", "d1", "d2"}
    assert (late.protocol.panel.listeners, late.protocol.panel.spare) == (9, 1)
    assert [q.id for q in first.protocol.questions] == ["q"]
    assert [q.id for q in late.protocol.questions] == ["late"]
    assert late.protocol.stopping.fewest is None  # fewer are enough for the deal alone


def test_what_came_late_is_no_part_of_the_deal(staged: tuple[Protocol, Manifest]) -> None:
    """Its budget and its rules of exclusion count what was dealt: a late sound may not make it too large."""
    protocol, manifest = staged
    heard = next(slots.unordered(protocol, manifest, Draws.open_to_all(1)))
    of = {s.stimulus: s.condition for s in manifest.stimuli}
    assert {of[sound.stimulus] for _, trial in heard for sound in trial.every} == {"d0", "d1"}


def test_questions_of_a_late_stage_are_decided_by_its_listeners(staged: tuple[Protocol, Manifest]) -> None:
    """Some miss the second session: whom the rule for that leaves in still decides the stage's question."""
    late = stage_parts.of_study(*staged)[1]
    given = Supposed(share=0.95, people=People(0.0, 0.0, misses=0.3))
    found = rehearsed.rehearse(late.protocol, late.manifest, given, runs=6, stage=2)
    assert {run.invited for run in found.all_runs()} == {9}
    hoped = [run.words["late"] for run in found.courses["as hoped"]]
    assert "no verdict" not in hoped
    assert hoped.count("supported") >= 5


def test_both_stages_stand_in_the_table_and_for_programs(staged: tuple[Protocol, Manifest]) -> None:
    given = Supposed(people=NOBODY_LEAVES)
    parts = tuple(
        rehearsed.rehearse(one.protocol, one.manifest, given, runs=1, stage=one.number)
        for one in stage_parts.of_study(*staged)
    )
    text = "\n".join(rehearsal_lines.text(parts, ()))
    assert "stage 1\nend reached" in text
    assert "stage 2\nend reached" in text
    plain = rehearsal_lines.plain(parts, ())
    told = {(row["question"], row["stage"]) for row in plain["questions"]}
    assert told == {("q", 1), ("late", 2)}
    assert plain["listeners"]["planned"] == 12
    assert [one["listeners"]["planned"] for one in plain["late_stages"]] == [9]


def test_check_says_how_likely_a_late_stage_ends(staged: tuple[Protocol, Manifest]) -> None:
    late = stage_parts.of_study(*staged)[1].protocol
    expected = stats.binom.sf(8, 10, 0.9)  # 9 of 10 places
    assert reached_end.chance(late) == pytest.approx(expected, rel=1e-9)
    told = [one for one in criticism._room(staged[0]) if one[0] == ("stages", 0)]
    assert len(told) == 1
    assert f"a chance of {expected:.2f}" in told[0][1]


@pytest.mark.slow
def test_a_superlative_is_promised_less_than_its_weakest_comparison(planned: Maker) -> None:
    """And what is promised is what whole studies show, within three standard errors of 60."""
    protocol, manifest = planned(conditions=4, repeats=10, strikes=3, listeners=24)
    raw = protocol.model_dump(mode="json", exclude_none=True)
    raw["questions"][0] |= {"kind": "same", "smallest_effect": 0.7, "split_limit": 0.5}
    top = {"id": "top", "attribute": "brightness", "presentation": "matched", "condition": "d3"}
    raw["superlatives"] = [{**top, "smallest_effect": 0.6}]
    study = Protocol.model_validate(raw), manifest
    found = rehearsed.rehearse(*study, Supposed(people=NOBODY_LEAVES), runs=60, seed=2)
    [line] = [one for one in found.lines if (one.id, one.state) == ("top", "as hoped")]
    assert line.promised is not None
    assert line.promised == pytest.approx(line.supported.share, abs=0.19)
    setting = rehearsed._setting(*study, Supposed(), "as hoped", rehearsed.budget.of_study(*study), 1)
    single = promises._of_choices(
        *study,
        promises.as_question(study[0].superlatives[0], "d0"),
        setting.hoped,
        setting.hoped.effects["brightness", "matched"].strength["d3"],
        setting.hoped.assumed,
        0.05,
    )
    assert single is not None
    assert single**3 < line.promised < single


@pytest.mark.parametrize("labels", [{}, {"*/free": "bells hung free"}])
def test_check_asks_for_words_where_a_sentence_would_say_a_bare_value(
    planned: Maker, labels: dict[str, str]
) -> None:
    raw = planned()[0].model_dump(mode="json", exclude_none=True)
    raw["recordings"]["factors"] = ["design", "support"]
    raw["labels"] = {**labels, "*/held": "bells held", "a": "bell A"}
    raw["questions"][0]["contrast"] = {"more": "*/free", "than": "*/held", "over": ["a", "b"]}
    recordings = [
        Recording(f"{d}-{h}-{s}", None, (d, h), str(s), "1", None)  # type: ignore[arg-type]
        for d in "ab"
        for h in ("free", "held")
        for s in range(3)
    ]
    path = Path("protocol.toml")
    told = [str(one) for one in names.problems(Protocol.model_validate(raw), recordings, path=path, lines={})]
    assert sum("recordings of free" in one for one in told) == (0 if labels else 1)
    assert not [one for one in told if "`a`" in one]  # a value that is averaged over may have words

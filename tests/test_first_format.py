"""A study kept in the first format opens, goes on and is decided from the same answers. Never make it anew.

The study in tests/first_format was made by version 0.1.0 from two domes of the demo, with eight made-up
listeners; its store has the very first form. Sounds, clips and curves are left out.
"""

import shutil
from pathlib import Path

import pytest

from listening import cli
from listening.analysis import full_analysis
from listening.analysis.opening import key_opening
from listening.records.dealt.plan import Plan
from listening.records.forms.frozen import Frozen, History
from listening.records.found.findings import Findings
from listening.records.keys.key import Key
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures
from listening.records.study import Study
from listening.store import open_store

KEPT = Path(__file__).parent / "first_format" / "study"


@pytest.fixture
def study(tmp_path: Path) -> Study:
    shutil.copytree(KEPT, tmp_path / "study")
    return Study(tmp_path / "study")


def test_every_file_is_read(study: Study) -> None:
    assert protocol.load(study.protocol).name == "first format"
    assert Measures.load(study.measures).version == "0.1.0"
    assert Manifest.load(study.manifest).version == "0.1.0"
    assert Plan.load(study.plan).version == "0.1.0"
    assert Findings.load(study.findings).version == "0.1.0"
    assert Key.load(study.key).clips
    assert Frozen.load(study.frozen).files
    assert History.load(study.root / "history.json").versions


def test_its_hashes_still_hold(study: Study) -> None:
    plan = Plan.load(study.plan)
    assert Manifest.load(study.manifest).digest() == plan.manifest_digest
    assert Key.load(study.key).sealed_digest() == plan.key_digest
    assert protocol.digest(study.protocol) == plan.protocol_digest


def test_its_store_is_brought_up_and_goes_on(study: Study) -> None:
    store = open_store(study.answers, create=False)
    assert len(store.answers()) == 96
    assert {row.slot for row in store.sittings()} == set(range(8))
    assert all(row.finished_at for row in store.sittings())
    digest = Plan.load(study.plan).study_digest
    assert (
        store.start_sitting("L01", slots=[0, 1], study_digest=digest).slot == 0
    )  # people have their own slots
    store.close()


def test_it_is_decided_as_it_was_or_says_by_which_other_rule(study: Study) -> None:
    before = Findings.load(study.findings)
    after = full_analysis.run(study, now=lambda: "2030-01-01T00:00:00+00:00")
    assert {q.decided_by for q in before.questions} == {"logistic mixed model"}  # as its version had it
    assert {q.decided_by for q in after.questions} == {"direct share"}
    assert after.method.deciding != before.method.deciding  # no verdict changes in silence
    for old, new in zip(before.questions, after.questions, strict=True):
        assert new.n_answers == old.n_answers
        assert (new.n_direct, new.n_direct_more) == (old.n_direct, old.n_direct_more)
        assert new.share is not None
        assert new.share.value == pytest.approx(new.n_direct_more / new.n_direct)  # equally many answers each
        assert old.estimate is not None
        assert new.estimate is not None
        assert new.estimate.value == pytest.approx(old.estimate.value, abs=0.005)  # printed to 2 places
    assert after.digests == before.digests


def test_verify_says_which_method_decided_it_and_what_the_new_one_says(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    before = Findings.load(study.findings)
    assert cli.main(["verify", str(study.root)]) == 1
    said = capsys.readouterr().out
    assert "decided otherwise now" in said
    for q in before.questions:
        rule = before.method.df_rule
        assert f"{q.id}: {q.word} by logistic mixed model (degrees of freedom {rule}); " in said
    assert said.count(" by direct share") == len(before.questions)


def test_a_changed_file_is_still_found(study: Study) -> None:
    text = study.protocol.read_text()
    study.protocol.write_text(text.replace("smallest_effect = 0.6", "smallest_effect = 0.5"))
    with pytest.raises(Exception, match=r"protocol\.toml"):
        key_opening.look(study, now=lambda: "2030-01-01T00:00:00+00:00")

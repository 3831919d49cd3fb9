"""The page from question to protocol: each of its examples is a whole protocol that can be dealt."""

import re
from pathlib import Path

import pytest

from listening.planning import budget, criticism, stand_in
from listening.records.protocols import protocol
from listening.records.sounds import recordings_table

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "docs" / "guides" / "questions.md").read_text()
TOML = re.compile(r"```toml\n(.*?)```", re.S)
HEADED = re.split(r"^### ", PAGE, flags=re.M)
BASE = TOML.findall(HEADED[0])[0].replace("../stimuli_demo", str(ROOT / "stimuli_demo"))
EXAMPLES = {part.splitlines()[0]: "\n".join(TOML.findall(part)) for part in HEADED[1:]}


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_an_example_is_a_protocol_that_can_be_dealt(name: str, tmp_path: Path) -> None:
    path = tmp_path / "protocol.toml"
    path.write_text(f"{BASE}\n{EXAMPLES[name]}")
    chosen = protocol.load(path)
    recordings = recordings_table.load(chosen, path)
    own = budget.of_study(chosen, stand_in.manifest(chosen, recordings))
    assert own.seconds > 0
    told = criticism.criticise(chosen, recordings, path, own=own)
    assert not [p for p in told if "no listener compares" in p.found or "cannot be dealt" in p.found]


def test_every_example_has_a_question() -> None:
    assert len(EXAMPLES) >= 7
    assert all("[[questions]]" in text for text in EXAMPLES.values())


def test_metrics_of_the_page_are_those_of_the_register() -> None:
    from listening.records.kinds import metric_register

    told = re.findall(
        r"^\| (`[a-z_0-9]+`(?:, `[a-z_0-9]+`)*) \|", PAGE.split("## What each metric means")[1], re.M
    )
    names = [name.strip("`") for row in told for name in row.split(", ")]
    assert len(names) >= 6
    assert set(names) <= {metric.key for metric in metric_register.ALL}

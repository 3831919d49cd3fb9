"""One home of the kinds of planned question: what asks for words by kind has them for every kind."""

import ast
from pathlib import Path

import pytest

from listening.records.kinds import question_kinds
from listening.records.protocols.questions import Question
from listening.report.sentences import kind_words, language

ROOT = Path(__file__).resolve().parents[2]
HOMES = {"records/kinds/question_kinds.py", "report/sentences/kind_words.py"}
KINDS = [kind.name for kind in question_kinds.ALL]


def _asked(**changed: object) -> Question:
    plain = {
        "id": "q",
        "kind": "more",
        "attribute": "brightness",
        "presentation": "matched",
        "contrast": {"more": "b", "than": "a"},
        "smallest_effect": 0.6,
    }
    return Question.model_validate(plain | changed)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_its_words_in_every_language(kind: str) -> None:
    assert kind in kind_words.OF
    for words in language.known():
        assert words.list_of("claim", kind), (words.code, kind)


def test_same_alone_has_a_limit_on_listeners_outside() -> None:
    assert _asked(kind="same").outside_limit == 0.25
    assert _asked().outside_limit is None
    assert _asked(kind="audible", unit="share not guessed", smallest_effect=0.2).outside_limit is None


def test_only_more_has_a_direction_and_only_audible_rests_on_right_answers() -> None:
    assert [k.name for k in question_kinds.ALL if k.has_direction] == ["more"]
    assert [k.name for k in question_kinds.ALL if k.by_right_answers] == ["audible"]
    assert [k.name for k in question_kinds.ALL if k.is_equivalence] == ["same"]


def test_nothing_else_compares_a_question_with_the_name_of_a_kind() -> None:
    """`q.kind == "same"` anywhere else would be a second home of what a kind means."""
    found = []
    for path in sorted((ROOT / "listening").rglob("*.py")):
        name = str(path.relative_to(ROOT / "listening"))
        if name in HOMES:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Compare) and isinstance(node.left, ast.Attribute):
                of = ast.unparse(node.left)
                names = {c.value for c in ast.walk(node) if isinstance(c, ast.Constant)}
                if node.left.attr == "kind" and names & set(KINDS) and not of.startswith(("args.", "a.")):
                    found.append(f"{name}:{node.lineno}: {ast.unparse(node)}")
    assert not found

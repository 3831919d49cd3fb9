"""The line of every key: arrays of tables, inline tables, strings that look like keys."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from listening.records.forms.toml_lines import line_of, lines

PROTOCOLS = sorted((Path(__file__).resolve().parents[2] / "protocols").glob("*.toml"))

TEXT = '''\
# comment with [brackets] and a = 1
format = 1
"quoted key" = 'x = 2'

[sitting]  # header
welcome = """
not = "a key"
[nor.a.table]
"""
gap_s = 0.5
points = [
  1, 2,  # two
  { more = "a", less = "b" },
  ["x",
   "y"],
]

[[questions]]
id = "one"
contrast = { more = "d/free", than = "c/free" }

[[questions]]
id = "two"
a.b = 3
[questions.deep]
x = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("format",), 2),
        (("quoted key",), 3),
        (("sitting",), 5),
        (("sitting", "welcome"), 6),
        (("sitting", "gap_s"), 10),
        (("sitting", "points"), 11),
        (("sitting", "points", 1), 12),
        (("sitting", "points", 2, "less"), 13),
        (("sitting", "points", 3, 1), 15),
        (("questions", 0), 18),
        (("questions", 0, "contrast", "than"), 20),
        (("questions", 1, "id"), 23),
        (("questions", 1, "a", "b"), 24),
        (("questions", 1, "deep", "x"), 26),
    ],
)
def test_a_key_is_found_on_its_line(path: tuple[int | str, ...], line: int) -> None:
    assert lines(TEXT)[path] == line


def test_what_is_not_written_is_found_at_the_table_around_it() -> None:
    assert line_of(lines(TEXT), ("questions", 1, "alpha")) == 22
    assert line_of(lines(TEXT), ("nothing",)) is None


def _paths(value: object, path: tuple[int | str, ...] = ()) -> list[tuple[int | str, ...]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [p for k, v in items for p in [(*path, k), *_paths(v, (*path, k))]]


@pytest.mark.parametrize("path", PROTOCOLS, ids=lambda p: p.name)
def test_every_key_that_the_standard_reader_sees_has_a_line(path: Path) -> None:
    text = path.read_text()
    assert set(_paths(tomllib.loads(text))) == set(lines(text))


VALUES = st.recursive(
    st.one_of(
        st.integers(), st.booleans(), st.sampled_from(['"a = 1"', "'[b]'", '"""\nx\n"""', "1.5", '"#"'])
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda v: "[" + ", ".join(map(str, v)).replace("True", "true") + "]"),
        st.dictionaries(st.sampled_from(["a", "b-c", '"d e"']), inner, max_size=2).map(
            lambda v: "{" + ", ".join(f"{k} = {x}" for k, x in v.items()) + "}"
        ),
    ),
    max_leaves=6,
)


@settings(deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])  # not timed
@given(st.lists(VALUES, max_size=5))
def test_any_valid_text_is_read_like_the_standard_reader_reads_it(values: list[object]) -> None:
    text = "".join(
        f"k{i} = {str(v).replace('True', 'true').replace('False', 'false')}\n" for i, v in enumerate(values)
    )
    assert set(_paths(tomllib.loads(text))) == set(lines(text))

"""What `make mutants` puts its faults into, and which tests it asks, are there."""

from tests import mutants


def test_every_file_and_every_test_that_is_named_exists() -> None:
    named = [*mutants.GUARDS, *(test for tests in mutants.GUARDS.values() for test in tests)]
    assert [name for name in named if not (mutants.ROOT / name).is_file()] == []
    assert len(mutants.GUARDS) > 50


def test_a_fault_is_put_into_each_kind_of_place(tmp_path) -> None:  # type: ignore[no-untyped-def]
    source = (
        "def f(a, b):\n    if a < 2:\n        return max(a, -b)\n    a.x = a + 0.5\n    return a and not b\n"
    )
    (tmp_path / "one.py").write_text(source)
    found = {(one.line, one.before, one.after) for one in mutants.mutants_of("one.py", tmp_path)}
    assert found == {
        (2, "<", "<="),
        (2, "2", "3"),
        (2, "a < 2", "(True)"),
        (2, "a < 2", "(False)"),
        (3, "max", "min"),
        (3, "-b", "b"),
        (4, "a.x = a + 0.5", "pass"),
        (4, "+", "-"),
        (4, "0.5", "0.51"),
        (5, "and", "or"),
        (5, "not b", "b"),
    }

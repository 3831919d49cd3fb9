"""The notebook in the documentation is run, and a cell that fails stops the page."""

import importlib.util
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
SPEC = importlib.util.spec_from_file_location("run_notebook", DOCS / "run_notebook.py")
assert SPEC is not None
assert SPEC.loader is not None
run_notebook = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(run_notebook)


def test_cells_are_text_and_code_in_their_order() -> None:
    text = "# %% [markdown]\n# # Head\n#\n# word\n# %%\nx = 1\nx\n"
    assert run_notebook.cells(text) == [("markdown", "# Head\n\nword"), ("code", "x = 1\nx")]


def test_a_cell_shows_what_it_prints_and_its_last_value() -> None:
    names: dict[str, object] = {}
    assert run_notebook.output("print('a')\nx = 2\nx + 1", names) == "a\n3"
    assert run_notebook.output("x", names) == "2"


def test_a_cell_that_fails_stops_the_page() -> None:
    with pytest.raises(ZeroDivisionError):
        run_notebook.output("1 / 0", {})


@pytest.mark.slow
def test_the_bells_notebook_runs_from_sounds_to_a_figure_and_a_fit() -> None:
    made = DOCS / "notebooks" / "made"
    made.mkdir(exist_ok=True)
    page = run_notebook.page(DOCS / "notebooks" / "bells.py", made)
    assert page.startswith("# From sounds to a figure and a fit")
    assert "dome_c/free" in page
    assert "![" in page
    assert "50 correct of 40 trials" in page

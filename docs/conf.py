"""The documentation site: `make docs` builds it from Markdown and from the docstrings."""

import re
import sys
from functools import partial
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

import made_pages  # noqa: E402
from docutils.nodes import SkipNode  # noqa: E402
from docutils.utils.math import latex2mathml  # noqa: E402
from sphinx.domains.python import PythonDomain  # noqa: E402
from sphinx.ext.napoleon import NumpyDocstring  # noqa: E402

from listening import __version__  # noqa: E402

project = "listening"
author = "The listening contributors"
project_copyright = author
release = version = __version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_default_options = {"members": True, "undoc-members": False, "show-inheritance": True}
autodoc_inherit_docstrings = False
autodoc_use_type_comments = False  # there are none; looking for them reads every source again
napoleon_google_docstring = False
napoleon_use_rtype = False
exclude_patterns = ["build"]
suppress_warnings = ["ref.python"]
suppress_warnings += ["myst.xref_missing"]  # of included pages; tests check the others

html_math_renderer = "mathml"
html_theme = "furo"
html_title = f"listening {__version__}"
html_static_path: list[str] = []

made_pages.write_all()


class OwnNames(PythonDomain):
    """Looks only for names that some page describes: most of a signature (int, FloatArray) is nobody's here.

    Sphinx compares every other name with every object of the reference, a third of the whole build.
    """

    def find_obj(self, env: Any, modname: Any, classname: Any, name: str, *how: Any, **more: Any) -> Any:
        if len(self.objects) != getattr(self, "_counted", -1):
            self._counted = len(self.objects)
            self._last = {known.rpartition(".")[2] for known in self.objects}
        if name.removesuffix("()").rpartition(".")[2] not in self._last:
            return []
        return super().find_obj(env, modname, classname, name, *how, **more)


# the words below a field are a sentence, never "type: what it is"
NumpyDocstring._parse_attribute_docstring = NumpyDocstring._consume_to_end
ARRAY = re.compile(r"ndarray\[tuple\[Any, \.\.\.\], dtype\[float64\]\]")


def shorter(
    app: Any, what: str, name: str, of: Any, options: Any, given: str | None, gives: str | None
) -> tuple[str | None, str | None] | None:
    """Signatures as the source writes them: FloatArray. A module has none."""
    if given is None:
        return None
    return ARRAY.sub("FloatArray", given), gives and ARRAY.sub("FloatArray", gives)


def sources_apart(app: Any, what: str, name: str, of: Any, options: Any, lines: list[str]) -> None:
    """`Source: ...` ends what was raised; it is no exception."""
    for at in [n for n, line in enumerate(lines) if line.startswith("Source: ")][::-1]:
        if any(line.startswith("---") for line in lines[:at]):
            lines[at:at] = ["Notes", "-----"]


def as_mathml(self: Any, node: Any, *, is_block: bool) -> None:
    """A formula that a browser draws by itself: no script and no font from elsewhere."""
    self.body.append(latex2mathml.tex2mathml(node.astext(), as_block=is_block))
    raise SkipNode


def setup(app: Any) -> None:
    """Sphinx asks for this."""
    app.add_domain(OwnNames, override=True)
    app.connect("autodoc-process-signature", shorter)
    app.connect("autodoc-process-docstring", sources_apart, priority=400)  # before it is read as sections
    inline, block = (partial(as_mathml, is_block=is_block) for is_block in (False, True))
    app.add_html_math_renderer("mathml", (inline, None), (block, None))

"""The report page: findings in, one self-contained HTML text out."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import jinja2

from listening.records.forms.text import plain
from listening.records.found.comparison import Comparison
from listening.records.found.findings import Findings
from listening.report import rounding
from listening.report.figures import captioned_figures, strike_curves
from listening.report.figures.sounds.curves import Curves
from listening.report.page import (
    cards,
    compared_section,
    heard_words,
    imported_words,
    method_words,
    page_clips,
    record_words,
    style,
    top,
)
from listening.report.sentences import language
from listening.report.tables import (
    comparison_tables,
    covariate_tables,
    finding_tables,
    grade_tables,
    heard_tables,
    model_tables,
    panel_tables,
    ringing_tables,
    session_tables,
)

HERE = Path(__file__).parent
CONTENTS = (
    ("effects", "Effects"),
    ("strengths", "Strengths"),
    ("level", "Level, brightness, decay"),
    ("listeners", "Listeners"),
    ("measured", "Measured"),
    ("compared", "Compared"),
    ("stimuli", "Stimuli"),
    ("method", "Method"),
    ("deviations", "Deviations"),
    ("cautions", "Cautions"),
    ("hashes", "Hashes"),
)


LIMITS = (
    "One kind of limits everywhere: two-sided, around an estimate, with what they cover beside them; those "
    "of a planned question leave out its error rate on either side. A share is of choices over listeners and "
    "recorded strikes; even chances are one half."
)


def render(
    found: Findings,
    *,
    stimuli: Path | None = None,
    strikes: Sequence[Curves] = (),
    compared: Sequence[Comparison] = (),
) -> str:
    """The whole page.

    Parameters
    ----------
    stimuli : folder of the prepared stimuli, to embed one strike of each condition; None leaves them out
    strikes : curves of one strike of each condition, from `traces.load`
    compared : what `measure` found of the two values of a factor
    """
    parts = _frame(found) | _decided(found) | _described(found) | _explained(found) | _documented(found)
    parts["top"] = top.of(found, parts["cards"], parts["superlatives"])
    parts["trace_figures"] = [captioned_figures.Shown(*made) for made in strike_curves.figure_list(strikes)]
    parts["partials"] = ringing_tables.partials(strikes)
    parts |= {"compared": compared_section.of_all(compared), "same": comparison_tables.SAME}
    if not compared:
        parts["contents"] = [row for row in parts["contents"] if row[0] != "compared"]
    parts["sounds"] = page_clips.of_questions(found, stimuli)
    return plain(environment().get_template("page.html.jinja").render(parts))


def style_sheet() -> str:
    """The colours and the style sheet of pages."""
    return style.variables() + (HERE / "page.css").read_text(encoding="utf-8")


@cache
def environment() -> jinja2.Environment:
    """Where the templates of this folder are filled in."""
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _frame(found: Findings) -> dict[str, Any]:
    """What surrounds the findings, and how numbers are printed."""
    left_out = imported_words.LEFT_OUT if found.imported else ()
    return {
        "f": found,
        "css": style_sheet(),
        "contents": [(anchor, name) for anchor, name in CONTENTS if anchor not in left_out],
        "languages": {words.code: words.words["name"] for words in language.known()},
        "limits_said": LIMITS,
        "level": rounding.level,
        "in_hundred": rounding.in_hundred,
        "number": rounding.number,
    }


def _decided(found: Findings) -> dict[str, Any]:
    """Verdicts and what they rest on."""
    return {
        "cards": cards.of_questions(found),
        "superlatives": cards.of_superlatives(found),
        "counts": panel_tables.counts(found),
        "effect_figures": captioned_figures.of_effects(found),
        "effects": finding_tables.effects(found),
        "discriminated": finding_tables.discriminated(found),
        "rated": finding_tables.rated(found),
        "behind": finding_tables.behind(found),
        "spread": finding_tables.spread(found),
        "sensitivity": finding_tables.sensitivity(found),
        "level_checks": finding_tables.level_checks(found),
    }


def _described(found: Findings) -> dict[str, Any]:
    """What describes and decides nothing."""
    return {
        "strength_sets": captioned_figures.of_strengths(found),
        "graded": [
            {
                "grades": grade_tables.grades(one),
                "hidden_reference": grade_tables.hidden_reference(one),
                "ranks": grade_tables.ranks(one),
                "note": one.note,
            }
            for one in found.graded
        ],
        "listener_covariates": covariate_tables.of_listeners(found),
        "slopes": model_tables.slopes(found),
        "side_by_side": model_tables.side_by_side(found) if found.side_by_side else None,
        "explanations": model_tables.explanations(found),
        "unexplained": [
            f"No slopes for {e.attribute}, {e.presentation}: {e.note}."
            for e in found.explanations
            if not e.slopes
        ],
    }


def _explained(found: Findings) -> dict[str, Any]:
    """How much level, brightness and decay account for, and heard against measured."""
    return {
        "share_figures": captioned_figures.of_shares(found),
        "shares": heard_tables.shares(found),
        "shares_beside": heard_tables.beside(found),
        "share_lines": heard_words.of_shares(found),
        "no_shares": heard_words.without_shares(found),
        "steps": heard_tables.steps(found),
        "heard": captioned_figures.of_heard(found),
        "heard_lines": heard_words.of_lines(found),
        "heard_table": heard_tables.heard(found),
        "joint": heard_tables.joint(found),
        "joint_lines": heard_words.of_joint(found),
        "played": heard_tables.played(found),
    }


def _documented(found: Findings) -> dict[str, Any]:
    """Who listened, what was played, how it was done."""
    words = imported_words if found.imported else method_words
    return {
        "listener_figures": captioned_figures.of_listeners(found),
        "listeners": panel_tables.listeners(found),
        "sessions": session_tables.questions(found.sessions) if found.sessions else None,
        "session_lines": session_tables.lines(found),
        "conditions": panel_tables.conditions(found),
        "matching": method_words.matching(found),
        "stimuli": panel_tables.stimuli(found),
        "method": words.method(found),
        "deviations": words.deviations(found),
        "record": record_words.of_record(found),
        "said": panel_tables.said(found),
        "rooms": panel_tables.rooms(found),
        "cautions": imported_words.cautions() if found.imported else method_words.cautions(found),
        "hashes": panel_tables.hashes(found),
    }

"""Findings on which the drafts are judged: those of findings.json taken as people's, more questions added.

Three units of domes A to D were recorded, one of E and F. Whatever is changed here is written out below.
"""

from pathlib import Path

from listening.records.found.claimed_ratio import ClaimedRatioFinding
from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.interval import Interval
from listening.records.protocols.conducted import Conducted, Sampled

HERE = Path(__file__).parent
NAMES = {letter: f"dome {letter} (hung free)" for letter in "ABCDEF"} | {}
UNITS = {"a": 3, "b": 3, "c": 3, "d": 3, "e": 1, "f": 1}
CONDUCTED = Conducted(
    first_day="2026-11-20",
    last_day="2026-11-24",
    run_by="the maker’s own laboratory",
    heard_over="headphones",
    sampled=tuple(
        Sampled(
            condition=f"dome_{letter}/free",
            n_specimens=units,
            recordings=tuple(f"dome_{letter}-free-{strike}" for strike in (1, 2, 3)),
        )
        for letter, units in UNITS.items()
    ),
)
FACTOR = ClaimedRatioFinding(
    claimed=1.4,
    metric="decay_s",
    ratio=Interval(value=1.52, lower=1.48, upper=1.55, coverage=0.9),
    n_more=3,
    n_than=3,
    measured="supported",
    word="supported",
    reason="",
)


def made() -> Findings:
    """The findings."""
    read = Findings.load(HERE / "findings.json")
    asked = {q.id: q for q in read.questions}
    asked["f-longer-than-e"] = asked["f-longer-than-e"].model_copy(update={"claimed_ratio": FACTOR})
    more = [*asked.values(), *_added(asked)]
    return read.model_copy(
        update={"simulated": False, "cautions": (), "questions": tuple(more), "conducted": CONDUCTED}
    )


def _added(asked: dict[str, QuestionFinding]) -> list[QuestionFinding]:
    bright, same, long = (
        asked[name] for name in ("d-brighter-than-c", "b-as-loud-as-a-matched", "b-longer-than-a")
    )
    told = {
        "id": "d-told-from-c",
        "kind": "audible",
        "task": "triangle",
        "wording": "Which of the three sounds is the odd one?",
        "attribute": "difference",
        "comparative": "different",
        "guess": 1 / 3,
        "unit": "share not guessed",
        "smallest_effect": 0.15,
        "n_direct": 96,
        "n_direct_more": 70,
        "share": Interval(value=0.73, lower=0.62, upper=0.82, coverage=0.9),
        "share_not_guessed": Interval(value=0.59, lower=0.43, upper=0.73, coverage=0.9),
    }
    alike = {
        "id": "a-rings-like-c",
        "attribute": "ringing",
        "comparative": "longer-ringing",
        "wording": long.wording,
        "about_level": False,
        "more": "dome_a/free",
        "more_label": "dome A (hung free)",
        "than": "dome_c/free",
        "than_label": "dome C (hung free)",
    }
    against = {
        "id": "e-brighter-than-f",
        "word": "contradicted",
        "n_direct_more": 20,
        "more": "dome_e/free",
        "more_label": "dome E (hung free)",
        "than": "dome_f/free",
        "than_label": "dome F (hung free)",
        "share": Interval(value=0.42, lower=0.31, upper=0.54, coverage=0.9),
    }
    edited = {
        "id": "bright-brighter-than-dull",
        "presentation": "isolated",
        "more": "bright/short",
        "more_label": "the dome made brighter",
        "than": "dull/short",
        "than_label": "the dome as it is",
    }
    return [
        bright.model_copy(update=told),
        same.model_copy(update=alike),
        bright.model_copy(update=against),
        bright.model_copy(update=edited),
    ]

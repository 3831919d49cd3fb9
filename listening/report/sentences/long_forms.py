"""The long form: for a press release or a web page, a paragraph that needs no footnote to be true."""

from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.report.sentences import facts, footnotes, slots
from listening.report.sentences.language import Language

TOLD = ("more", "preferred", "edited_more", "edited_preferred")


def of_question(q: QuestionFinding, found: Findings, words: Language) -> str:
    """The paragraph; empty where a question has none."""
    name = facts.claim(q)
    if name not in TOLD or q.unit == "points":
        return ""
    filled = {key: texts[0] for key, texts in slots.of_question(q, found, words)[0].items()}
    filled["More"] = filled["more"][:1].upper() + filled["more"][1:]
    for key in ("training", "training_plain"):
        known = words.words["words"].get(key, {})
        filled[key] = str(known.get(found.panel.training, found.panel.training))
    filled["stands_for"] = found.panel.stands_for
    if q.share is not None:
        filled |= footnotes.share(q.share, words)
    keys = [
        "opening_edited" if name.startswith("edited") else "opening",
        "asked",
        name,
        *(["tied"] if q.n_direct_no_difference else []),
        *(["estimate"] if q.share is not None else []),
        "closing",
    ]
    return " ".join(words.text("long", key).format(**filled) for key in keys)

"""Drafts that call one thing the most of a set."""

import re
from collections.abc import Iterator

from listening.records.findings import Findings, SuperlativeFinding
from listening.report.claims import claim_reading
from listening.report.claims.claim_reading import Names
from listening.report.claims.claim_reasons import Unsupported
from listening.report.page import reasons
from listening.report.sentences import sentences, wording

IN_WORDS = {3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight", 9: "nine", 10: "ten"}


def short(s: SuperlativeFinding, found: Findings) -> Iterator[str]:
    """Shorter ways to print a supported superlative; each keeps how it was heard, and of how many."""
    played = wording.where(s.presentation, found)
    n = len(s.against) + 1
    of_n = [
        f"of {the}{count} compared" for the in ("", "the ") for count in (str(n), IN_WORDS.get(n, str(n)))
    ]
    for verb in ("is heard as", "sounds", "was heard as"):
        for tail in of_n:
            claim = f"{s.label} {verb} {wording.superlative(s.comparative)} {tail}"
            yield f"{played}, {claim}"
            yield f"{claim} {played.lower()}"


def said(text: str, found: Findings, called: dict[str, Names]) -> tuple[str, tuple[Unsupported, ...]] | None:
    """What a draft that names a planned superlative of this study gets: its id, and what is missing."""
    for s in found.superlatives:
        the_most = claim_reading.plain(wording.superlative(s.comparative))
        if not re.search(rf"(?<!\w){re.escape(the_most)}(?!\w)", text):
            continue
        own = called.get(s.condition)
        if own is None or claim_reading.place(text, own.every) is None:
            planned = f"planned as {the_most} was {s.label} alone ({s.id}: {s.word})"
            return s.id, (Unsupported(the_most, planned),)
        if s.word != "supported":
            why = f"planned, but {s.word}: {reasons.superlative(s)}"
            return s.id, (Unsupported(the_most, why),)
        n = len(s.against) + 1
        wanted = (
            f"it holds of the {n} compared here, as heard in this test; print it as it stands: "
            f"“{sentences.superlative(s, found)}”, or in short: “{next(short(s, found))}”"
        )
        return s.id, (Unsupported(the_most, wanted),)
    return None

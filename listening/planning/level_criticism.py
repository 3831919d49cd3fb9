"""Whether control pairs bound the level that matching leaves over: as expected, and as measured."""

from collections.abc import Iterator
from itertools import product

from listening.records.forms.toml_lines import Path as KeyPath
from listening.records.kinds import tasks
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from listening.records.sounds.manifest import Manifest

Objection = tuple[KeyPath, str, str]  # key, found, wanted

EXPECTED_DB = 1.5  # our own rule: the demo's strikes, matched in one metric, stay within 1.3 dB
FAR_ABOVE = 2.0  # a next gain beyond so many times the residual bounds it, but loosely
LEVEL_METRICS = {"laf_max_db": "LAFmax", "lae_db": "LAE", "loudness_level_phon": "loudness level"}


def expected(protocol: Protocol) -> Iterator[Objection]:
    """Objections before any sound is made."""
    for i, question in _beyond_level(protocol):
        gains = gains_db(protocol, question.attribute)
        said = _said(gains, EXPECTED_DB)
        if said:
            yield (
                ("questions", i),
                said,
                f"a control gain of {EXPECTED_DB:g} dB or just above for its attribute",
            )
        if _heard_unasked(protocol, question):
            yield (
                ("questions", i),
                "a pair that nobody is asked which is louder of, so level as it is heard has no say",
                "of_all_questions = true in the block of loudness",
            )


def measured(protocol: Protocol, manifest: Manifest) -> list[str]:
    """One line for each question whose residual the control pairs do not bound, or bound loosely."""
    made = []
    for _, question in _beyond_level(protocol):
        found = largest_residual(manifest, question)
        if found is None:
            continue
        metric, residual_db = found
        if said := _said(gains_db(protocol, question.attribute), residual_db):
            made.append(
                f"{question.id}: its two stay up to {residual_db:.1f} dB apart in {LEVEL_METRICS[metric]}: "
                f"{said}; wanted a control gain at it or just above"
            )
    return made


def largest_residual(manifest: Manifest, question: Question) -> tuple[str, float] | None:
    """The level metric in which two strikes of a pair differ most, and by how much; None without any."""
    of = {
        name: [s for s in manifest.stimuli if (s.condition, s.presentation) == (name, question.presentation)]
        for name in question.contrast.conditions
    }
    apart = [
        (abs(one - other), metric)
        for more, than in question.contrast.pairs
        for a, b in product(of[more], of[than])
        for metric in LEVEL_METRICS
        if (one := a.after.get(metric)) is not None and (other := b.after.get(metric)) is not None
    ]
    return (max(apart)[1], max(apart)[0]) if apart else None


def gains_db(protocol: Protocol, attribute: str) -> list[float]:
    """Gains of an attribute's control pairs that differ in level, growing."""
    return sorted({g for c in protocol.controls if c.attribute == attribute for g in c.gains_db if g > 0})


def _beyond_level(protocol: Protocol) -> Iterator[tuple[int, Question]]:
    for i, question in enumerate(protocol.questions):
        attribute = protocol.attribute(question.attribute)
        compared = attribute.task == tasks.PAIRED_COMPARISON.name and not attribute.about_level
        if compared and question.presentation != AS_RECORDED:
            yield i, question


def _said(gains: list[float], residual_db: float) -> str:
    above = [g for g in gains if g * 1.1 >= residual_db]  # as near as the analysis takes for the same
    if not gains:
        return "no control pairs: nothing would be said beyond level"
    if not above:
        return f"control pairs up to {gains[-1]:g} dB: what is left of level has no bound"
    if above[0] > FAR_ABOVE * max(residual_db, EXPECTED_DB):
        return f"no control pair below {above[0]:g} dB: level’s part is taken as large as that"
    return ""


def _heard_unasked(protocol: Protocol, question: Question) -> bool:
    asked = [a.name for a in protocol.attributes if a.about_level and a.task == tasks.PAIRED_COMPARISON.name]
    if not asked:
        return False
    known = [
        set(pair)
        for q in protocol.questions
        if q.attribute in asked and q.presentation == question.presentation
        for pair in q.contrast.pairs
    ]
    own = [all(set(pair) in known for pair in question.contrast.pairs)]
    whole = (
        b.pairs != "planned" or b.of_all_questions
        for b in protocol.blocks
        if b.attribute in asked and b.presentation == question.presentation
    )
    blocks = [b for b in protocol.blocks if b.attribute in asked and b.presentation == question.presentation]
    return bool(blocks) and not any(own) and not any(whole)

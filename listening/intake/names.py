"""Whether a protocol and its recordings table speak of the same conditions, and whether they can decide."""

from collections.abc import Iterator
from pathlib import Path

from listening.records.forms.form import place
from listening.records.forms.problem import Problem
from listening.records.forms.toml_lines import Path as KeyPath
from listening.records.forms.toml_lines import line_of
from listening.records.protocols.contrasts import EVERY, Contrast
from listening.records.protocols.protocol import AS_RECORDED, ISOLATED, Protocol
from listening.records.protocols.protocol_names import DISCRIMINATION, RATED, suggestion
from listening.records.sounds import recordings_table
from listening.records.sounds.recordings_table import Recording

FEWEST_STRIKES = 3  # below, strikes cannot be told from the design: design.md rule 2
FEWEST_LISTENERS = 8  # below, there is no verdict

Finding = tuple[KeyPath, str, str, str]  # key, found, wanted, severity


def problems(
    protocol: Protocol, recordings: list[Recording], *, path: Path, lines: dict[KeyPath, int]
) -> list[Problem]:
    """What in the protocol does not fit the recordings, and what will not bear a verdict.

    Parameters
    ----------
    lines : on which line of the protocol each key stands
    """
    conditions = recordings_table.conditions(recordings)
    findings = [
        *_unknown_levels(protocol, recordings),
        *_unknown_conditions(protocol, conditions),
        *_impossible(protocol),
        *_superlatives_at_looks(protocol),
        *_unnamed(protocol),
        *_weak(protocol),
        *_few_strikes(recordings),
    ]
    return [
        Problem(str(path), place(key), found, wanted, line_of(lines, key), severity)
        for key, found, wanted, severity in findings
    ]


def _unknown_levels(protocol: Protocol, recordings: list[Recording]) -> Iterator[Finding]:
    for factor, levels in protocol.recordings.use.items():
        key: KeyPath = ("recordings", "use", factor)
        if factor not in protocol.recordings.factors:
            known = protocol.recordings.factors
            yield key, f"`{factor}`", f"a factor: {', '.join(known)}{suggestion(factor, known)}", "error"
            continue
        present = {r.factors[protocol.recordings.factors.index(factor)] for r in recordings}
        for level in levels:
            if level not in present:
                yield key, f"`{level}`", f"a level that the table has, such as {sorted(present)}", "error"


def _unknown_conditions(protocol: Protocol, conditions: list[str]) -> Iterator[Finding]:
    used: list[tuple[KeyPath, str, str]] = []
    made: list[str] = []
    if protocol.isolation is not None:
        made = protocol.isolation.conditions
        used.append((("isolation", "base"), protocol.isolation.base, "error"))
        if protocol.isolation.toward is not None:
            used.append((("isolation", "toward"), protocol.isolation.toward, "error"))
    for i, question in enumerate(protocol.questions):
        known = made if question.presentation == ISOLATED else conditions
        for ends in question.contrast.pairs:
            for end, name in zip(("more", "than"), ends, strict=True):
                yield from _unknown(("questions", i, "contrast", end), name, known)
    for i, superlative in enumerate(protocol.superlatives):
        known = made if superlative.presentation == ISOLATED else conditions
        yield from _unknown(("superlatives", i, "condition"), superlative.condition, known)
    for i, control in enumerate(protocol.controls):
        used += [(("controls", i, "conditions"), name, "error") for name in control.conditions]
    averaged = {name for q in protocol.questions for name in _averaged(q.contrast)}
    used += [(("labels", name), name, "caution") for name in protocol.labels if name not in averaged]
    for key, name, severity in used:
        known = conditions if key[0] == "isolation" else [*conditions, *made]
        yield from _unknown(key, name, known, severity)


def _averaged(contrast: Contrast) -> list[str]:
    """What a sentence calls by a name that is no condition's: what is averaged, and what over."""
    other = [contrast.exceeds.more, contrast.exceeds.than] if contrast.exceeds else []
    return [contrast.more, contrast.than, *other, *contrast.over]


def _unnamed(protocol: Protocol) -> Iterator[Finding]:
    """An average over a factor leaves a bare value, which says nothing in a sentence unless it has words."""
    told: set[str] = set()
    for i, question in enumerate(protocol.questions):
        for name in _averaged(question.contrast):
            if EVERY in name and name not in protocol.labels and name not in told:
                told.add(name)
                yield (
                    ("questions", i, "contrast"),
                    f"`{name}` without words of its own: a sentence would say “recordings of "
                    f"{protocol.label(name)}”",
                    f'words that read well there, in [labels]: "{name}" = "…"',
                    "caution",
                )


def _unknown(key: KeyPath, name: str, known: list[str], severity: str = "error") -> Iterator[Finding]:
    if name not in known:
        wanted = f"one of {', '.join(known) or 'no condition at all'}{suggestion(name, known)}"
        yield key, f"`{name}`", wanted, severity


def _superlatives_at_looks(protocol: Protocol) -> Iterator[Finding]:
    """A superlative is decided once; where looks share out the error rate it would never be."""
    if not protocol.stopping.looks:
        return
    for i, asked in enumerate(protocol.superlatives):
        yield (
            ("superlatives", i),
            f"`{asked.id}` beside planned looks",
            "no `looks` in [stopping], or a question for each pair: a superlative is decided at the planned "
            "end alone, without a share of the error rate it would stay without a verdict for ever",
            "error",
        )


def _impossible(protocol: Protocol) -> Iterator[Finding]:
    planned = {(q.attribute, q.presentation) for q in protocol.questions}
    compared = {presentation for _, presentation in planned}
    for i, block in enumerate(protocol.blocks):
        has_pairs = (block.attribute, block.presentation) in planned
        has_pairs |= block.of_all_questions and block.presentation in compared
        if block.pairs == "planned" and not has_pairs:
            found = f"`planned`, and no question on `{block.attribute}` of `{block.presentation}` stimuli"
            yield ("blocks", i, "pairs"), found, 'such a question, or pairs = "all"', "error"
    trimming = protocol.trimming
    if trimming.fade_in_s > trimming.before_onset_s:
        found = f"{trimming.fade_in_s} s"
        wanted = f"at most before_onset_s ({trimming.before_onset_s} s), or the fade touches the strike"
        yield ("trimming", "fade_in_s"), found, wanted, "error"
    ringing_s = trimming.length_s - trimming.before_onset_s
    if trimming.fade_out_s > ringing_s / 2:
        wanted = f"at most half of what follows the strike ({ringing_s / 2:g} s)"
        yield ("trimming", "fade_out_s"), f"{trimming.fade_out_s} s", wanted, "error"


def _weak(protocol: Protocol) -> Iterator[Finding]:
    if protocol.panel.listeners < FEWEST_LISTENERS:
        wanted = f"at least {FEWEST_LISTENERS}: with fewer there is no verdict"
        yield ("panel", "listeners"), str(protocol.panel.listeners), wanted, "caution"
    controlled = {control.attribute for control in protocol.controls}
    for i, attribute in enumerate(protocol.attributes):
        if attribute.examples is None and attribute.task not in DISCRIMINATION:
            wanted = "two sounds that explain the word to the listener"
            yield ("attributes", i, "examples"), "nothing", wanted, "caution"
        asked = any(
            q.attribute == attribute.name and q.presentation != AS_RECORDED and not q.of_kind.by_right_answers
            for q in protocol.questions
        )
        if asked and attribute.task in RATED:
            if len({b.presentation for b in protocol.blocks if b.attribute == attribute.name}) < 2:
                wanted = (
                    "a block that has it rated as recorded too: else nobody knows what a decibel alone does"
                )
                yield ("attributes", i, "name"), f"`{attribute.name}`, rated once", wanted, "caution"
        elif asked and attribute.name not in controlled:
            wanted = (
                f"control pairs for `{attribute.name}`: without them nobody knows what a decibel alone does"
            )
            yield ("controls",), "none", wanted, "caution"


def _few_strikes(recordings: list[Recording]) -> Iterator[Finding]:
    for condition in recordings_table.conditions(recordings):
        strikes = [r.strike for r in recordings if r.condition == condition]
        if len(strikes) < FEWEST_STRIKES:
            wanted = (
                f"at least {FEWEST_STRIKES} strikes; with fewer the finding holds for these recordings, "
                "never for the design"
            )
            yield ("recordings",), f"{len(strikes)} of `{condition}`", wanted, "caution"

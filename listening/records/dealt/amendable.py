"""Which keys of a dealt protocol may change, until when, and why the others may not."""

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from listening.records.dealt.amendment import Change, Scope
from listening.records.protocols.protocol import Protocol

NAMED_BY = ("id", "name")  # rows of a table are told apart by these
NOTHING = ""


@dataclass(frozen=True)
class Rule:
    """What holds for every key that begins so."""

    key: tuple[str, ...]
    """`*` stands for one name."""
    scope: Scope | None
    """None: only a new deal may change it."""
    why: str = ""


HEARD = "listeners heard it so; a change asks for a new deal, and for new answers"
LED = "how the sitting ran is part of what was answered"
DEALT = "orders and clips were dealt from it"
RULES = (  # the longest that fits a key holds
    Rule(("title",), "any time"),
    Rule(("labels", "*"), "any time"),
    Rule(("panel", "run_by"), "any time"),
    Rule(("covariates", "reason"), "any time"),
    Rule(("sitting", "goodbye"), "any time"),  # read after the last answer
    Rule(("panel", "stands_for"), "before opening"),
    Rule(("panel", "listeners"), "before opening"),
    Rule(("panel", "spare"), "before opening"),
    Rule(("seed",), "before opening"),
    Rule(("questions",), "before opening"),
    Rule(("superlatives",), "before opening"),
    Rule(("exclusions",), "before opening"),
    Rule(("stopping",), "before opening"),
    Rule(("covariates",), "before opening"),
    Rule(("attributes", "*", "comparative"), "before opening"),
    Rule(("attributes", "*", "scale_standard"), "before opening"),
    Rule(("attributes", "*", "wording"), "wording"),
    Rule(("attributes", "*", "explanation"), "wording"),
    Rule(("attributes", "*", "scale"), "wording"),
    Rule(("sitting", "welcome"), "wording"),
    Rule(("sitting", "consent"), "wording"),
    Rule(("sitting", "questionnaire"), "wording"),
    Rule(("sessions", "met_at_least"), "before opening"),
    Rule(("sessions",), None, LED),
    Rule(("sitting",), None, LED),
    Rule(("attributes",), None, LED),
    Rule(("blocks",), None, DEALT),
    Rule(("controls",), None, DEALT),
    Rule(("panel", "training"), None, "the listeners who sat were of the other kind"),
    Rule(("name",), None, "the study is known by it"),
    Rule(("format",), None, "it says how the file is read"),
    Rule((), None, HEARD),
)


@dataclass(frozen=True)
class Refused:
    """A change that may not be made in place."""

    key: str
    why: str


def changes(
    old: Protocol, new: Protocol, *, conditions: Collection[str], is_opened: bool
) -> tuple[list[Change], list[Refused]]:
    """Every key in which two protocols differ: those that may change now, and those that may not.

    Parameters
    ----------
    conditions : all that were dealt
    is_opened : whether the key was opened since the deal
    """
    made: list[Change] = []
    refused: list[Refused] = []
    number = added_stage(old, new)
    if number is not None:
        made.append(_stage(new, number))
        refused += _narrowed(old, new)
        new = _without(new, old, number)
    for path, was, now in _unlike((), _plain(old), _plain(new)):
        rule = _rule(path)
        key = _key(path)
        if rule.scope is None:
            refused.append(Refused(key, rule.why))
        elif rule.scope != "any time" and is_opened:
            refused.append(Refused(key, f"the key was opened since the deal, and {_late(rule.scope)}"))
        else:
            made.append(Change(key=key, was=was, now=now, scope=rule.scope))
    return made, [*refused, *_exchanged(old, new, conditions), *_scales(old, new)]


def added_stage(old: Protocol, new: Protocol) -> int | None:
    """The number of the stage that a protocol adds to another one; None where it adds none."""
    known = {one.stage for one in old.stages}
    added = [one.stage for one in new.stages if one.stage not in known]
    return added[0] if len(added) == 1 else None


def _stage(new: Protocol, number: int) -> Change:
    own = new.of_stage(number)
    asked = [f"{block.attribute}, {block.presentation}" for block in own.blocks]
    said = f"{own.panel.listeners} listeners asked {'; '.join(dict.fromkeys(asked))}"
    said += f", planned questions {', '.join(q.id for q in own.questions)}" if own.questions else ""
    return Change(key=f"stages[{number}]", was=NOTHING, now=said, scope="stage")


def _narrowed(old: Protocol, new: Protocol) -> Iterator[Refused]:
    """A stage may use more recordings, never fewer."""
    for factor, levels in old.recordings.use.items():
        if gone := set(levels) - set(new.recordings.use.get(factor, levels)):
            yield Refused(f"recordings.use.{factor}", f"{', '.join(sorted(gone))} was dealt and is left out")
    if not new.of_stage(added_stage(old, new) or 1).blocks:
        yield Refused("stages", "no block belongs to the new stage")
    if old.stopping.spending != "none":
        yield Refused("stages", "looks were planned, and what they spend was shared out over the first stage")


def _without(new: Protocol, old: Protocol, number: int) -> Protocol:
    """A protocol less what its new stage brings: its rows, and the recordings that it may use."""
    rows = {
        name: [row for row in getattr(new, name) if row.stage != number]
        for name in ("blocks", "controls", "questions", "stages")
    }
    recordings = new.recordings.model_copy(update={"use": old.recordings.use})
    return new.model_copy(update={**rows, "recordings": recordings})


def _late(scope: Scope) -> str:
    if scope == "wording":
        return "earlier sittings would be set apart by somebody who could know their answers"
    return "what decides was fixed until then"


def _exchanged(old: Protocol, new: Protocol, conditions: Collection[str]) -> Iterator[Refused]:
    """A label that named another condition before would turn a printed sentence round."""
    known = sorted({*conditions, *old.labels, *new.labels})
    before = {old.label(condition).casefold(): condition for condition in known}
    for condition in known:
        said = new.label(condition).casefold()
        if before.get(said, condition) != condition:
            yield Refused(f"labels[{condition}]", f"`{new.label(condition)}` named {before[said]} before")


def _scales(old: Protocol, new: Protocol) -> Iterator[Refused]:
    lengths = {a.name: len(a.scale) for a in old.attributes}
    for attribute in new.attributes:
        if lengths.get(attribute.name, len(attribute.scale)) != len(attribute.scale):
            yield Refused(f"attributes[{attribute.name}].scale", f"{LED}: another number of labels")


def _rule(path: tuple[str, ...]) -> Rule:
    fitting = [rule for rule in RULES if _fits(rule.key, path)]
    return max(fitting, key=lambda rule: len(rule.key))


def _fits(key: tuple[str, ...], path: tuple[str, ...]) -> bool:
    return len(key) <= len(path) and all(k in ("*", p) for k, p in zip(key, path, strict=False))


def _plain(protocol: Protocol) -> dict[str, Any]:
    """Tables of rows by the name of each row; the order of rows does not count where they have names."""
    return {name: _by_name(value) for name, value in protocol.model_dump(mode="json").items()}


def _by_name(value: Any) -> Any:
    if isinstance(value, list) and value and all(isinstance(row, dict) for row in value):
        name = next((n for n in NAMED_BY if all(n in row for row in value)), None)
        return {row[name]: row for row in value} if name else value
    return value


def _unlike(path: tuple[str, ...], was: Any, now: Any) -> Iterator[tuple[tuple[str, ...], str, str]]:
    if was == now:
        return
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        for key in dict.fromkeys([*was, *now]):
            yield from _unlike((*path, str(key)), was.get(key), now.get(key))
        return
    yield path, _said(was), _said(now)


def _said(value: Any) -> str:
    if value is None:
        return NOTHING
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, sort_keys=True)


def _key(path: tuple[str, ...]) -> str:
    """As people write it, named rows in brackets."""
    tables = ("attributes", "questions", "superlatives", "presentations", "labels")
    if len(path) > 1 and path[0] in tables:
        return ".".join([f"{path[0]}[{path[1]}]", *path[2:]])
    return ".".join(path)

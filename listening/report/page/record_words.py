"""What was done with the study before this analysis, in words, and who could have held the key."""

from collections.abc import Iterator, Sequence

from listening.records.dealt import head_code
from listening.records.dealt.amendment import Change
from listening.records.found.findings import Findings
from listening.records.found.findings_study import EarlierAnalysis, StudyRecord

HASH_DIGITS = 16
NO_CHAIN = (
    "This study was dealt by a version whose answers hang in no chain: an answer that was changed, put in or "
    "taken out leaves no trace but another hash."
)
ANYBODY = (
    "Orders and codes come from a seed that stands in the plan, as for a demonstration: anybody could tell "
    "which sound was which."
)


def of_key(found: Findings) -> str:
    """Who could have looked which code is which sound."""
    record = found.record
    if record is None:
        return ""
    if record.anybody_can_deal_again:
        return ANYBODY
    if record.key == "pass phrase":
        return "The key was sealed under a pass phrase: only who had that could have looked."
    said = "The key lay open in the study folder: whoever held that folder could have looked."
    if record.key_beside:
        said += f" In {_n(record.key_beside, 'sitting')} it lay beside the station, on the same computer."
    return said


def of_record(found: Findings) -> list[str]:
    """Paragraphs on the time before this analysis; the head to compare with stands last."""
    record = found.record
    if record is None:
        return []
    lines = [*_analyses(record), *_removals(record), *_deals(record), *_amendments(record)]
    lines += of_stages(found)
    if not lines:
        lines.append("Nothing was analysed, removed or dealt again before this analysis.")
    if not record.is_chained:
        lines.append(NO_CHAIN)
    elif record.unchained:
        lines.append(f"{_n(record.unchained, 'sitting')} began before there were chains.")
    return [*lines, _panel(record), _head(record)]


def earlier_complete(found: Findings) -> list[EarlierAnalysis]:
    """Earlier analyses of the planned end that saw other answers, oldest first."""
    record = found.record
    return [] if record is None else [a for a in record.analyses if a.at_end and a.other_answers]


def day(at: str) -> str:
    """The day of a time, as 2030-01-31."""
    return at[:10]


def _analyses(record: StudyRecord) -> Iterator[str]:
    alike = [a for a in record.analyses if not a.other_answers]
    if alike:
        yield f"The same answers were analysed {_times(len(alike))} before, first on {day(alike[0].at)}."
    for one in record.analyses:
        if one.other_answers:
            words = "; ".join(f"{name}: {word}" for name, word in one.words.items())
            which = "A complete analysis" if one.at_end else "A look before the planned end"
            yield (
                f"{which} on {day(one.at)} saw other answers ({one.finished} listeners finished, hash "
                f"{one.answers[:HASH_DIGITS]}) and gave: {words}."
            )
    others = record.openings - len(record.analyses)
    if others > 0:
        yield f"The key was opened {_times(others)} besides (exports, checks, looks at counts)."


def _removals(record: StudyRecord) -> Iterator[str]:
    after = sum(one.after_analyses > 0 for one in record.removals)
    before = len(record.removals) - after
    if before:
        yield f"{_n(before, 'sitting')} removed from the answers before anything was analysed."
    if after:
        days = ", ".join(sorted({day(r.at) for r in record.removals if r.after_analyses}))
        yield f"{_n(after, 'sitting')} removed from the answers AFTER an analysis ({days})."
    if record.replaced:
        yield f"{_n(record.replaced, 'listener')} sat on a place that another listener had begun."


def _deals(record: StudyRecord) -> Iterator[str]:
    for one in record.deals[1:]:
        why = f": {one.reason}" if one.reason else ", before anybody had answered"
        late = f", after {_n(one.after_analyses, 'analysis', 'analyses')}" if one.after_analyses else ""
        yield f"Dealt again on {day(one.at)}{late}{why}."


def _amendments(record: StudyRecord) -> Iterator[str]:
    for one in record.amendments:
        what = "; ".join(map(_change, one.changes))
        when = "after" if one.openings else "before"
        yield (
            f"Amended on {day(one.at)}, {when} any opening of the key, with {_n(one.finished, 'sitting')} "
            f"finished of {one.begun} begun: {one.reason} ({what})."
        )
    if record.apart:
        yield (
            f"{_n(record.apart, 'sitting')} read other words, before an amendment: their answers are kept "
            "apart, in the answer store, and decide nothing here."
        )


def _change(change: Change) -> str:
    if change.scope == "stage":
        return f"a stage of its own was added, {change.key}: {change.now}"
    return f"{change.key}: {_quoted(change.was)} became {_quoted(change.now)}"


def of_stages(found: Findings) -> list[str]:
    """Late stages: when and why they came, who decides what, and what they add to the error rate."""
    lines = []
    for one in found.stages:
        when = "after the key had been opened" if one.after_openings else "before any opening of the key"
        asked = f" It compares {_listed(one.conditions)} and decides {_listed(one.questions)}."
        lines.append(
            f"Stage {one.stage} was added to the dealt study on {day(one.at)}, {when}: {one.reason}. It has "
            f"orders and listeners of its own ({one.n_listeners} of {one.planned} planned); the answers of "
            f"before stay and decide what was planned before.{asked if one.questions else ''} Its questions "
            f"were planned before its first listener sat, and have an error rate of their own: at most "
            f"{100 * one.alpha:.3g} in 100 that any of them is wrongly supported, beside that of the other "
            "stages."
        )
    return lines


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)


def _quoted(said: str) -> str:
    return f"“{said}”" if said else "nothing"


def _panel(record: StudyRecord) -> str:
    if record.n_simulated:
        return f"The {_n(record.n_simulated, 'sitting')} were simulated: no person listened."
    return f"The {_n(record.n_human, 'sitting')} were people’s; none was simulated."


def _head(record: StudyRecord) -> str:
    return (
        f"Head of the record at this analysis: {head_code.code(record.head)}. Whoever kept a code (a "
        "listener’s last screen, a deposited plan) can have the record checked against it. No check sees "
        "somebody who held folder and key and wrote all of it anew before any code had left the house."
    )


def _n(n: int, one: str, many: str = "") -> str:
    return f"{n} {one}" if n == 1 else f"{n} {many or one + 's'}"


def _times(n: int) -> str:
    return "once" if n == 1 else f"{n} times"

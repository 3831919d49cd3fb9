"""A rehearsal told: a table of promises beside what was seen, and plain values."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from listening.planning.rehearsal import one_run, rehearsed
from listening.planning.rehearsal.hoped import STATES
from listening.planning.rehearsal.rehearsed import Line, Rehearsed, Supposed


def text(parts: Sequence[Rehearsed], notes: tuple[str, ...]) -> Iterator[str]:
    """The lines for people."""
    first = parts[0]
    yield (
        f"{first.runs} studies as hoped and {first.runs} with nothing true (seed {first.seed}), "
        "nobody listened"
    )
    yield from _assumptions(first)
    for state in STATES:
        yield ""
        promised = "power" if state == "as hoped" else "alpha"
        yield f"{state:<27}{'true':>6}{promised:>7}  supported (95 %)     contrad.  open"
        yield from (_line(line) for one in parts for line in one.lines if line.state == state)
    yield from (line for one in parts for line in _of_families(one))
    for one in parts:
        yield "" if len(parts) == 1 else f"\nstage {one.stage}"
        yield from _course(one)
        yield from _left_out(one)
    yield from notes


def _of_families(found: Rehearsed) -> Iterator[str]:
    for name, seen in found.families.items():
        lower, upper = seen.limits
        yield (
            f"  any of `{name}`{'':<{max(0, 16 - len(name))}}{'':>6}{found.family_alpha[name]:7.2f}  "
            f"{seen.share:.2f} ({lower:.2f} to {upper:.2f})"
        )


def _assumptions(found: Rehearsed) -> Iterator[str]:
    given = found.supposed
    people, assumed = given.people, given.assumed
    yield (
        f"assumed: hoped share {given.share:g}; listeners {assumed.spread_listeners:g}, strikes "
        f"{assumed.spread_stimuli:g} logit apart ({assumed.source})"
    )
    sites = f", {given.n_sites} sites {given.spread_sites:g} logit apart" if given.n_sites > 1 else ""
    if given.spread_sessions or people.misses:
        yield (
            f"  sessions of a listener {given.spread_sessions:g} logit apart, {_of_100(people.misses)} miss "
            "the last"
        )
    yield (
        f"  {_of_100(people.drop_outs)} stop early, {_of_100(people.withdrawals)} withdraw, "
        f"{_of_100(given.at_random)} answer at random{sites}"
    )


def _line(line: Line) -> str:
    lower, upper = line.supported.limits
    n = line.supported.of
    promised = "" if line.promised is None else f"{line.promised:.2f}"
    true = f"{line.true:.1f}" if line.unit == "points" else f"{line.true:.2f}"
    contradicted = line.words.get("contradicted", 0) / n
    mark = "*" if line.is_kept is False else " "
    return (
        f"  {line.id:<25}{true:>6}{promised:>7}  {line.supported.share:.2f} ({lower:.2f} to {upper:.2f}) "
        f"{mark}  {contradicted:7.2f}{1 - line.supported.share - contradicted:6.2f}"
    )


def _course(found: Rehearsed) -> Iterator[str]:
    runs = found.all_runs()
    invited = np.array([run.invited for run in runs])
    minutes = np.array([m for run in runs for m in run.minutes])
    ended = rehearsed.Seen(sum(one_run.NEVER_OPENED not in run.words.values() for run in runs), len(runs))
    lower, upper = ended.limits
    yield f"end reached                promised 1.00  seen {ended.share:.2f} ({lower:.2f} to {upper:.2f})"
    yield f"listeners invited          planned {found.planned_listeners:4d}  seen {_spread(invited, 0)}"
    if len(minutes):
        yield f"minutes of a sitting       budget {found.planned_minutes:5.0f}  seen {_spread(minutes, 0)}"
    early = sum(run.stopped_at_look for run in runs)
    if early or any(run.n_openings > 1 for run in runs):
        yield f"decided at a planned look  {early} of {len(runs)} studies"


def _spread(values: Any, decimals: int) -> str:
    low, middle, high = np.percentile(values, [5, 50, 95])
    return f"{middle:.{decimals}f} (9 in 10: {low:.{decimals}f} to {high:.{decimals}f})"


def _left_out(found: Rehearsed) -> Iterator[str]:
    """What the rules of exclusion were said to cost, and what they cost."""
    for what, seen, promised in _exclusions(found):
        lower, upper = seen.limits
        yield (
            f"{what:<27}{promised:>13}  seen {seen.share:.3f} ({lower:.3f} to {upper:.3f})"
            if seen.of
            else f"{what:<27}{promised:>13}  none in these panels"
        )


def _exclusions(found: Rehearsed) -> Iterator[tuple[str, rehearsed.Seen, str]]:
    runs = found.all_runs()
    if not found.exclusions:
        return
    honest = sum(one.honest or 0.0 for one in found.exclusions)
    caught = max((one.at_random or 0.0 for one in found.exclusions), default=0.0)
    lost = rehearsed.Seen(sum(r.honest_lost for r in runs), sum(r.honest for r in runs))
    seen = rehearsed.Seen(sum(r.caught for r in runs), sum(r.at_random for r in runs))
    yield "honest listeners left out", lost, f"most {min(1.0, honest):.3f}"
    yield "random answerers left out", seen, f"least {caught:.3f}"


def plain(parts: Sequence[Rehearsed], notes: tuple[str, ...]) -> dict[str, Any]:
    """Plain values for programs; late stages by themselves, their questions beside the others."""
    first = parts[0]
    return {
        "runs": first.runs,
        "seed": first.seed,
        "simulated": True,
        "prepared": first.is_prepared,
        "assumed": _supposed(first.supposed),
        "questions": [_row(line) | {"stage": one.stage} for one in parts for line in one.lines],
        "families": {
            name: {"alpha": one.family_alpha[name], **_seen(seen)}
            for one in parts
            for name, seen in one.families.items()
        },
        **_plain_course(first),
        "late_stages": [{"stage": one.stage, **_plain_course(one)} for one in parts[1:]],
        "notes": list(notes),
    }


def _plain_course(found: Rehearsed) -> dict[str, Any]:
    """How the listeners of a stage came and went."""
    runs = found.all_runs()
    minutes = [m for run in runs for m in run.minutes]
    return {
        "end_reached": _seen(
            rehearsed.Seen(sum(one_run.NEVER_OPENED not in r.words.values() for r in runs), len(runs))
        ),
        "listeners": {"planned": found.planned_listeners, "invited": [run.invited for run in runs]},
        "minutes": {"budget": found.planned_minutes, **_quantiles(minutes)},
        "decided_at_a_look": sum(run.stopped_at_look for run in runs),
        "exclusions": {what: {"promised": said, **_seen(seen)} for what, seen, said in _exclusions(found)},
    }


def _supposed(given: Supposed) -> dict[str, Any]:
    plain = asdict(given)
    plain["assumed"] = given.assumed.model_dump()
    return plain


def _row(line: Line) -> dict[str, Any]:
    return {
        "question": line.id,
        "kind": line.kind,
        "state": line.state,
        "true": line.true,
        "unit": line.unit,
        "promised": line.promised,
        "kept": line.is_kept,
        **_seen(line.supported),
        "words": dict(sorted(line.words.items())),
    }


def _seen(seen: rehearsed.Seen) -> dict[str, Any]:
    lower, upper = seen.limits
    return {"share": seen.share, "lower": lower, "upper": upper, "of": seen.of}


def _quantiles(values: list[float]) -> dict[str, float | None]:
    if not values:
        return {"median": None, "p05": None, "p95": None}
    low, middle, high = (float(q) for q in np.percentile(values, [5, 50, 95]))
    return {"median": middle, "p05": low, "p95": high}


def _of_100(share: float) -> str:
    return f"{100 * share:g} in 100"

"""What the answers go with, in words: what may be read from the shares and the lines, and what may not."""

from listening.records.found.findings import Findings
from listening.records.found.findings_explained import Decomposition, HeardMeasured, JointModel
from listening.records.kinds import metric_register
from listening.report.rounding import hundred_limits, hundreds, number

SLOPE_FROM = {
    "control pairs": "what a decibel does is known from the control pairs",
    "both presentations": "what a decibel does is known from hearing the same sounds both ways",
    "conditions": "what a decibel does is read from the conditions themselves, so that a property which goes "
    "with level passes for level",
    "held equal": "level hardly differs",
    "none": "level was not measured",
}


def of_shares(found: Findings) -> list[str]:
    """What to know of each set of shares."""
    return [line for d in found.decompositions if d.shares for line in _shares(d)]


def without_shares(found: Findings) -> list[str]:
    """Why a set has no shares."""
    return [
        f"No shares for {d.attribute}, {d.presentation}: {d.note}."
        for d in found.decompositions
        if not d.shares
    ]


def of_lines(found: Findings) -> list[str]:
    """Which metric predicts best in each set, and whether that can be told."""
    return [_best(h, found) for h in found.heard_measured if h.is_best]


def _best(best: HeardMeasured, found: Findings) -> str:
    where = (best.attribute, best.presentation)
    rest = [h for h in found.heard_measured if (h.attribute, h.presentation) == where and h is not best]
    missed = f"missing unseen conditions by {number(best.left_out_error)} log-odds"
    if best.nothing_error is not None:
        missed += f" where no metric at all misses them by {number(best.nothing_error)}"
    told = [metric_register.named(h.metric).name for h in rest if h.told_from_best]
    if not rest:
        end = "no other metric was tried"
    elif not told:
        end = "but the test does not tell it from any other metric tried"
    elif len(told) == len(rest):
        end = "every other metric tried is clearly worse"
    else:
        end = f"clearly worse: {', '.join(told)}; the others are not clearly worse"
    name = metric_register.named(best.metric).name
    return f"{_start(best.attribute)}, {best.presentation}: {name} predicts best, {missed}; {end}."


def of_joint(found: Findings) -> list[str]:
    """Why there is no line of all three properties, and whether it predicts better than one."""
    return [line for j in found.joint_models for line in _joint(j)]


def _joint(j: JointModel) -> list[str]:
    where = f"{_start(j.attribute)}, {j.presentation}"
    if not j.slopes:
        return [f"{where}: no line of all three properties: {j.note}."] if j.note else []
    behind = j.behind_best
    if behind is None or behind.lower is None or behind.upper is None:
        return []
    if behind.upper < 0:
        return [f"{where}: the three together predict unseen conditions better than the best single metric."]
    if behind.lower > 0:
        return [f"{where}: the three together predict unseen conditions worse than the best single metric."]
    return [f"{where}: the three together are not clearly better than the best single metric."]


def _shares(d: Decomposition) -> list[str]:
    where = f"{_start(d.attribute)}, {d.presentation}"
    beyond, said = d.share_beyond_level, d.share_beyond_level_said
    parts = []
    if beyond is not None and said is not None:
        against = ", because the louder condition has less of it" if beyond.value > 1 else ""
        parts = [
            f"{hundreds(beyond.value)} in 100 parts are beyond level ({hundred_limits(beyond)}){against}",
            f"brightness and decay together account for {hundreds(said.value)} in 100 "
            f"({hundred_limits(said)})",
        ]
    lines = [f"{where}: {'; '.join([*parts, SLOPE_FROM[d.level_by]])}."]
    if d.separable is False:
        lines.append(
            f"{where}: brightness and decay go together in these sounds ({_how_close(d)}), so that their "
            "averaged shares cannot be told apart; only what each adds on top is its own. Isolated stimuli "
            "would tell."
        )
    return lines


def _how_close(d: Decomposition) -> str:
    swollen = [d.inflation.get(name) for name in ("brightness", "decay")]
    if None in swollen:
        return "one repeats the other"
    return f"variance inflation {' and '.join(number(value, 1) for value in swollen)}"


def _start(text: str) -> str:
    return text[:1].upper() + text[1:]

"""What the answers say of each listener; who is left out is the protocol's word alone."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from listening.analysis import collect
from listening.records.findings import ListenerRow
from listening.records.protocol import Exclusions, Protocol

# A flag asks a person to look; it excludes nobody.
CONTROLS_RIGHT_LOW = 0.7
CLEAR_GAIN_DB = 2.0  # control pairs below it may honestly be missed
SAME_SIDE_HIGH = 0.8
RESPONSE_SHORT_OF_PANEL = 0.4  # of the panel's median time to answer
REPEATS_AGREED_LOW = 0.5


def listeners(table: pd.DataFrame, protocol: Protocol) -> tuple[ListenerRow, ...]:
    """One row for each listener, in the order of their codes."""
    about_level = [a.name for a in protocol.attributes if a.about_level]
    panel_response_s = float(table.groupby("listener")["response_s"].median().median())
    return tuple(
        _row(str(name), rows, about_level, protocol.exclusions, panel_response_s)
        for name, rows in table.groupby("listener", sort=True)
    )


def kept(table: pd.DataFrame, rows: Sequence[ListenerRow]) -> pd.DataFrame:
    """The answers of the listeners who are not excluded."""
    return _without(table, [row.listener for row in rows if row.excluded])


def unsuspected(table: pd.DataFrame, rows: Sequence[ListenerRow]) -> pd.DataFrame:
    """The answers of the listeners without a flag."""
    return _without(table, [row.listener for row in rows if row.flags or row.excluded])


def _without(table: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    return table[~table["listener"].isin(names)].reset_index(drop=True)


def _row(
    name: str,
    rows: pd.DataFrame,
    about_level: list[str],
    exclusions: Exclusions,
    panel_response_s: float,
) -> ListenerRow:
    asked, right = _controls(rows, about_level)
    first_share = float(rows["chosen"].mean())
    response_s = float(rows["response_s"].median())
    agreed = _repeats_agreed(rows)
    flags = []
    if asked and right / asked < CONTROLS_RIGHT_LOW:
        flags.append("missed control pairs")
    if max(first_share, 1 - first_share) > SAME_SIDE_HIGH:
        flags.append("mostly one side")
    if response_s < RESPONSE_SHORT_OF_PANEL * panel_response_s:
        flags.append("much faster than the panel")
    if agreed is not None and agreed < REPEATS_AGREED_LOW:
        flags.append("repeats answered differently")
    because = _excluded_because(exclusions, asked, right, response_s, first_share)
    return ListenerRow(
        listener=name,
        simulated=bool(rows["simulated"].any()),
        n_answers=len(rows),
        controls_right=right if asked else None,
        controls_asked=asked or None,
        first_share=first_share,
        median_response_s=response_s,
        repeats_agreed=agreed,
        flags=tuple(flags),
        excluded=bool(because),
        excluded_because=because,
    )


def _controls(rows: pd.DataFrame, about_level: list[str]) -> tuple[int, int]:
    """(asked, right) of the clear control pairs whose stronger sound is the right answer."""
    clear = rows["gain_difference_db"].abs() >= CLEAR_GAIN_DB
    told = rows[rows["attribute"].isin(about_level) & (rows["role"] == collect.CONTROL) & clear]
    right = np.where(told["gain_difference_db"] > 0, told["chosen"] == 1, told["chosen"] == 0)
    return len(told), int(right.sum())


def _repeats_agreed(rows: pd.DataFrame) -> float | None:
    """Share of pairs of trials on the same two conditions that were answered alike; None without repeats."""
    study = rows[rows["role"] == collect.STUDY]
    swapped = study["condition_first"] > study["condition_second"]
    chosen = np.where(swapped, 1 - study["chosen"], study["chosen"])
    low = np.where(swapped, study["condition_second"], study["condition_first"])
    high = np.where(swapped, study["condition_first"], study["condition_second"])
    pairs = pd.DataFrame({"of": study["attribute"] + "|" + study["presentation"], "low": low, "high": high})
    counts = pairs.assign(chosen=chosen).groupby(["of", "low", "high"])["chosen"].agg(["sum", "count"])
    n, wins = counts["count"], counts["sum"]
    asked = (n * (n - 1) / 2).sum()
    alike = (wins * (wins - 1) / 2 + (n - wins) * (n - wins - 1) / 2).sum()
    return float(max(alike, 0.0) / asked) if asked > 0 else None


def _excluded_because(rule: Exclusions, asked: int, right: int, response_s: float, first_share: float) -> str:
    """Which exclusion of the protocol applies; empty for none."""
    if rule.controls_right_below is not None and asked and right / asked < rule.controls_right_below:
        return "control pairs"
    if rule.median_response_below_s is not None and response_s < rule.median_response_below_s:
        return "time to answer"
    if rule.same_side_above is not None and max(first_share, 1 - first_share) > rule.same_side_above:
        return "one side"
    return ""

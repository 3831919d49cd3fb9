"""What the answers say of each listener; who is left out is the protocol's word alone."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.records.found.findings_study import ListenerRow
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import CLEAR_GAIN_DB, Exclusions

# A flag asks a person to look; it excludes nobody.
CONTROLS_RIGHT_LOW = 0.7
SAME_SIDE_HIGH = 0.8
RESPONSE_SHORT_OF_PANEL = 0.4  # of the panel's median time to answer
REPEATS_AGREED_LOW = 0.5


def listeners(
    table: pd.DataFrame, protocol: Protocol, discriminated: pd.DataFrame | None = None
) -> tuple[ListenerRow, ...]:
    """One row for each listener, in the order of their codes.

    Parameters
    ----------
    table : answers to paired comparisons, as `collect.frame` gives them
    discriminated : answers that were right or wrong, as `discriminated.frame` gives them
    """
    seen = _seen(table, [a.name for a in protocol.attributes if a.about_level], discriminated)
    panel_response_s = float(seen["response_s"].median())
    return tuple(
        _row(name, asked=asked, protocol=protocol, panel_response_s=panel_response_s, **rest)
        for name, asked, rest in _each(seen)
    )


def kept(table: pd.DataFrame, rows: Sequence[ListenerRow]) -> pd.DataFrame:
    """The answers of the listeners who are not excluded."""
    return _without(table, [row.listener for row in rows if row.excluded])


def unsuspected(table: pd.DataFrame, rows: Sequence[ListenerRow]) -> pd.DataFrame:
    """The answers of the listeners without a flag."""
    return _without(table, [row.listener for row in rows if row.flags or row.excluded])


def _without(table: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    return table[~table["listener"].isin(names)].reset_index(drop=True)


def _seen(table: pd.DataFrame, about_level: list[str], discriminated: pd.DataFrame | None) -> pd.DataFrame:
    """What the tables hold of each listener, by their codes in order; all listeners at once."""
    every = table[["listener", "response_s", "simulated"]].assign(first=table["chosen"])
    if discriminated is not None and len(discriminated):
        every = (
            pd.concat([every, discriminated[every.columns]]) if len(every) else discriminated[every.columns]
        )
    by = every.groupby("listener", sort=True)
    seen = by.agg(
        n_answers=("first", "size"),
        first_share=("first", "mean"),
        response_s=("response_s", "median"),
        simulated=("simulated", "any"),
    )
    return seen.join(_controls(table, about_level)).join(_repeats_agreed(table))


def _each(seen: pd.DataFrame) -> Iterator[tuple[str, int, dict[str, Any]]]:
    for cells in seen.reset_index().to_dict("records"):
        row = {str(name): cell for name, cell in cells.items()}
        asked = 0 if np.isnan(row["asked"]) else int(row.pop("asked"))
        row.pop("asked", None)
        agreed = None if np.isnan(row["agreed"]) else float(row["agreed"])
        first = None if np.isnan(row["first_share"]) else float(row["first_share"])
        yield str(row.pop("listener")), asked, row | {"agreed": agreed, "first_share": first}


def _row(
    name: str,
    *,
    asked: int,
    right: float,
    n_answers: int,
    first_share: float | None,
    response_s: float,
    simulated: bool,
    agreed: float | None,
    protocol: Protocol,
    panel_response_s: float,
) -> ListenerRow:
    flags = []
    if asked and right / asked < CONTROLS_RIGHT_LOW:
        flags.append("missed control pairs")
    one_side = 0.0 if first_share is None else max(first_share, 1 - first_share)
    if one_side > SAME_SIDE_HIGH:
        flags.append("mostly one side")
    if response_s < RESPONSE_SHORT_OF_PANEL * panel_response_s:
        flags.append("much faster than the panel")
    if agreed is not None and agreed < REPEATS_AGREED_LOW:
        flags.append("repeats answered differently")
    because = _excluded_because(protocol.exclusions, asked, right, response_s, one_side, agreed)
    return ListenerRow(
        listener=name,
        simulated=simulated,
        n_answers=n_answers,
        controls_right=int(right) if asked else None,
        controls_asked=asked or None,
        first_share=first_share,
        median_response_s=None if np.isnan(response_s) else response_s,
        repeats_agreed=agreed,
        flags=tuple(flags),
        excluded=bool(because),
        excluded_because=because,
    )


def _controls(table: pd.DataFrame, about_level: list[str]) -> pd.DataFrame:
    """By listener: clear control pairs whose stronger sound is the right answer, asked and right."""
    clear = table["gain_difference_db"].abs() >= CLEAR_GAIN_DB
    told = table[table["attribute"].isin(about_level) & (table["role"] == keyed_answers.CONTROL) & clear]
    right = np.where(told["gain_difference_db"] > 0, told["chosen"] == 1, told["chosen"] == 0)
    by = pd.DataFrame({"listener": told["listener"], "right": right}).groupby("listener")["right"]
    return pd.DataFrame({"asked": by.size(), "right": by.sum()})


def _repeats_agreed(table: pd.DataFrame) -> pd.Series:
    """By listener: share of pairs of trials on the same two conditions that were answered alike."""
    study = table[table["role"] == keyed_answers.STUDY]
    swapped = (study["condition_first"] > study["condition_second"]).to_numpy()
    low = study["condition_first"].where(~swapped, study["condition_second"])
    high = study["condition_second"].where(~swapped, study["condition_first"])
    chosen = np.where(swapped, 1 - study["chosen"], study["chosen"])
    pairs = study[["listener", "attribute", "presentation"]].assign(low=low, high=high, chosen=chosen)
    of = ["listener", "attribute", "presentation", "low", "high"]
    counts = pairs.groupby(of, sort=False)["chosen"].agg(["sum", "count"])
    n, wins = counts["count"], counts["sum"]
    both = pd.DataFrame(
        {
            "asked": n * (n - 1) / 2,
            "alike": wins * (wins - 1) / 2 + (n - wins) * (n - wins - 1) / 2,
        }
    ).groupby(level="listener")
    total = both.sum()
    return (total["alike"].clip(lower=0.0) / total["asked"].where(total["asked"] > 0)).rename("agreed")


def _excluded_because(
    rule: Exclusions, asked: int, right: float, response_s: float, one_side: float, agreed: float | None
) -> str:
    """Which exclusion of the protocol applies; empty for none."""
    if rule.controls_right_below is not None and asked and right / asked < rule.controls_right_below:
        return "control pairs"
    if rule.median_response_below_s is not None and response_s < rule.median_response_below_s:
        return "time to answer"
    if rule.same_side_above is not None and one_side > rule.same_side_above:
        return "one side"
    if rule.repeats_alike_below is not None and agreed is not None and agreed < rule.repeats_alike_below:
        return "repeats answered differently"
    return ""

"""Which conditions comparisons join, directly or by way of others: strengths of the rest cannot be told."""

import pandas as pd


def parts(rows: pd.DataFrame) -> list[set[str]]:
    """The sets of conditions that comparisons join, the first-named ones first.

    Parameters
    ----------
    rows : study answers, as `keyed_answers.select` gives them
    """
    found: list[set[str]] = []
    for pair in sorted({*zip(rows["condition_first"], rows["condition_second"], strict=True)}):
        met = [part for part in found if part & set(pair)]
        found = [part for part in found if part not in met]
        found.append(set(pair).union(*met))
    return sorted(found, key=min)


def of_condition(rows: pd.DataFrame, name: str) -> pd.DataFrame:
    """The rows whose conditions are joined with this one, renumbered."""
    part = next((one for one in parts(rows) if name in one), set())
    return rows[rows["condition_first"].isin(part)].reset_index(drop=True)

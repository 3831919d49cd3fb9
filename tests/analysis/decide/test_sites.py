"""Two laboratories in one study: the contrast is the mean over sites, and sites may differ."""

import numpy as np
import pandas as pd
import pytest

from listening.analysis.decide import contrast

MORE, THAN = "dome_d/free", "dome_c/free"


def two_sites(panel, north: float, south: float, n_north: int, n_south: int, seed: int = 3) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    tables = []
    for site, strength, n in (("north", north, n_north), ("south", south, n_south)):
        made = panel(rng, {MORE: strength, THAN: 0.0}, n_listeners=n, repeats=12, control_gains_db=())
        tables.append(made.assign(site=site, listener=site + made["listener"]))
    return pd.concat(tables, ignore_index=True)


def test_each_site_weighs_the_same_however_many_sat_there(panel) -> None:
    table = two_sites(panel, north=2.0, south=0.0, n_north=40, n_south=10)
    found = contrast.fit(contrast.design(table, more=MORE, than=THAN))
    pooled = contrast.fit(contrast.design(table.drop(columns="site"), more=MORE, than=THAN))
    alone = [
        contrast.fit(contrast.design(table[table["site"] == site], more=MORE, than=THAN)).estimate
        for site in ("north", "south")
    ]
    assert found.estimate == pytest.approx(np.mean(alone), abs=2 * found.se)
    assert pooled.estimate > found.estimate + 0.2  # it leans to the larger site


def test_sites_cost_degrees_of_freedom(panel) -> None:
    table = two_sites(panel, 1.0, 1.0, 4, 4)
    one = contrast.design(table.drop(columns="site"), more=MORE, than=THAN)
    assert contrast.design(table, more=MORE, than=THAN).n_sites == 2
    few = table.assign(stimulus_first=table["condition_first"], stimulus_second=table["condition_second"])
    assert (contrast.design(few, more=MORE, than=THAN).df_listeners, one.n_sites) == (6.0, 1)


def test_sites_that_differ_show_in_the_listeners_own_effects(panel) -> None:
    table = two_sites(panel, north=1.5, south=-1.5, n_north=12, n_south=12)
    found = contrast.fit(contrast.design(table, more=MORE, than=THAN))
    north = np.array([name.startswith("north") for name in found.design.listeners])
    assert found.own_effects[north].mean() > 1.0
    assert found.own_effects[~north].mean() < -1.0
    assert found.spread_listeners > 1.0  # a split panel is not "the same"


def test_one_site_changes_nothing(panel) -> None:
    table = panel(np.random.default_rng(4), {MORE: 0.5, THAN: 0.0}, control_gains_db=())
    plain = contrast.fit(contrast.design(table, more=MORE, than=THAN))
    named = contrast.fit(contrast.design(table.assign(site="here"), more=MORE, than=THAN))
    assert (plain.estimate, plain.se) == (named.estimate, named.se)

"""The power curve is the same to the bit here, on two processes, and on a Dask scheduler by its address."""

import pytest

from listening.planning import power
from listening.planning.effect import Effect
from listening.planning.power import Wanted
from listening.records.protocols.planned_power import Assumed, PowerCell


def curve(made, where: int | str) -> list[PowerCell]:
    protocol, manifest = made
    wanted = [Wanted(n, 6, Effect(0.9, "0.9 logit")) for n in (8, 10)]
    return power.simulate(
        protocol, manifest, protocol.questions[0], wanted, assumed=Assumed(), studies=20, seed=3, where=where
    )


@pytest.mark.slow
def test_the_power_curve_is_the_same_to_the_bit_at_every_place(planned) -> None:
    distributed = pytest.importorskip(
        "distributed", reason="Dask is missing: pip install 'listening[cluster]'"
    )
    made = planned(strikes=1, repeats=6)  # quick fits
    here = curve(made, 1)
    assert curve(made, 2) == here
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        assert curve(made, cluster.scheduler_address) == here
    assert [cell.studies for cell in here] == [20, 20]

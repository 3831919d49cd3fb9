"""What a power curve costs: 5 panel sizes around 24 listeners, 200 simulated studies each, on all cores.

    python bench/power.py [STUDIES]

The bar is 2 minutes on 2 idle cores; processor time over both is printed beside the wall clock, since a busy
machine stretches the latter.
"""

import os
import resource
import sys
import time
from pathlib import Path

from listening.planning import effect, power, stand_in
from listening.planning.power import Wanted
from listening.records.protocols import protocol
from listening.records.protocols.planned_power import Assumed
from listening.records.sounds import recordings_table

BELLS = Path(__file__).resolve().parents[1] / "protocols" / "bells.toml"
SIZES = (8, 12, 16, 20, 24)
BAR_S = 120.0


def main() -> int:
    """0 when the curve keeps to the bar by the wall clock, or by processor time shared out over the cores."""
    studies = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    chosen = protocol.load(BELLS)
    manifest = stand_in.manifest(chosen, recordings_table.load(chosen, BELLS))
    assumed = Assumed()
    wanted = [Wanted(n, 2, effect.of_share(0.7, assumed)) for n in SIZES]
    cores = os.cpu_count() or 1
    started_s = time.monotonic()
    cells = power.simulate(
        chosen,
        manifest,
        chosen.questions[0],
        wanted,
        assumed=assumed,
        studies=studies,
        seed=1,
        where=cores,
    )
    wall_s = time.monotonic() - started_s
    from joblib.externals.loky import get_reusable_executor

    get_reusable_executor().shutdown(wait=True)  # so that the children's time is counted
    used_s = sum(
        u.ru_utime + u.ru_stime
        for u in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )
    for cell in cells:
        chance = power.chance(cell)
        print(
            f"{cell.listeners:4d} listeners: {chance.estimate:.2f} ({chance.lower:.2f} to {chance.upper:.2f})"
        )
    print(
        f"{len(cells)} x {studies} studies: {wall_s:.0f} s by the clock, {used_s:.0f} s of processor on "
        f"{cores} cores ({used_s / cores:.0f} s if they were idle); bar {BAR_S:.0f} s for 200"
    )
    return 0 if min(wall_s, used_s / cores) <= BAR_S * studies / 200 else 1


if __name__ == "__main__":
    raise SystemExit(main())

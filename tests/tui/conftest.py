"""A sitting with a scale, for the screens that show one."""

from collections.abc import Callable
from pathlib import Path

import pytest

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial, Slot
from tests import stations
from tests.stations import Bench


@pytest.fixture
def rated(tmp_path: Path) -> Callable[[], Bench]:
    """A maker of a sitting with one trial of continuous rating."""

    def make() -> Bench:
        asked = PlannedAttribute(
            name="brightness",
            task="continuous rating",
            wording="How bright is it?",
            explanation="",
            scale=("not at all", "extremely"),
        )
        trial = PlannedTrial(trial="001", attribute="brightness", clips=(stations.CODES[0],))
        changes = {"attributes": (asked,), "slots": (Slot(slot=0, trials=(trial,)),)}
        return stations.take_seat(tmp_path, stations.make_plan().model_copy(update=changes))

    return make

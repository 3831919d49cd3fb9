"""Sizing of rating questions, and strikes and specimens as samples: against the t law, computed here."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from listening import cli
from listening.errors import StudyError
from listening.planning import effect, panel_size, power, rating_size, stand_in
from listening.planning.power import Wanted
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.recordings_table import Recording
from listening.simulate import panel

Maker = Callable[..., tuple[Protocol, Manifest]]
STUDIES = 60


def _rated(planned: Maker, *, about_level: bool = True, **more: Any) -> tuple[Protocol, Manifest]:
    protocol, manifest = planned(**more)
    raw = protocol.model_dump(mode="json", exclude_none=True)
    raw["attributes"][0] |= {
        "task": "continuous rating",
        "scale": ["dull", "bright"],
        "scale_standard": "own",
        "about_level": about_level,
    }
    raw["questions"][0] |= {"unit": "points", "smallest_effect": 3.0}
    return Protocol.model_validate(raw), manifest


def _simulated(study: tuple[Protocol, Manifest], points: float, assumed: Assumed, n: int) -> power.Chance:
    wanted = [Wanted(n, 4, effect.of_points(f"points={points}", "continuous rating"))]
    protocol, manifest = study
    [cell] = power.simulate(
        protocol, manifest, protocol.questions[0], wanted, assumed=assumed, studies=STUDIES, seed=3
    )
    return power.chance(cell)


@pytest.mark.parametrize("points", [6.0])
def test_the_power_of_a_rating_is_that_of_the_t_test_on_listeners_own_means(
    planned: Maker, points: float
) -> None:
    """One strike and no level to take off: each listener's difference of two means of 4 ratings is normal."""
    n, spread = 12, 0.6
    study = _rated(planned, strikes=1, listeners=n)
    sd = 10 * np.sqrt(spread**2 + 2 * panel.NOISE_SD**2 / 4)  # points; 10 of them a logit
    needed = stats.t.ppf(0.95, n - 1)
    exact = stats.nct.sf(needed, n - 1, points / (sd / np.sqrt(n)))
    found = _simulated(study, points, Assumed(spread_listeners=spread, spread_stimuli=0.0), n)
    assert found.lower <= exact <= found.upper
    wanted = effect.of_points(f"points={points}", "continuous rating")
    made = rating_size.study(
        *study,
        study[0].questions[0],
        listeners=n,
        repeats=4,
        effect_logit=wanted.logit,
        assumed=Assumed(spread_listeners=spread, spread_stimuli=0.0),
    )
    formula = rating_size.by_formula(made, wanted.logit, alpha=0.05)
    assert formula == pytest.approx(exact, abs=0.05)  # the formula takes the normal for the noncentral t


def test_without_an_effect_a_rating_is_rarely_supported(planned: Maker) -> None:
    found = _simulated(_rated(planned, strikes=3, listeners=12), 0.0, Assumed(), 12)
    assert found.lower <= 0.05


def test_ratings_that_tell_nothing_of_level_cannot_be_sized(planned: Maker) -> None:
    study = _rated(planned, about_level=False)
    with pytest.raises(StudyError, match="rate them as recorded too"):
        _simulated(study, 5.0, Assumed(), 12)


def test_an_effect_in_points_is_read_and_refused(planned: Maker) -> None:
    assert effect.of_points("points=8", "continuous rating").logit == pytest.approx(0.8)
    assert effect.of_points("points=1", "category rating").logit == pytest.approx(1.0)
    for text in ("share=0.7", "points=", "points=nan"):
        with pytest.raises(StudyError, match="points=8"):
            effect.of_points(text, "continuous rating")


RECORDINGS = [
    Recording(f"{design}-{s}", Path("x"), (design,), str(s), "1", None) for design in "ab" for s in (1, 2)
]


def test_strikes_and_specimens_can_be_supposed() -> None:
    supposed = stand_in.supposed(RECORDINGS, strikes=5, specimens=3)
    assert len(supposed) == 2 * 5 * 3
    assert len({r.recording for r in supposed}) == len(supposed)
    assert len(set(stand_in.specimens(supposed).values())) == 6
    assert len(stand_in.supposed(RECORDINGS, strikes=None, specimens=3)) == 2 * 2 * 3
    assert stand_in.supposed(RECORDINGS, strikes=None, specimens=None) == RECORDINGS


@pytest.mark.parametrize(("specimens", "alike"), [(1, True), (3, False)])
def test_strikes_of_one_specimen_go_together(planned: Maker, specimens: int, alike: bool) -> None:
    """With one specimen a condition its pull is that of every strike; with three, each has its own."""
    protocol, _ = planned()
    one = [Recording(f"d{i}-1", Path("x"), (f"d{i}",), "1", "1", None) for i in range(2)]
    recordings = stand_in.supposed(one, strikes=3 // specimens, specimens=specimens)
    made = panel_size.trials(
        protocol,
        stand_in.manifest(protocol, recordings),
        protocol.questions[0],
        listeners=400,
        repeats=6,
        specimens=stand_in.specimens(recordings),
    )
    assumed = Assumed(spread_listeners=0.0, spread_stimuli=0.0, spread_specimens=2.0, order=0.0, lapses=0.0)
    given = panel_size.answers(made, 400, 0.0, assumed, np.random.default_rng(5))
    more = np.where(given["condition_first"] == "d1", given["chosen"], 1 - given["chosen"])
    by_strike = [more[made.stimulus[:, 0] == k].mean() for k in range(len(made.stimuli))]
    assert (np.ptp(by_strike) < 0.12) == alike  # 400 answers a strike: four standard errors


def test_the_command_sizes_a_rating_and_says_what_it_supposed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shipped = Path(__file__).resolve().parents[2] / "protocols/difference_beyond_level.toml"
    folder = tmp_path / "study"
    assert cli.main(["new", str(folder), "--from", str(shipped)]) == 0
    path = folder / "protocol.toml"
    capsys.readouterr()
    asked = ["size", str(path), "--listeners", "8", "--studies", "2", "--jobs", "1"]
    with pytest.MonkeyPatch.context() as at:
        at.chdir(tmp_path)
        assert cli.main([*asked, "--strikes", "4", "--specimens", "2", "--spread-specimens", "0.2"]) == 0
    said = capsys.readouterr().out
    assert "8 strikes of 2 specimens a sound" in said
    assert "of specimens 0.20" in said
    assert cli.main([*asked, "--strikes", "0"]) == 2
    assert "--strikes: found 0" in capsys.readouterr().err


def test_every_sound_of_a_screen_counts_as_rated(planned: Maker) -> None:
    """Four sounds on a screen, four screens: each of the two is rated four times by everybody."""
    protocol, manifest = planned(conditions=4, strikes=1, listeners=12)
    raw = protocol.model_dump(mode="json", exclude_none=True)
    scale = ["not at all", "a little", "moderately", "very", "extremely"]
    raw["attributes"][0] |= {"task": "multiple stimulus", "scale": scale, "scale_standard": "own"}
    raw["blocks"][0] |= {"reference": "d2", "repeats": 4}
    raw["questions"][0] |= {"unit": "points", "smallest_effect": 3.0}
    screens = Protocol.model_validate(raw)
    assumed, points = Assumed(spread_listeners=0.6, spread_stimuli=0.0), 6.0
    wanted = effect.of_points(f"points={points}", "multiple stimulus")
    made = rating_size.study(
        screens,
        manifest,
        screens.questions[0],
        listeners=12,
        repeats=4,
        effect_logit=wanted.logit,
        assumed=assumed,
    )
    sd = 10 * np.sqrt(0.6**2 + 2 * panel.NOISE_SD**2 / 4)  # points; 10 of them a logit
    exact = stats.nct.sf(stats.t.ppf(0.95, 11), 11, points / (sd / np.sqrt(12)))
    # the formula takes the normal for the noncentral t
    assert rating_size.by_formula(made, wanted.logit, alpha=0.05) == pytest.approx(exact, abs=0.05)

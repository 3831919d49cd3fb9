"""A whole small study for attacks: prepared, dealt, sat by a simulated panel, analysed and reported."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from listening import cli
from listening.audio import wav
from listening.audio.sound import Sound
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures
from listening.records.study import Study
from listening.simulate import run as simulate
from listening.steps import study_deal

RATE_HZ = 8000
SECRET = "0123456789abcdef" * 2
DEALT_AT = "2030-01-01T00:00:00+00:00"
Made = tuple[Protocol, Manifest]


def prepared(root: Path, made: Made, text: Callable[[Protocol], str]) -> Study:
    """A prepared study with short noise for sounds."""
    study = Study(root)
    study.stimuli.mkdir(parents=True)
    protocol, manifest = made
    study.protocol.write_text(text(protocol))
    rng = np.random.default_rng(1)
    stimuli = []
    for number, stimulus in enumerate(manifest.stimuli):
        samples = np.round(rng.uniform(-0.5, 0.5, (800 + 7 * number, 1)) * 2**23) / 2**23
        wav.save(study.stimuli / stimulus.file, Sound(samples, RATE_HZ))
        level_db = stimulus.after["laf_max_db"] or 0.0
        design = int(stimulus.condition[1:3])
        heard = {"laf_max_db": level_db, "lae_db": level_db - 6.0, "centroid_hz": 2000.0 + 300 * design}
        metrics = heard | {"t60_s": 1.0 + 0.3 * design}
        changed = {"digest": wav.digest(samples), "before": metrics, "after": metrics}
        stimuli.append(stimulus.model_copy(update=changed))
    digest = protocol_form.digest(study.protocol)
    changes = {"stimuli": tuple(stimuli), "rate_hz": RATE_HZ, "protocol_digest": digest}
    manifest.model_copy(update=changes).save(study.manifest)
    Measures(version="0", protocol_digest=digest, recordings=(), spreads=()).save(study.measures)
    return study


def dealt(study: Study, *, keyholder: Callable[[], str] | None = None) -> Study:
    """The study dealt with a known secret."""
    study_deal.deal(study, secret=SECRET, dealt_at=DEALT_AT, keyholder=keyholder)
    return study


def sat(study: Study, seed: int = 3) -> Study:
    """The study with a simulated panel's answers."""
    simulate.run(study, seed=seed)
    return study


def finished(study: Study) -> Study:
    """A prepared study dealt, sat, analysed and reported."""
    sat(dealt(study))
    for step in ("analyse", "report"):
        if command(step, study.root):
            raise RuntimeError(f"{step} failed")
    return study


def command(*words: object) -> int:
    """The exit code of a command."""
    return cli.main([str(word) for word in words])


def sat_again(study: Study, seed: int) -> None:
    """Whatever slot is free, sat by one more simulated listener."""
    from listening.records.dealt.plan import Plan
    from listening.records.keys.key import Key
    from listening.session.seating import station
    from listening.session.seating.clocks import Clocks
    from listening.session.seating.station import Seat
    from listening.session.sounding.clip_reading import Clips
    from listening.session.sounding.player import SilentPlayer
    from listening.simulate import panel, percepts
    from listening.simulate.listener import Truth

    plan = Plan.load(study.plan)
    heard = percepts.of_study(Key.load(study.key), Manifest.load(study.manifest))
    clock = simulate.Clock()
    store = station.open_answers(study, now=clock.utc)
    given = {use.slot for use in store.slot_use(simulated=True)}
    slot = next(slot for slot in plan.slots if slot.slot not in given)
    decided = panel.decisions(plan, heard, slot=slot, seed=seed, truth=Truth())
    row, hold = station.take(plan, store, Seat("NEW1", slot.slot, simulated=True))
    player = SilentPlayer(Clips(study.clips, plan.rate_hz).frames, plan.rate_hz, clock.now_s)
    with hold:
        clocks = Clocks(clock.now_s, clock.utc)
        simulate._sit(station.seated(plan, store, row, player=player, clocks=clocks), clock, decided)
    store.close()

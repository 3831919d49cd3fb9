"""What size costs: read, join, fit and print, from some answers to a million, as a table for docs/growth.md.

    python bench/growth.py [DEALT_STUDY [LISTENERS:TRIALS ...]]

The answers are made in memory from a model with known truth and stored in a new file; the trials of the plan
are gone through again and again. Without a study the demo is made first (a minute or two).
"""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np

from listening import cli
from listening.analysis import full_analysis
from listening.analysis.collect import keyed_answers
from listening.analysis.decide import contrast
from listening.analysis.opening import sealed_key
from listening.records.dealt.plan import Plan, PlannedTrial
from listening.records.keys.key import Key
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.store import open_store, tables

SIZES = ("10:100", "100:100", "1000:100", "1000:1000", "5000:200", "10000:1000")
ATTRIBUTE, PRESENTATION = "brightness", "matched"
SD_LISTENER, SD_STIMULUS, ORDER = 0.5, 0.15, 0.2
CHUNK_LISTENERS = 200
STAGES = ("collect", "fit", "print", "analyse")


@contextmanager
def stage(name: str, took: dict[str, float]) -> Iterator[None]:
    """Processor and wall-clock time of a block."""
    wall, cpu = time.monotonic(), time.process_time()
    yield
    took[name] = time.process_time() - cpu
    took[f"{name} wall"] = time.monotonic() - wall


def demo(folder: Path) -> Study:
    """The demo's recordings as a dealt study."""
    protocol = Path(__file__).resolve().parent.parent / "protocols" / "bells.toml"
    for words in (["new", str(folder), "--from", str(protocol)], *([s, str(folder)] for s in STEPS)):
        assert cli.main(words) == 0, words
    return Study(folder)


STEPS = ("measure", "prepare", "deal")


def block(study: Study) -> list[PlannedTrial]:
    """The trials of one attribute and presentation, over all slots."""
    key = {clip.clip: clip for clip in Key.load(study.key).clips}
    trials = [t for slot in Plan.load(study.plan).slots for t in slot.trials]
    return [
        t
        for t in trials
        if t.attribute == ATTRIBUTE
        and not t.practice
        and key[t.clips[0]].presentation == PRESENTATION
        and key[t.clips[0]].stimulus != key[t.clips[1]].stimulus
    ]


def fill(study: Study, place: Path, n_listeners: int, n_trials: int) -> None:
    """A store of `n_listeners` sittings with `n_trials` answers each."""
    rng = np.random.default_rng(1)
    key = {clip.clip: clip for clip in Key.load(study.key).clips}
    trials = block(study)
    conditions = sorted({key[c].condition for t in trials for c in t.clips})
    stimuli = sorted({key[c].stimulus for t in trials for c in t.clips})
    strength = np.linspace(-0.5, 0.5, len(conditions))
    quirk = rng.normal(0, SD_STIMULUS, len(stimuli))
    at = np.array([[conditions.index(key[c].condition) for c in t.clips] for t in trials])
    of = np.array([[stimuli.index(key[c].stimulus) for c in t.clips] for t in trials])
    store = open_store(place, durable=False)
    for first in range(0, n_listeners, CHUNK_LISTENERS):
        some = range(first, min(first + CHUNK_LISTENERS, n_listeners))
        sittings, answers = [], []
        for n in some:
            own = strength + rng.normal(0, SD_LISTENER, len(conditions))
            picked = (n * 7 + np.arange(n_trials)) % len(trials)
            eta = (
                ORDER + own[at[picked, 0]] - own[at[picked, 1]] + quirk[of[picked, 0]] - quirk[of[picked, 1]]
            )
            said = rng.random(n_trials) < 1 / (1 + np.exp(-eta))
            sittings.append(_sitting(n))
            answers += [
                _answer(n, i, trials[p], bool(s)) for i, (p, s) in enumerate(zip(picked, said, strict=True))
            ]
        with store._engine.begin() as connection:
            connection.execute(tables.sitting.insert(), sittings)
            connection.execute(tables.answer.insert(), answers)
    store.close()


def _sitting(n: int) -> dict[str, object]:
    row = {"id": f"{n:032x}", "listener": f"L{n:05d}", "slot": n, "simulated": True, "study_digest": "d"}
    return row | {"started_at": "2030-01-01T00:00:00.000+00:00", "site": ""}


def _answer(n: int, i: int, trial: PlannedTrial, first: bool) -> dict[str, object]:
    row = {
        "sitting": f"{n:032x}",
        "trial": f"{i:04d}",
        "attribute": trial.attribute,
        "task": "paired comparison",
    }
    row |= {
        "clips": " ".join(trial.clips),
        "answer": "first" if first else "second",
        "response_s": 2.5,
        "plays": 1,
    }
    return row | {"practice": False, "answered_at": "2030-01-01T00:00:00.000+00:00"}


def measure(study: Study, n_listeners: int, n_trials: int) -> dict[str, float]:
    """Seconds of each stage at one size, in this process."""
    took: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "answers.sqlite"
        fill(study, place, n_listeners, n_trials)
        key, manifest = Key.load(study.key), Manifest.load(study.manifest)
        with stage("collect", took):
            store = open_store(place, create=False)
            table = keyed_answers.frame(store.answer_columns(), key, manifest)
            store.close()
        names = sorted(table["condition_first"].unique())
        with stage("fit", took):
            found = contrast.fit(contrast.design(table, more=names[-1], than=names[0]))
        with stage("print", took):
            _print(study, table)
        with stage("analyse", took):
            _analyse(study, place)
    took["estimate"] = found.estimate
    took["gib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return took


def _analyse(study: Study, place: Path) -> None:
    """All findings of one planned question: collecting, screening, every fit, verdict and explanation."""
    opened = sealed_key.checked(study)
    asked = [
        q for q in opened.protocol.questions if (q.attribute, q.presentation) == (ATTRIBUTE, PRESENTATION)
    ]
    one = opened.protocol.model_copy(update={"questions": tuple(asked[:1])})
    store = open_store(place, create=False)
    answers = store.answer_columns()
    store.close()
    full_analysis.findings(replace(opened, protocol=one), answers)


def _print(study: Study, table: object) -> None:
    """The page of a panel of this size: the listeners' table grows, the rest does not."""
    from listening.analysis.collect import screening
    from listening.records.found.findings import Findings
    from listening.records.protocols import protocol
    from listening.report.page import page

    rows = screening.listeners(table, protocol.load(study.protocol))
    if study.findings.exists():
        found = Findings.load(study.findings)
        panel = found.panel.model_copy(update={"listeners": tuple(rows)})
        page.render(found.model_copy(update={"panel": panel}))


def main() -> None:
    """Each size in a process of its own, so that memory is its own."""
    words = sys.argv[1:]
    if len(words) == 3 and words[0] == "one":
        n_listeners, n_trials = map(int, words[2].split(":"))
        took = measure(Study(Path(words[1])), n_listeners, n_trials)
        cells = (f"{took[f'{name} wall']:.1f} ({took[name]:.1f})" for name in STAGES)
        n = n_listeners * n_trials
        print(f"| {n_listeners} | {n} | {' | '.join(cells)} | {took['gib']:.1f} |", flush=True)
        return
    print("seconds, in brackets processor seconds\n")
    print(f"| listeners | answers | {' | '.join(STAGES)} | GiB |\n|{'---|' * (len(STAGES) + 3)}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        study = Path(words[0]) if words else demo(Path(folder) / "demo").root
        for size in words[1:] or SIZES[:3]:
            subprocess.run([sys.executable, __file__, "one", str(study), size], check=True)


if __name__ == "__main__":
    main()

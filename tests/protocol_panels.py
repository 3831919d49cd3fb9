"""How often the protocols that are shipped show what they are meant to show: whole simulated panels.

    python tests/protocol_panels.py FOLDER [--panels 40] [--only NAME]

Stimuli are made once a protocol, in FOLDER; each panel has other listeners and other quirks of the strikes,
and is decided as `analyse` decides. Prints one Markdown row a question, with the exact 95 % Monte Carlo
interval.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from listening.analysis.collect import keyed_answers, keyed_discrimination
from listening.analysis.decide import audible, decide, superlative
from listening.commands import new
from listening.design import dealing
from listening.design.dealing import Dealt
from listening.records.protocols import protocol as protocols
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.simulate import panel, percepts
from listening.simulate.listener import Truth
from listening.simulate.percepts import Percepts
from listening.steps import study_stimuli
from stats.deciding import equivalence

ROOT = Path(__file__).resolve().parents[1]
LEVEL_ONLY = "not supported"  # two sounds that differ in level alone: any other word than supported is right
MEANT: Mapping[str, Mapping[str, str]] = {
    "bells": {
        "d-brighter-than-c": "supported",
        "b-brighter-than-a": LEVEL_ONLY,
        "f-longer-than-e": "supported",
        "b-longer-than-a": LEVEL_ONLY,
        "b-louder-than-a": "supported",
        "b-as-loud-as-a-matched": "supported",
        "d-the-brightest": "supported",
    },
    "bells_isolated": {
        "brighter-is-heard": "supported",
        "longer-is-heard": "supported",
        "longer-is-not-brighter": "supported",
        "brighter-is-as-loud": "supported",
    },
    "attribute_rating": {"longer-ringing-beyond-level": "supported"},
    "detection_of_a_small_change": {"brighter-beyond-level": LEVEL_ONLY},
    "difference_beyond_level": {"brighter-beyond-level": "supported"},
    "discrimination": {"discriminated": "contradicted"},
    "main_effect_of_the_support": {
        "free-rings-longer": "supported",
        "d-brighter-than-c-on-either": "supported",
    },
    "preference": {"preferred-beyond-level": "supported"},
    "same_once_matched": {"same-brightness": "supported"},
}


def prepared(name: str, folder: Path) -> tuple[Protocol, Manifest]:
    """The protocol and its stimuli, made in the folder unless they are there."""
    source = ROOT / "protocols" / f"{name}.toml"
    study = Study(folder / name)
    if not study.manifest.is_file():
        study_stimuli.prepare(new.start(study.root, source), jobs=1)
    return protocols.load(source), Manifest.load(study.manifest)


def dealt(chosen: Protocol, stimuli: Manifest) -> Dealt:
    """Orders of one deal; panels differ in listeners and strikes."""
    return dealing.deal(
        chosen,
        stimuli,
        protocol_digest="0" * 64,
        secret="00112233445566778899aabbccddeeff",
        dealt_at="2026-01-01T00:00:00.000+00:00",
    )


def words(chosen: Protocol, stimuli: Manifest, made: Dealt, heard: Percepts, seed: int) -> dict[str, str]:
    """The word on every question, and on every superlative, of one panel."""
    answers = panel.answers(made.plan, heard, n_listeners=chosen.panel.listeners, seed=seed, truth=Truth())
    table = keyed_answers.frame(answers, made.key, stimuli, may_be_empty=True)
    found = {name: one.word for name, one in decide.decide_all(table, chosen).items()}
    told: pd.DataFrame = keyed_discrimination.frame(answers, made.key.clips, made.plan)
    found |= {name: one.word for name, one in audible.questions(told, told, chosen).items()}
    found |= {one.id: superlative.planned(table, one, chosen).word for one in chosen.superlatives}
    return {name: str(word) for name, word in found.items()}


def of_protocol(name: str, folder: Path, panels: int) -> dict[str, Counter[str]]:
    """How often each word fell, by question."""
    chosen, stimuli = prepared(name, folder)
    made = dealt(chosen, stimuli)
    heard = percepts.of_study(made.key, stimuli)
    counts: dict[str, Counter[str]] = {}
    for seed in range(panels):
        for question, word in words(chosen, stimuli, made, heard, seed).items():
            counts.setdefault(question, Counter())[word] += 1
    return counts


def row(name: str, question: str, counted: Counter[str]) -> str:
    """One Markdown row."""
    wanted, n = MEANT[name][question], counted.total()
    right = n - counted["supported"] if wanted == LEVEL_ONLY else counted[wanted]
    low, high = equivalence.clopper_pearson(right, n, 0.025)
    others = ", ".join(f"{word} {times}" for word, times in counted.most_common())
    share = f"{right} of {n} ({100 * low:.0f} to {100 * high:.0f} %)"
    return f"| {name} | {question} | {wanted} | {share} | {others} |"


def main(given: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("--panels", type=int, default=40)
    parser.add_argument("--only", nargs="+", choices=sorted(MEANT))
    args = parser.parse_args(given)
    print("| protocol | question | meant | as meant | words |\n|---|---|---|---|---|")
    for name in args.only or MEANT:
        for question, counted in of_protocol(name, args.folder, args.panels).items():
            print(row(name, question, counted), flush=True)


if __name__ == "__main__":
    main()

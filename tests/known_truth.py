"""Whole studies with known truth, many of them: how often is what is said wrong?

    python tests/known_truth.py [--studies 500] [--where 2] [--only NAME] [--save FOLDER] [--saved-only]

Each study is dealt, answered by a simulated panel and decided by the analysis that decides real ones. Strikes
and listeners are drawn anew in each; the level that matching left over is part of the stimuli. An interrupted
run goes on where it stopped, if FOLDER is the same.
"""

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np
import pandas as pd
from scipy import optimize, special

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide, sensitivity
from listening.analysis.decide.decide import Decided
from listening.design import dealing
from listening.design.dealing import Dealt
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.simulate import panel, percepts
from listening.simulate.listener import Sensitivity, Truth
from stats.deciding import equivalence
from stats.repeats import refits
from tests import slow

SEED = 20261125
STRIKES = 3
BOUND = 0.7  # share of choices: the smallest effect that matters, and the truth of c and d
LAPSES, CARELESS = 0.02, 0.1
LISTENERS_SD, STRIKES_SD = 0.6, 0.3  # of the contrast over listeners, of one strike; logit
SPLIT_LIMIT = 0.5  # share of listeners who may hear a difference of their own
MATCHED_WITHIN_DB = 0.1
SLOPE_SPREAD = 0.3  # of each listener's slopes, relative to their mean
OCTAVES = Sensitivity(level=0.2, brightness=1.0, decay=0.0)  # brightness in logit: one octave is one logit
Words = dict[str, bool]


@dataclass(frozen=True)
class Sounds:
    """What the conditions are: LAFmax as recorded (dB), LAE less LAFmax (dB), brightness (logit)."""

    level_db: dict[str, float]
    energy_db: dict[str, float]
    brightness: dict[str, float]


@dataclass(frozen=True)
class Case:
    """One kind of study, and what of its verdicts would be wrong."""

    name: str
    listeners: int
    sounds: Sounds
    truth: Truth
    presentations: tuple[str, ...] = ("matched",)
    controls: bool = True
    tells: tuple[str, ...] = ()
    """The kinds of statement that are wrong in this case; empty: all."""


def truth(**more: object) -> Truth:
    """Listeners who differ, strikes with quirks of their own, and one in ten who hears nothing."""
    plain = Truth(
        sensitivities={"brightness": OCTAVES},
        slope_spread=SLOPE_SPREAD,
        quirk_sd=STRIKES_SD,
        lapses=LAPSES,
        careless=CARELESS,
        taste_sd=LISTENERS_SD / np.sqrt(2),
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def at_bound() -> float:
    """Mean log-odds at which the whole panel, careless ones and lapses with it, chooses with share BOUND."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)

    def chosen(mean: float) -> float:
        spread = np.sqrt(LISTENERS_SD**2 + (SLOPE_SPREAD * mean) ** 2 + 2 * STRIKES_SD**2)
        attentive = special.expit(mean + spread * nodes) @ weights / weights.sum()
        heard = (1 - LAPSES) * attentive + LAPSES / 2
        return float((1 - CARELESS) * heard + CARELESS / 2 - BOUND)

    return float(optimize.brentq(chosen, 0, 5))


def sounds(energy_b_db: float, apart_db: float, octaves: float) -> Sounds:
    """a and b differ in level alone; d is brighter than c by `octaves`, just at the bound."""
    return Sounds(
        level_db={"a": 70.0, "b": 70.0 + apart_db, "c": 72.0, "d": 75.0},
        energy_db={"a": -6.0, "b": -6.0 + energy_b_db, "c": -5.0, "d": -5.0},
        brightness={"a": 0.0, "b": 0.0, "c": 1.0, "d": 1.0 + octaves},
    )


SUPPORTED = ("supported", "supported, level not taken off", "supported, pooled")
SAME = ("the same", "the same, interval alone", "the same, pooled", "contradicted")
PANELS = tuple(
    Case(f"panel of {n}", n, sounds(1.5, 3.0, at_bound()), truth(), tells=(*SUPPORTED, *SAME))
    for n in (12, 24, 48)
)
# half of the listeners hear a difference that matters, one way or the other: as many as SPLIT_LIMIT
HALF_OUTSIDE = special.logit(BOUND) / special.ndtri(1 - SPLIT_LIMIT / 2)
SPLIT = Case(
    "split panel",
    24,
    sounds(0.0, 0.0, at_bound()),
    truth(careless=0.0, lapses=0.0, quirk_sd=0.1, taste_sd=HALF_OUTSIDE / np.sqrt(2)),
    tells=(*SUPPORTED, "the same, split panel"),
)
LOUD = {"loudness_mix": (0.2, 0.9), "loudness_exponent": (0.6, 1.4), "glare": (0.0, 0.03)}
LEVEL_ONLY = tuple(
    Case(
        f"level only, 12 dB, {name}",
        24,
        sounds(2.0, 12.0, at_bound()),
        truth(**LOUD),
        presentations=presentations,
        controls=controls,
        tells=SUPPORTED,
    )
    for name, controls, presentations in (("control pairs", True, ("matched",)),)
)
CASES = {case.name: case for case in (*PANELS, SPLIT, *LEVEL_ONLY)}


def protocol(case: Case) -> Protocol:
    """One attribute, all pairs of four conditions, the planned ones eight times, four questions."""
    shown = [
        {"name": name} if name == "as recorded" else {"name": name, "metric": "laf_max_db"}
        for name in case.presentations
    ]
    blocks = [
        {"attribute": "brightness", "presentation": name, "pairs": "all", "repeats": 1, "planned_repeats": 8}
        for name in case.presentations
    ]
    asked = [("beyond level", "more", "b", "a"), ("same", "same", "d", "c"), ("more", "more", "d", "c")]
    asked += [("split", "same", "b", "a")]
    questions = [
        {
            "id": name,
            "kind": kind,
            "attribute": "brightness",
            "presentation": "matched",
            "contrast": {"more": more, "than": than},
            "smallest_effect": 0.55 if name == "beyond level" else BOUND,
            "split_limit": SPLIT_LIMIT,
        }
        for name, kind, more, than in asked
    ]
    return Protocol.model_validate(
        {
            "format": 1,
            "name": "known-truth",
            "title": "Known truth",
            "seed": 1,
            "recordings": {"folder": "nowhere", "factors": ["design"]},
            "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": case.listeners},
            "presentations": shown,
            "attributes": [
                {"name": "brightness", "wording": "Which is brighter?", "comparative": "brighter"}
            ],
            "blocks": blocks,
            "controls": [{"attribute": "brightness", "gains_db": [2.0, 6.0], "repeats": 4}]
            if case.controls
            else [],
            "sitting": {"welcome": "Welcome.", "consent": "I agree."},
            "questions": questions,
        }
    )


def manifest(case: Case, rng: np.random.Generator) -> Manifest:
    """Stimuli as matched within the tolerance on LAFmax, so that LAE and own loudness stay apart."""
    made = []
    for condition in case.sounds.level_db:
        for strike in range(1, STRIKES + 1):
            own = rng.normal(0, 0.4)
            energy = case.sounds.energy_db[condition] + rng.normal(0, 0.1)
            for presentation in case.presentations:
                level = 70.0 + rng.uniform(-1, 1) * MATCHED_WITHIN_DB
                if presentation == "as recorded":
                    level = case.sounds.level_db[condition] + own
                made.append(_stimulus(case, condition, strike, presentation, level, energy))
    return Manifest(
        version="made up",
        protocol_digest="0" * 64,
        rate_hz=48000,
        calibrated=True,
        matching_metric="laf_max_db",
        matching_label="level-based (LAFmax)",
        target=70.0,
        tolerance_db=MATCHED_WITHIN_DB,
        headroom_offset_db=0.0,
        stimuli=tuple(made),
    )


def _stimulus(
    case: Case, condition: str, strike: int, presentation: str, level_db: float, energy_db: float
) -> Stimulus:
    name = f"{condition}-{strike}"
    return Stimulus(
        stimulus=f"{name} {presentation}",
        role="study",
        recording=name,
        condition=condition,
        strike=str(strike),
        presentation=presentation,
        file="",
        digest="0" * 64,
        gain_db=0.0,
        before={},
        after={
            "laf_max_db": level_db,
            "lae_db": level_db + energy_db,
            "centroid_hz": float(2000 * 2 ** case.sounds.brightness[condition]),
            "t60_s": 1.0,
        },
        residual_db=None,
    )


@cache
def dealt(case_name: str) -> tuple[Protocol, Dealt]:
    """The orders of a case, dealt once: studies differ in listeners and stimuli."""
    case = CASES[case_name]
    chosen = protocol(case)
    made = dealing.deal(
        chosen,
        manifest(case, np.random.default_rng(0)),
        protocol_digest="0" * 64,
        secret="00112233445566778899aabbccddeeff",
        dealt_at="2026-01-01T00:00:00.000+00:00",
    )
    return chosen, made


def study(case_name: str, rng: np.random.Generator) -> Words:
    """What one study said that is not so, by kind of statement."""
    case = CASES[case_name]
    chosen, made = dealt(case_name)
    stimuli = manifest(case, rng)
    answers = panel.answers(
        made.plan,
        percepts.of_study(made.key, stimuli),
        n_listeners=case.listeners,
        seed=int(rng.integers(2**31)),
        truth=case.truth,
    )
    table = keyed_answers.frame(answers, made.key, stimuli)
    return _said(table, {question.id: question for question in chosen.questions}, case.tells)


def _said(table: pd.DataFrame, asked: dict[str, Question], tells: tuple[str, ...]) -> Words:
    beyond = decide.decide_question(table, asked["beyond level"])
    said = {
        "supported": beyond.word == "supported",
        "supported, level not taken off": _direct(beyond) == "supported",
        "supported, pooled": sensitivity.pooled(beyond).word == "supported",
    }
    if "the same, split panel" in tells:
        split = decide.decide_question(table, asked["split"])
        said["the same, split panel"] = split.word == "supported"
    if "the same" in tells:
        same = decide.decide_question(table, asked["same"])
        more = decide.decide_question(table, asked["more"])
        said |= {
            "the same": same.word == "supported",
            "the same, interval alone": same.judged is not None and same.judged.rejects,
            "the same, pooled": sensitivity.pooled(same).word == "supported",
            "contradicted": more.word == "contradicted",
        }
    return said


def _direct(decided: Decided) -> str | None:
    """The word without regard to level."""
    return decided.judged.direct.word if decided.judged is not None else None


def simulate(
    case: Case,
    studies: int,
    *,
    where: int | str = 1,
    save: Path | None = None,
    tell: Callable[[str], None] = print,
) -> list[Words]:
    """What each of so many studies said; those saved before are not made again."""
    done = saved(case, save) if save else {}
    seeds = refits.seeds(SEED, studies)

    def keep(number: int, result: list[Words]) -> None:
        done[number] = result
        if save:
            _path(case, save).write_text(json.dumps(done))
        tell(f"{case.name}: {sum(map(len, done.values()))} of {studies}")

    known = {n: r for n, r in done.items() if len(r) == len(seeds[n * refits.CHUNK : (n + 1) * refits.CHUNK])}
    return refits.run(partial(study, case.name), seeds, where, done=known, on_chunk=keep)


def saved(case: Case, save: Path) -> dict[int, list[Words]]:
    """What the studies of a case said, by number of the chunk, as far as they were simulated."""
    path = _path(case, save)
    return {int(k): v for k, v in json.loads(path.read_text()).items()} if path.is_file() else {}


def _path(case: Case, save: Path) -> Path:
    return save / f"{case.name.replace(', ', '-').replace(' ', '-')}.json"


def shares(case: Case, said: Sequence[Words]) -> dict[str, float]:
    """Share of studies by kind of statement, all of them wrong in this case."""
    return {name: float(np.mean([one.get(name, False) for one in said])) for name in case.tells}


def table(found: dict[str, list[Words]], wanted: int = 0) -> str:
    """Markdown: one row a case, with the 95 % Monte Carlo interval of each share; a row cut off says so.

    wanted : studies of each case when it is complete; 0: whatever there is
    """
    made = {name: shares(CASES[name], said) for name, said in found.items() if said}
    columns = list(dict.fromkeys(what for row in made.values() for what in row))
    lines = [f"| studies | n | {' | '.join(columns)} |", "|---|---|" + "---|" * len(columns)]
    for name, row in made.items():
        n = len(found[name])
        cells = [_share(row[what], n) if what in row else "" for what in columns]
        short = f", CUT OFF: {n} of {wanted}" if n < wanted else ""
        lines.append(f"| {name}{short} | {n} | {' | '.join(cells)} |")
    return "\n".join(lines)


def state_of(save: Path) -> str:
    """The commit whose studies a folder holds; the code at hand if it holds none yet.

    Raises
    ------
    SystemExit
        They are of another state of the code: two must not be mixed in one table.
    """
    state, commit = slow.state()
    file = save / "code.json"
    if file.is_file():
        kept = json.loads(file.read_text())
        if kept["state"] != state:
            raise SystemExit(
                f"{save}: holds studies of commit {kept['commit']}, the code at hand is another ({commit}); "
                "name another folder, or print what it holds with --saved-only"
            )
    else:
        file.write_text(json.dumps({"state": state, "commit": commit}))
    return commit


def _share(share: float, studies: int) -> str:
    low, high = equivalence.clopper_pearson(round(share * studies), studies, 0.025)
    return f"{100 * share:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def main(given: Sequence[str] | None = None) -> int:
    """Simulate and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--studies", type=int, default=500)
    parser.add_argument("--where", type=int, default=1)
    parser.add_argument("--only", action="append", choices=sorted(CASES))
    parser.add_argument("--save", type=Path)
    parser.add_argument("--saved-only", action="store_true", help="print what FOLDER holds, simulate nothing")
    args = parser.parse_args(given)
    cases = [CASES[name] for name in args.only or CASES]
    if args.saved_only:
        kept = {c.name: [one for chunk in saved(c, args.save).values() for one in chunk] for c in cases}
        file = args.save / "code.json"
        commit = json.loads(file.read_text())["commit"] if file.is_file() else "unknown"
        print(f"commit {commit}\n\n{table(kept, args.studies)}")
        return 0
    commit = slow.state()[1]
    if args.save:
        args.save.mkdir(parents=True, exist_ok=True)
        commit = state_of(args.save)
    found = {c.name: simulate(c, args.studies, where=args.where, save=args.save) for c in cases}
    print(f"commit {commit}\n\n{table(found, args.studies)}")
    return 0


if __name__ == "__main__":
    from tests import known_truth  # by its own name, so that other processes find it

    raise SystemExit(known_truth.main())

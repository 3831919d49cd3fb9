"""A whole study of up to a million answers: analysed, reported, exported and verified.

    python bench/end_to_end.py [LISTENERS ...]

Prints a table for docs/growth.md: wall-clock seconds and the largest memory of each command, each in a
process of its own. 200 answers a listener, to one question. The answers come from a model with known truth
and put into the store in bulk, each with the chain that a sitting would have written: sitting takes hours.
The orders of 10 slots are dealt and taken again and again: a slot of 200 trials takes long to order.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from listening import cli
from listening.design import slots
from listening.design.draws import Draws
from listening.design.order import Ordered
from listening.records.dealt.plan import Plan, PlannedTrial
from listening.records.keys.key import Key
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.steps import study_deal
from listening.store import chain, open_store, tables

ROOT = Path(__file__).resolve().parent.parent
SIZES = (10, 50, 500, 5000)
SLOTS_ORDERED = 10
PAIRS, PLANNED, CONTROL = 10, 40, 10  # hearings of each of 15 pairs, of the planned one, of a control pair
COMMANDS = (
    ["desk", "STUDY"],
    ["analyse", "STUDY"],
    ["report", "STUDY", "--no-sounds"],
    ["export", "STUDY"],
    ["verify", "STUDY"],
)
AT = "2030-01-01T00:00:00.000+00:00"
ORDER, SD_LISTENER, SD_STIMULUS = 0.2, 0.5, 0.15
CHUNK = 100


def protocol(n_listeners: int) -> str:
    """The demo's protocol with its first question alone."""
    text = (ROOT / "protocols" / "bells.toml").read_text()
    head, rest = text.split("[[blocks]]", 1)
    blocks, rest = rest.split("[sitting]", 1)
    sitting, questions = rest.split("[[questions]]", 1)
    first = questions.split("[[questions]]", 1)[0]
    one = blocks.split("[[blocks]]", 1)[0]
    one = one.replace("repeats = 2", f"repeats = {PAIRS}").replace(
        "planned_repeats = 8", f"planned_repeats = {PLANNED}"
    )
    control = f'[[controls]]\nattribute = "brightness"\ngains_db = [1.5, 4.0]\nrepeats = {CONTROL}\n'
    head = head.replace("listeners = 24", f"listeners = {n_listeners}")
    head = head.replace('"../stimuli_demo"', f'"{ROOT / "stimuli_demo"}"')
    asked = [part for part in head.split("[[attributes]]") if '"ringing"' not in part[:30]]
    asked = [part for part in asked if 'name = "loudness"' not in part[:30]]
    family = first.replace('family = "brightness"\n', "")
    sitting = sitting.replace("fewest = 20", f"fewest = {n_listeners}")
    return f"{'[[attributes]]'.join(asked)}[[blocks]]{one}{control}[sitting]{sitting}[[questions]]{family}"


def main() -> None:
    """Each size after the other; the recordings are measured and matched once."""
    sizes = [int(word) for word in sys.argv[1:]] or list(SIZES)
    names = [words[0] for words in COMMANDS]
    print(f"| listeners | answers | {' | '.join(names)} |\n|{'---|' * (len(names) + 2)}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        text = Path(folder) / "protocol.toml"
        study = Study(Path(folder) / "study")
        text.write_text(protocol(8))
        for words in (["new", str(study.root), "--from", str(text)], ["measure", str(study.root)]):
            _quietly(words)
        for n in sizes:
            _one(study, n)


def _one(study: Study, n_listeners: int) -> None:
    text = study.protocol.read_text()
    was = next(line for line in text.splitlines() if line.startswith("listeners = "))
    fewest = next(line for line in text.splitlines() if line.startswith("fewest = "))
    text = text.replace(was, f"listeners = {n_listeners}").replace(fewest, f"fewest = {n_listeners}")
    with tempfile.TemporaryDirectory() as place:
        here = Study(Path(place) / "study")
        subprocess.run(["cp", "-a", str(study.root), str(here.root)], check=True)
        here.protocol.write_text(text)
        _quietly(["prepare", str(here.root)])
        _deal(here)
        n_answers = fill(here)
        cells = [_timed([word.replace("STUDY", str(here.root)) for word in words]) for words in COMMANDS]
        print(f"| {n_listeners} | {n_answers} | {' | '.join(cells)} |", flush=True)


def _deal(study: Study) -> None:
    """In a process of its own, for what it takes stays with it."""
    pid = os.fork()
    if not pid:
        slots.of_study = _few_slots
        study_deal.deal(study)
        os._exit(0)
    if os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]):
        raise SystemExit("the deal failed")


def _few_slots(chosen: Protocol, manifest: Manifest, draws: Draws) -> list[Ordered]:
    wanted = chosen.panel.listeners
    panel = chosen.panel.model_copy(update={"listeners": min(wanted, SLOTS_ORDERED)})
    ordered = list(slots.in_turn(chosen.model_copy(update={"panel": panel}), manifest, draws))
    return [ordered[n % len(ordered)] for n in range(wanted)]


def _quietly(words: list[str]) -> None:
    with open(os.devnull, "w") as nowhere:
        subprocess.run([sys.executable, "-m", "listening", *words], check=True, stdout=nowhere)


def _timed(words: list[str]) -> str:
    """Wall seconds and GiB of a command."""
    started_s = time.monotonic()
    pid = os.fork()
    if not pid:
        with open(os.devnull, "w") as nowhere:
            sys.stdout = nowhere
            os._exit(cli.main(words))
    _, status, used = os.wait4(pid, 0)
    if os.waitstatus_to_exitcode(status):
        raise SystemExit(f"{' '.join(words)} ended with {os.waitstatus_to_exitcode(status)}")
    return f"{time.monotonic() - started_s:.1f} s, {used.ru_maxrss / 2**20:.2f} GiB"


def fill(study: Study) -> int:
    """Every slot answered to its end; how many answers there are."""
    plan, key = Plan.load(study.plan), {clip.clip: clip for clip in Key.load(study.key).clips}
    conditions = sorted({clip.condition for clip in key.values()})
    stimuli = sorted({clip.stimulus for clip in key.values()})
    rng = np.random.default_rng(1)
    quirk = dict(zip(stimuli, rng.normal(0, SD_STIMULUS, len(stimuli)), strict=True))
    strength = np.linspace(-0.5, 0.5, len(conditions))
    task = {one.name: one.task for one in plan.attributes}
    store = open_store(study.answers, durable=False)
    n_answers = 0
    for first in range(0, len(plan.slots), CHUNK):
        rows: dict[str, list[dict[str, object]]] = {
            name: [] for name in ("sitting", "slot", "answer", "event")
        }
        heads = []
        for slot in plan.slots[first : first + CHUNK]:
            own = dict(zip(conditions, strength + rng.normal(0, SD_LISTENER, len(conditions)), strict=True))
            worth = [
                sum(_worth(key[c], own, quirk) * s for c, s in zip(t.clips, (1, -1), strict=True))
                for t in slot.trials
            ]
            said = rng.random(len(worth)) < 1 / (1 + np.exp(-(ORDER + np.array(worth))))
            sitting = _sitting(slot.slot, plan.study_digest)
            _chained(sitting, slot.trials, said, task, rows)
            heads.append(sitting)
            n_answers += len(slot.trials)
        with store._engine.begin() as connection:
            for name, made in rows.items():
                connection.execute(tables.metadata.tables[name].insert(), made)
            for sitting in heads:
                chain.write_down(
                    connection,
                    at=AT,
                    kind=chain.BEGAN,
                    sitting=str(sitting["id"]),
                    detail=chain.of_row(sitting),
                )
                chain.write_down(
                    connection,
                    at=AT,
                    kind=chain.FINISHED,
                    sitting=str(sitting["id"]),
                    detail=str(sitting["head"]),
                )
    store.close()
    return n_answers


def _worth(clip: object, own: dict[str, float], quirk: dict[str, float]) -> float:
    return own[clip.condition] + quirk[clip.stimulus]  # type: ignore[attr-defined]


def _sitting(slot: int, study_digest: str) -> dict[str, object]:
    row: dict[str, object] = {
        "id": f"{slot:032x}",
        "listener": f"L{slot:05d}",
        "slot": slot,
        "simulated": True,
    }
    row |= {"study_digest": study_digest, "started_at": AT, "site": "", "finished_at": AT}
    return row


def _chained(
    sitting: dict[str, object],
    trials: tuple[PlannedTrial, ...],
    said: np.ndarray,
    task: dict[str, str],
    rows: dict[str, list[dict[str, object]]],
) -> None:
    """A sitting's rows as it writes them: that it began, its answers, that it finished."""
    of = sitting["id"]
    event = {"sitting": of, "at": AT, "trial": None, "detail": ""}
    told = [(chain.EVENT, {**event, "kind": "began"})]
    for trial, is_first in zip(trials, said, strict=True):
        answer = {
            "sitting": of,
            "trial": trial.trial,
            "attribute": trial.attribute,
            "task": task[trial.attribute],
        }
        answer |= {"clips": " ".join(trial.clips), "answer": "first" if is_first else "second"}
        answer |= {"response_s": 2.5, "plays": 1, "practice": trial.practice, "answered_at": AT}
        told.append((chain.ANSWER, answer))
    told.append((chain.EVENT, {**event, "kind": "finished"}))
    head = chain.genesis(sitting)
    for place, (kind, row) in enumerate(told, start=1):
        head = chain.link(head, place, kind, row)
        rows[kind].append({**row, "link": place, "chain": head})
    rows["sitting"].append({**sitting, "links": len(told), "head": head})
    rows["slot"].append({"slot": sitting["slot"], "simulated": True, "sitting": of})
    sitting["head"] = head


if __name__ == "__main__":
    main()

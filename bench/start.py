"""How long commands take to answer, as ratios to `python -c "import numpy"` of the same run.

Run: `python bench/start.py`. Each command runs a few times, in turn with the yardstick; the shortest counts.
The budget stands beside. A first run is one after `make`, which compiles ahead, or one with empty caches of
compiled code, as after `pip install` alone.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
RUNS = 5
LISTENING = [sys.executable, "-m", "listening"]
YARDSTICK = [sys.executable, "-c", "import numpy"]


def spent_s(words: list[str], folder: Path, cache: Path) -> float:
    """Processor time of one run, user and system: other work on the machine does not count."""
    environment = os.environ | {"NUMBA_CACHE_DIR": str(cache), "PYTHONPATH": str(ROOT)}
    before = os.times()
    subprocess.run(words, cwd=folder, env=environment, capture_output=True, check=False)
    after = os.times()
    return (after.children_user - before.children_user) + (after.children_system - before.children_system)


def pairs_csv(path: Path) -> Path:
    """1,000 seeded answers on eight items by twenty listeners."""
    rng = np.random.default_rng(1)
    strength = rng.normal(size=8)
    rows = ["first,second,answer,listener"]
    for number in range(1000):
        one, other = rng.choice(8, 2, replace=False)
        share = 1 / (1 + np.exp(strength[other] - strength[one] - 0.2))
        answer = "first" if rng.random() < share else "second"
        rows.append(f"{'abcdefgh'[one]},{'abcdefgh'[other]},{answer},l{number % 20}")
    path.write_text("\n".join(rows) + "\n")
    return path


def commands(folder: Path) -> dict[str, tuple[list[str], float | None]]:
    """What is timed, and its budget."""
    study = folder / "study"
    subprocess.run(
        [*LISTENING, "new", study, "--from", ROOT / "protocols" / "bells.toml"], check=True, cwd=ROOT
    )
    pairs = str(pairs_csv(folder / "pairs.csv"))
    return {
        "fit pairs: a wrong option": (["fit", "pairs", pairs, "--link", "other"], 2.0),
        "fit pairs: no such file": (["fit", "pairs", "nowhere.csv"], 2.0),
        **{f"{step}: no such folder": ([step, "nowhere"], 2.0) for step in STEPS},
        "fit counts": (["fit", "counts", "--task", "triangle", "--correct", "20", "--trials", "40"], 4.0),
        "fit pairs, 1,000 rows": (["fit", "pairs", pairs, "--order"], 8.0),
        "check of the demo": (["check", str(study)], 8.0),
        "fit pairs with slopes": (["fit", "pairs", pairs, "--order", "--slopes", "order"], None),
    }


STEPS = ("check", "measure", "prepare", "deal", "sit", "simulate", "analyse", "report", "export", "size")


def first_to_second(words: list[str], folder: Path, cache: Path) -> float:
    """Time of the first run with this cache over that of the second."""
    first, second = (spent_s([*LISTENING, *words], folder, cache) for _ in range(2))
    return first / second


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder, ahead = Path(name), Path(name) / "ahead"
        spent_s([sys.executable, "-m", "listening.compile_ahead"], folder, ahead)
        print(f"{'':<28}{'':>7}{'':>8}{'first run / second':>24}")
        print(f"{'':<28}{'ratio':>7}{'budget':>8}{'after make':>12}{'after pip':>12}")
        for what, (words, budget) in commands(folder).items():
            place = what.replace("/", " ")
            own, bare = folder / f"cache of {place}", folder / f"bare {place}"
            shutil.copytree(ahead, own)
            made, piped = first_to_second(words, folder, own), first_to_second(words, folder, bare)
            pairs = [
                (spent_s(YARDSTICK, folder, own), spent_s([*LISTENING, *words], folder, own))
                for _ in range(RUNS)
            ]
            ratio = min(b for _, b in pairs) / min(a for a, _ in pairs)
            said = "" if budget is None else f"{budget:.0f}"
            print(f"{what:<28}{ratio:>7.1f}{said:>8}{made:>12.1f}{piped:>12.1f}", flush=True)


if __name__ == "__main__":
    main()

"""The same numbers on every processor? Fast numeric tests and a study's analysis under several kernel sets.

    python tests/processors/processors.py STUDY ... [--short] [--save FOLDER]

OpenBLAS, NumPy, numba and the C library each carry code for several generations of processors and pick one at
the start. Each set below asks them for one of these, so that one machine stands for several. Everything runs
in every set; the table shows, result by result, the largest difference from this machine's own choice. Exit
code 1 where a test fails, a number differs by more than `BOUND`, or a verdict differs. Other kinds of machine
(ARM) need a run there.
"""

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from listening.analysis.again import reanalysis  # noqa: E402
from listening.commands import verify  # noqa: E402
from listening.records.found.findings import Findings  # noqa: E402
from listening.records.study import Study, open_analysed  # noqa: E402
from listening.store.store import utc_now  # noqa: E402

BOUND = 1e-7  # of max(1, the number): a tenth of what `verify` lets pass, far below every printed digit
NUMERIC_TESTS = ("tests/stats", "tests/metrics", "tests/analysis/decide")
SHORT_TESTS = (
    "tests/stats/deciding",
    "tests/stats/mixed",
    "tests/stats/linear",
    "tests/metrics/test_partials.py",
)
ROWS = 25


@dataclass(frozen=True)
class Kernels:
    """One generation of processors, as each library names it."""

    name: str
    blas: str
    numba: str
    numpy_without: tuple[str, ...]
    """What NumPy may not use: its dispatched sets that are newer than this generation."""
    libc_without: str
    threads: int = 1

    def environment(self) -> dict[str, str]:
        chosen = {key: str(self.threads) for key in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")}
        if self.blas:
            chosen |= {"OPENBLAS_CORETYPE": self.blas, "NUMBA_CPU_NAME": self.numba, "NUMBA_CPU_FEATURES": ""}
            chosen["NPY_DISABLE_CPU_FEATURES"] = " ".join(self.numpy_without)
        if self.libc_without:
            chosen["GLIBC_TUNABLES"] = f"glibc.cpu.hwcaps={self.libc_without}"
        return os.environ | chosen


def kernel_sets(*, short: bool) -> list[Kernels]:
    """The machine's own choice first; older ones after it, for x86-64. Each with one thread and with two."""
    own = Kernels("own choice", "", "", (), "")
    sets = [own]
    if platform.machine() in ("x86_64", "AMD64"):
        no_avx = "-AVX,-AVX2,-FMA,-AVX512F,-AVX512VL"
        sets += [
            Kernels("Prescott", "Prescott", "x86-64", _numpy_above("X86_V2"), no_avx),
            Kernels("Nehalem", "Nehalem", "nehalem", _numpy_above("X86_V2"), no_avx),
            Kernels("Haswell", "Haswell", "haswell", _numpy_above("X86_V3"), "-AVX512F,-AVX512VL"),
            Kernels("SkylakeX", "SkylakeX", "skylake-avx512", _numpy_above("X86_V4"), ""),
        ]
    if short:
        return [one for one in sets if one.name in ("own choice", "Prescott", "Haswell")]
    two = [Kernels(f"{k.name}, 2 threads", *_parts(k), threads=2) for k in sets]
    return [*sets, *two]


def _parts(kernels: Kernels) -> tuple[str, str, tuple[str, ...], str]:
    return kernels.blas, kernels.numba, kernels.numpy_without, kernels.libc_without


def _numpy_above(kept: str) -> tuple[str, ...]:
    """The sets of instructions that NumPy uses on this machine beyond those of `kept`."""
    from numpy._core import _multiarray_umath as umath

    order = ["X86_V2", "X86_V3", "X86_V4", *umath.__cpu_dispatch__]
    newer = [one for one in umath.__cpu_dispatch__ if order.index(one) > order.index(kept)]
    return tuple(one for one in newer if umath.__cpu_features__.get(one))


@dataclass(frozen=True)
class Run:
    """What one kernel set gave."""

    kernels: Kernels
    numbers: dict[str, np.ndarray]
    failed: tuple[str, ...]


def run(kernels: Kernels, studies: Sequence[Path], tests: tuple[str, ...], folder: Path) -> Run:
    """The tests and the studies' analyses under one kernel set, each in a process of its own."""
    own = folder / kernels.name.replace(", ", "_").replace(" ", "_")
    recorded = own.with_suffix(".npz")
    failed: list[str] = []
    found: dict[str, np.ndarray] = {}
    if kernels.threads == 1:  # small systems: threads matter to the analysis alone
        words = ["-m", "pytest", "-q", "-m", "not slow", "-p", "tests.processors.recorder", "--record"]
        done = _python(kernels, [*words, str(recorded), *tests])
        failed += [line.split(" - ")[0] for line in done.stdout.splitlines() if line.startswith("FAILED")]
        if done.returncode and not failed:
            failed.append(f"pytest exits {done.returncode}: {done.stdout[-300:]}{done.stderr[-300:]}")
    for study in studies:
        analysed = own.with_name(f"{own.name}_{study.name}.json")
        done = _python(kernels, [str(Path(__file__)), str(study), "--analyse-to", str(analysed)])
        if done.returncode:
            failed.append(f"analysis of {study.name} exits {done.returncode}: {done.stderr[-500:]}")
        found |= _findings(analysed, study.name)
    return Run(kernels, {**_loaded(recorded), **found}, tuple(failed))


def _python(kernels: Kernels, words: list[str]) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env=kernels.environment(),
        capture_output=True,
        text=True,
        check=False,
    )


def _loaded(path: Path) -> dict[str, np.ndarray]:
    if not path.is_file():
        return {}
    with np.load(path) as file:
        return dict(file)


def _findings(path: Path, study: str) -> dict[str, np.ndarray]:
    """The numbers of findings, and their words, each under its study and part of the findings."""
    if not path.is_file():
        return {}
    dumped = json.loads(path.read_text())
    return {
        f"{study} findings.{part}|{place}": np.array([value])
        for part in dumped
        for place, value in _leaves(part, dumped[part])
    }


def _leaves(place: str, value: object) -> Iterator[tuple[str, object]]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield from _leaves(f"{place}.{key}", one)
    elif isinstance(value, list):
        for i, one in enumerate(value):
            yield from _leaves(f"{place}[{i}]", one)
    else:
        yield place, float(value) if isinstance(value, int | float) else str(value)


def analyse(folder: Path, to: Path) -> None:
    """The findings of a study once more, to a file; nothing in the study's folder is written."""
    with tempfile.TemporaryDirectory() as work:
        copy = Path(work) / "study"
        shutil.copytree(folder, copy)  # the opening of the key is logged there
        study: Study = open_analysed(copy)
        on_disk = Findings.load(study.findings)
        found = reanalysis.findings(study, on_disk, now=utc_now)
        again = {"page": verify.page(study, on_disk), "claims sheet": verify.sheet(study, on_disk)}
    # the record's head holds the time at which the key was opened just now
    dumped = found.model_dump(mode="json", exclude={"method": {"versions"}, "record": {"head"}})
    to.write_text(json.dumps(dumped | {"written again": again}))


@dataclass(frozen=True)
class Difference:
    """The largest difference of one kind of result."""

    result: str
    largest: float
    place: str
    kernels: str


def compare(first: Run, others: list[Run]) -> list[Difference]:
    """Largest difference of each kind of result, worst first; infinite where a word or a count differs."""
    worst: dict[str, Difference] = {}
    for other in others:
        shared = first.numbers.keys() & other.numbers.keys()
        if other.kernels.threads == 1:
            shared = first.numbers.keys() | other.numbers.keys()
        for key in sorted(shared):
            result, _, place = key.partition("|")
            size = _apart(first.numbers.get(key), other.numbers.get(key))
            if result not in worst or size > worst[result].largest:
                worst[result] = Difference(result, size, place, other.kernels.name)
    return sorted(worst.values(), key=lambda one: -one.largest)


def _apart(one: np.ndarray | None, other: np.ndarray | None) -> float:
    """Largest difference in units of max(1, size of the number)."""
    if one is None or other is None or one.shape != other.shape:
        return np.inf
    if one.dtype.kind not in "fiub" or other.dtype.kind not in "fiub":
        return 0.0 if (one == other).all() else np.inf
    with np.errstate(invalid="ignore"):
        apart = np.abs(one - other) / np.maximum(1.0, np.abs(one))
    same = (one == other) | (np.isnan(one) & np.isnan(other))
    return float(np.where(same, 0.0, np.where(np.isnan(apart), np.inf, apart)).max(initial=0.0))


def report(runs: list[Run], differences: list[Difference]) -> str:
    """The table, and what it comes to."""
    kinds = defaultdict(int)
    for key in runs[0].numbers:
        kinds[key.partition("|")[0]] += runs[0].numbers[key].size
    lines = [
        f"{len(runs)} kernel sets: {'; '.join(one.kernels.name for one in runs)}",
        f"{sum(kinds.values())} numbers of {len(kinds)} kinds of result, against {runs[0].kernels.name}",
        "",
        f"{'largest difference':>18}  {'under':<24} {'numbers':>8}  result",
    ]
    for one in differences[:ROWS]:
        lines.append(f"{one.largest:18.1e}  {one.kernels:<24} {kinds[one.result]:8d}  {one.result}")
    rest = len(differences) - ROWS
    if rest > 0:
        lines.append(f"{'':>18}  and {rest} kinds of result that differ less")
    over = [one for one in differences if one.largest > BOUND]
    lines += ["", f"over {BOUND:.0e} of max(1, the number): {len(over) or 'none'}"]
    lines += [f"  {one.result}: {one.largest:.1e} under {one.kernels}, {one.place}" for one in over]
    lines += [f"FAILED under {run.kernels.name}: {line}" for run in runs for line in run.failed]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("studies", type=Path, nargs="*", help="study folders, analysed (make demo)")
    parser.add_argument("--short", action="store_true", help="three kernel sets, the deciding numbers alone")
    parser.add_argument("--save", type=Path, help="folder that keeps what each kernel set gave")
    parser.add_argument("--analyse-to", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.analyse_to:
        analyse(args.studies[0], args.analyse_to)
        return 0
    with tempfile.TemporaryDirectory() as work:
        folder = args.save or Path(work)
        folder.mkdir(parents=True, exist_ok=True)
        runs = []
        for kernels in kernel_sets(short=args.short):
            print(f"  {kernels.name} ...", file=sys.stderr, flush=True)
            runs.append(run(kernels, args.studies, SHORT_TESTS if args.short else NUMERIC_TESTS, folder))
    differences = compare(runs[0], runs[1:])
    print(report(runs, differences))
    bad = any(one.failed for one in runs) or any(one.largest > BOUND for one in differences)
    return int(bad or len(runs) < 2)


if __name__ == "__main__":
    sys.exit(main())

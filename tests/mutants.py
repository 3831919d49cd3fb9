"""Small faults put into deciding and protecting code, one at a time: do the fast tests notice?

    python tests/mutants.py [FILE ...] [--each 8] [--seed 1] [--all] [--named]

Each mutant changes one place of one file in a copy of the source tree (a comparison, an operator, a number, a
condition, a statement left out) and runs the tests that `GUARDS` names for that file. A survivor is a rule
that no test holds; those that change nothing, or nothing that matters, stand with their reason in
`tests/mutants_known.toml`.
Exit code 1 where fewer than 90 % of the others are caught. `--named` puts in the faults of
`tests/mutants_named.toml`, which lived once: exit code 1 where one lives again.
"""

import argparse
import ast
import importlib
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
KNOWN = Path(__file__).with_name("mutants_known.toml")
NAMED = Path(__file__).with_name("mutants_named.toml")
GOAL = 0.9
SLOWEST_S = 180.0  # a mutant whose tests take longer hangs, and counts as caught
DECIDING = "tests/stats/deciding"
SITTINGS = (
    "tests/session/test_sitting.py",
    "tests/session/test_before_the_trials.py",
    "tests/session/test_hearing_check.py",
    "tests/session/test_tasks.py",
    "tests/session/test_pacing.py",
    "tests/session/test_training.py",
)
GUARDS: dict[str, tuple[str, ...]] = {
    "stats/deciding/verdict.py": (f"{DECIDING}/test_verdict.py",),
    "stats/deciding/share_verdict.py": (
        f"{DECIDING}/test_share_verdict.py",
        f"{DECIDING}/test_level_bound.py",
    ),
    "stats/deciding/equivalence.py": (f"{DECIDING}/test_equivalence.py",),
    "stats/deciding/alpha_spending.py": (f"{DECIDING}/test_alpha_spending.py",),
    "stats/deciding/direct_share.py": (f"{DECIDING}/test_direct_share.py",),
    "stats/deciding/own_shares.py": (f"{DECIDING}/test_direct_share.py",),
    "stats/deciding/averaged_share.py": (f"{DECIDING}/test_averaged_share.py",),
    "stats/deciding/planned_pair.py": (f"{DECIDING}/test_planned_pair.py",),
    "stats/deciding/session_comparison.py": (f"{DECIDING}/test_session_comparison.py",),
    "stats/deciding/transitivity.py": (f"{DECIDING}/test_transitivity.py",),
    "stats/deciding/strike_variance.py": (
        f"{DECIDING}/test_direct_share.py",
        f"{DECIDING}/test_strike_variance.py",
    ),
    "stats/deciding/level_bound.py": (f"{DECIDING}/test_level_bound.py",),
    "stats/deciding/listeners_outside.py": (f"{DECIDING}/test_listeners_outside.py",),
    "stats/deciding/multiplicity.py": (f"{DECIDING}/test_multiplicity.py",),
    "stats/linear/satterthwaite.py": ("tests/stats/linear/test_degrees_of_freedom.py",),
    "stats/mixed/marginal_share.py": ("tests/stats/mixed/test_marginal_share_ratio.py",),
    "stats/measured/ratio_interval.py": ("tests/stats/mixed/test_marginal_share_ratio.py",),
    "stats/agreement.py": ("tests/stats/test_agreement.py",),
    "listening/analysis/decide/decide.py": ("tests/analysis/decide/test_decide.py",),
    "listening/analysis/decide/direct_answers.py": (
        "tests/analysis/decide/test_decide.py",
        "tests/analysis/decide/test_contrasts.py",
    ),
    "listening/analysis/decide/level_taken.py": ("tests/analysis/decide/test_decide.py",),
    "listening/analysis/decide/superlative.py": ("tests/analysis/decide/test_superlative.py",),
    "listening/analysis/decide/families.py": ("tests/analysis/decide/test_families.py",),
    "listening/analysis/decide/contrast.py": ("tests/analysis/decide/test_contrast.py",),
    "listening/analysis/decide/beside.py": ("tests/analysis/decide/test_contrast.py",),
    "listening/analysis/decide/confidence_limits.py": ("tests/analysis/decide/test_confidence_limits.py",),
    "listening/analysis/decide/planned_ratio.py": ("tests/analysis/decide/test_claimed_ratio.py",),
    "listening/analysis/ratings/decided_ratings.py": ("tests/analysis/ratings/test_rated.py",),
    "listening/analysis/collect/screening.py": ("tests/analysis/collect/test_screen.py",),
    "listening/analysis/opening/looks.py": ("tests/analysis/opening/test_looks.py",),
    "listening/analysis/opening/sealed_key.py": ("tests/attacks/test_keyholder.py",),
    "listening/records/keys/key_sealing.py": ("tests/attacks/test_keyholder.py",),
    "listening/metrics/level.py": ("tests/metrics/test_level.py", "tests/metrics/test_bands.py"),
    "listening/metrics/loud/loudness_bs1770.py": ("tests/metrics/test_bs1770.py",),
    "listening/metrics/striking/onset.py": (
        "tests/metrics/test_strike_and_flags.py",
        "tests/metrics/test_onset.py",
    ),
    "listening/stimuli/match.py": ("tests/stimuli/test_match.py",),
    "listening/audio/speaker.py": (
        "tests/audio/test_speaker.py",
        "tests/audio/test_awake.py",
        "tests/audio/test_speaker_in_time.py",
    ),
    "listening/audio/mixer.py": ("tests/audio/test_speaker_mixer.py",),
    "listening/session/state.py": SITTINGS,
    "listening/session/pacing.py": ("tests/session/test_pacing.py",),
    "listening/session/answering/turn.py": ("tests/session/test_turn.py",),
    "listening/session/answering/marking.py": ("tests/session/test_tasks.py", "tests/session/test_turn.py"),
    "listening/session/answering/going_back.py": ("tests/session/test_training.py",),
    "listening/session/sitting.py": SITTINGS,
    "listening/session/sitting_course.py": SITTINGS,
    "listening/session/acts/step_acts.py": SITTINGS,
    "listening/session/acts/ticking.py": ("tests/session/test_pacing.py", "tests/session/test_sitting.py"),
    "listening/session/acts/aside_acts.py": SITTINGS,
    "listening/session/acts/answer_acts.py": ("tests/session/test_training.py",),
    "listening/session/sounding/exposure.py": ("tests/session/test_exposure.py",),
    "listening/session/sounding/hearing.py": (
        "tests/session/test_sitting.py",
        "tests/session/test_exposure.py",
    ),
    "listening/session/sounding/thresholds.py": ("tests/session/test_hearing_check.py",),
    "listening/session/seating/next_slot.py": ("tests/session/test_next_slot.py",),
    "listening/session/seating/sessions_apart.py": ("tests/session/test_sessions.py",),
    "listening/store/store.py": ("tests/store/test_store.py",),
    "listening/store/chain.py": ("tests/store/test_chain.py",),
    "listening/store/walk.py": ("tests/store/test_chain.py",),
    "listening/store/revised.py": ("tests/session/test_training.py",),
    "listening/store/removal.py": ("tests/store/test_chain.py", "tests/store/test_store.py"),
    "listening/store/leases.py": ("tests/store/test_store.py",),
}


@dataclass(frozen=True)
class Mutant:
    """One change of one place."""

    file: str
    line: int
    start: int
    end: int
    """Place in the file's text, characters."""
    before: str
    after: str
    context: str
    """The line it stands in, by which a known survivor is found again."""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}  {_short(self.before)}  ->  {_short(self.after)}"


def _short(text: str) -> str:
    text = re.sub(r"\s+", " ", text)
    return text if len(text) <= 60 else text[:57] + "..."


SWAPS: dict[type, str] = {
    ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "==",
    ast.Is: "is not", ast.IsNot: "is", ast.In: "not in", ast.NotIn: "in",
    ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.Pow: "*", ast.FloorDiv: "/", ast.Mod: "*",
    ast.And: "or", ast.Or: "and",
}  # fmt: skip
CHECKS = {"strict", "check_finite", "dtype"}  # arguments that only guard against our own faults
SIDES = {"min": "max", "max": "min", "maximum": "minimum", "minimum": "maximum", "any": "all", "all": "any"}


class _Finder(ast.NodeVisitor):
    """Every place that can be changed; words for people, types and imports stay."""

    def __init__(self, file: str, text: str) -> None:
        self.file, self.text, self.found = file, text, []
        self.lines = text.splitlines(keepends=True)
        self.starts = [0]
        for line in self.lines:
            self.starts.append(self.starts[-1] + len(line.encode()))
        self.bytes = text.encode()

    def at(self, line: int, column: int) -> int:
        return len(self.bytes[: self.starts[line - 1] + column].decode())

    def span(self, node: ast.expr | ast.stmt) -> tuple[int, int]:
        return (
            self.at(node.lineno, node.col_offset),
            self.at(node.end_lineno or node.lineno, node.end_col_offset or 0),
        )

    def add(self, node: ast.expr | ast.stmt, start: int, end: int, after: str) -> None:
        context = self.lines[node.lineno - 1].strip()
        self.found.append(Mutant(self.file, node.lineno, start, end, self.text[start:end], after, context))

    def between(self, left: ast.expr, right: ast.expr, operator: object, node: ast.expr) -> None:
        """Swap the operator that stands between two parts."""
        start, end = self.span(left)[1], self.span(right)[0]
        words = self.text[start:end]
        found = re.search(
            r"(not\s+in|is\s+not|\*\*|//|[<>=!]=|[-+*/%<>]|\band\b|\bor\b|\bis\b|\bin\b)", words
        )
        if found and type(operator) in SWAPS:
            self.add(node, start + found.start(), start + found.end(), SWAPS[type(operator)])

    def visit_Compare(self, node: ast.Compare) -> None:
        left = node.left
        for operator, right in zip(node.ops, node.comparators, strict=True):
            self.between(left, right, operator, node)
            left = right
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        texts = (ast.Constant, ast.JoinedStr)
        if not (isinstance(node.left, texts) and isinstance(getattr(node.left, "value", None), str)):
            self.between(node.left, node.right, node.op, node)
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        self.between(node.values[0], node.values[1], node.op, node)
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not | ast.USub):
            start, end = self.span(node)
            inner = self.span(node.operand)
            self.add(node, start, end, self.text[inner[0] : inner[1]])
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        start, end = self.span(node)
        if isinstance(node.value, bool):
            self.add(node, start, end, str(not node.value))
        elif isinstance(node.value, int):
            self.add(node, start, end, str(node.value + 1))
        elif isinstance(node.value, float):
            self.add(node, start, end, repr(node.value * 1.02 if node.value else 0.02))

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in SIDES:
            end = self.span(node.func)[1]
            self.add(node, end - len(name), end, SIDES[name])
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        start, end = self.span(node.test)
        self.add(node, start, end, f"not ({self.text[start:end]})")
        self.generic_visit(node)

    def visit_If(self, node: ast.If) -> None:
        start, end = self.span(node.test)
        for word in ("True", "False"):
            self.add(node, start, end, f"({word})")
        self.generic_visit(node)

    def _statement(self, node: ast.stmt) -> None:
        start, end = self.span(node)
        self.add(node, start, end, "pass")
        self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> None:
        if node.col_offset and all(isinstance(t, ast.Attribute | ast.Subscript) for t in node.targets):
            self._statement(node)
        else:
            self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self._statement(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Call):
            self._statement(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        """What an error says is no rule."""

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Words."""

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for one in node.body:
            self.visit(one)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg not in CHECKS:
            self.visit(node.value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for one in [*node.args.defaults, *(d for d in node.args.kw_defaults if d is not None), *node.body]:
            self.visit(one)


def mutants_of(file: str, tree: Path = ROOT) -> list[Mutant]:
    """Every mutant of a file, in the order of its lines."""
    text = (tree / file).read_text()
    finder = _Finder(file, text)
    finder.visit(ast.parse(text))
    return sorted(finder.found, key=lambda m: (m.start, m.end, m.after))


def known() -> dict[tuple[str, str, str, str], str]:
    """Reasons why a survivor may live, by file, line, what stood there and what stands there now."""
    if not KNOWN.is_file():
        return {}
    rows = tomllib.loads(KNOWN.read_text())["mutant"]
    return {(r["file"], r["line"], r["before"], r["after"]): r["reason"] for r in rows}


def run(mutant: Mutant, tree: Path) -> str:
    """ "caught", "survived" or "hung": the guards of the file, run in a process of their own."""
    path = tree / mutant.file
    text = path.read_text()
    path.write_text(text[: mutant.start] + mutant.after + text[mutant.end :])
    try:
        return _guards(mutant.file, tree)
    finally:
        path.write_text(text)


def _guards(file: str, tree: Path) -> str:
    child = os.fork()
    if child == 0:
        code = 3  # whatever ends it otherwise: nothing of the parent's may be tidied up here
        try:
            os.setsid()
            _be_quiet()
            os.chdir(tree)
            import pytest

            words = ["-x", "-q", "-m", "not slow", "-p", "no:cacheprovider", "-p", "no:xdist", "--no-header"]
            code = int(pytest.main([*words, *GUARDS[file]]))
        finally:
            os._exit(code)
    until = time.monotonic() + SLOWEST_S
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "survived" if os.waitstatus_to_exitcode(status) == 0 else "caught"
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "hung"


def _be_quiet() -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)


def _tree(work: Path) -> Path:
    """A copy of what the tests need; compiled files are left behind, they would hide a change."""
    tree = work / "tree"
    left = shutil.ignore_patterns(".venv", ".git", "__pycache__", "build", "*.egg-info", "demo_study*")
    shutil.copytree(ROOT, tree, ignore=left)
    return tree


def _prepare(tree: Path) -> None:
    """Import once what every run needs and no mutant changes, so that each fork starts with it."""
    sys.path[:] = [
        str(tree),
        *(p for p in sys.path if Path(p or ".").resolve() not in (ROOT, ROOT / "tests")),
    ]
    sys.dont_write_bytecode = True
    os.environ |= {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1"}
    for name in (
        "numba",
        "numpy",
        "pandas",
        "pydantic",
        "pytest",
        "scipy.optimize",
        "scipy.signal",
        "sqlalchemy",
    ):
        importlib.import_module(name)


def chosen(files: list[str], tree: Path, *, each: int, seed: int, everything: bool) -> Iterator[Mutant]:
    """A seeded choice of so many mutants of each file, as it lies in the tree that is tested."""
    for file in files:
        found = mutants_of(file, tree)
        if not everything and len(found) > each:
            found = random.Random(f"{seed} {file}").sample(found, each)
        yield from sorted(found, key=lambda m: m.start)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("files", nargs="*", help="source files of GUARDS; all if none is named")
    parser.add_argument("--each", type=int, default=8, help="mutants of each file (default 8)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--all", action="store_true", help="every mutant of the files")
    parser.add_argument("--named", action="store_true", help="those that lived once, and no others")
    args = parser.parse_args()
    if args.named:
        return _all_named()
    unknown = [file for file in args.files if file not in GUARDS]
    if unknown:
        parser.error(f"{', '.join(unknown)}: no tests are named in GUARDS of {Path(__file__).name}")
    return _all_of([*args.files] or [*GUARDS], args)


def named(tree: Path) -> Iterator[tuple[str, Mutant]]:
    """What each fault of the named ones is, and the mutant; its text must stand there once."""
    for row in tomllib.loads(NAMED.read_text())["mutant"]:
        text = (tree / row["file"]).read_text()
        if text.count(row["before"]) != 1:
            raise SystemExit(f"{NAMED.name}: {row['what']}: not once in {row['file']}: {row['before']}")
        start = text.index(row["before"])
        line = text[:start].count("\n") + 1
        end = start + len(row["before"])
        yield row["what"], Mutant(row["file"], line, start, end, row["before"], row["after"], "")


def _all_named() -> int:
    lived = False
    with tempfile.TemporaryDirectory() as work:
        tree = _tree(Path(work))
        _prepare(tree)
        for what, mutant in named(tree):
            end = run(mutant, tree)
            lived = lived or end == "survived"
            print(f"{end:8}  {mutant.file}:{mutant.line}  {what}", flush=True)
    return int(lived)


def _all_of(files: list[str], args: argparse.Namespace) -> int:
    reasons, counts, survivors = known(), Counter[tuple[str, str]](), []
    with tempfile.TemporaryDirectory() as work:
        tree = _tree(Path(work))
        _prepare(tree)
        print(f"{'caught':>7} {'survived':>9} {'known':>6}  file", flush=True)
        for file in files:
            if _guards(file, tree) != "survived":
                print(f"{file}: its tests fail without any change: {' '.join(GUARDS[file])}")
                return 2
            for mutant in chosen([file], tree, each=args.each, seed=args.seed, everything=args.all):
                key = (mutant.file, mutant.context, mutant.before, mutant.after)
                end = "known" if key in reasons else run(mutant, tree)
                counts[file, end] += 1
                if end == "survived":
                    survivors.append(mutant)
            _tell(file, counts, [m for m in survivors if m.file == file])
    caught = sum(n for (_, end), n in counts.items() if end in ("caught", "hung"))
    total = caught + len(survivors)
    print(f"\n{caught} of {total} caught ({caught / max(total, 1):.0%}); goal {GOAL:.0%}")
    return int(caught < GOAL * total)


def _tell(file: str, counts: Counter[tuple[str, str]], survivors: list[Mutant]) -> None:
    """A row of the table as soon as the file is done, and what survived in it."""
    caught = counts[file, "caught"] + counts[file, "hung"]
    print(f"{caught:7d} {len(survivors):9d} {counts[file, 'known']:6d}  {file}")
    for one in survivors:
        print(f"{'':26}line {one.line}: {_short(one.before)}  ->  {_short(one.after)}   in   {one.context}")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())

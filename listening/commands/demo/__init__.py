"""`listening demo`: the whole walk on the bicycle bells, with a simulated panel."""

import argparse
import contextlib
import io
import shutil
import time
from pathlib import Path

from listening import cli
from listening.commands import new
from listening.commands.demo import demo_scenario
from listening.console import show
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.found.findings import Findings
from listening.records.study import Study
from listening.steps import study_deal

MARK = "made_by_demo.txt"
SEED = 20261125
STEPS = ("check", "measure", "prepare", "deal", "simulate", "analyse", "report")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument(
        "folder", type=Path, nargs="?", default=Path("demo_study"), help="study folder to make"
    )
    parser.add_argument(
        "--protocol", type=Path, default=_shipped("protocols/bells.toml"), help="protocol to run"
    )
    parser.add_argument(
        "--scenario",
        type=Path,
        metavar="FOLDER",
        help="a protocol with what happens to it (scenario.toml): sessions, sites, amendments, a late stage",
    )
    parser.add_argument("--listeners", type=int, default=24, help="simulated listeners (default 24)")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Every step as its own command would do it, then the verdicts and the page."""
    started_s = time.monotonic()
    if args.scenario is not None:
        scenario = demo_scenario.load(args.scenario)
        return demo_scenario.run(args, scenario, _start(args.folder, scenario.protocol))
    study = _start(args.folder, args.protocol)
    for step in STEPS:
        code = _step(args, step, study)
        if code:
            return code
    for_a_person = _deal_for_a_person(study)
    verdicts = {question.id: question.word for question in Findings.load(study.findings).questions}
    lines = [
        f"\nall steps in {time.monotonic() - started_s:.0f} s; the panel was simulated: nobody listened",
        *(f"  {word:<13}{name}" for name, word in verdicts.items()),
        f"sit the same test yourself:  listening sit {for_a_person.root}",
        f"the page:  {study.page}",
    ]
    show.result(args, lines, {"verdicts": verdicts, "simulated": True, "page": str(study.page)})
    return 0


def _shipped(name: str) -> Path:
    """A file of the source tree, from wherever the command is run."""
    here = Path(__file__).resolve().parents[3] / name
    return here if here.exists() else Path(name)


def _start(folder: Path, protocol: Path) -> Study:
    """A fresh study folder; an earlier demo's folder is replaced, anything else is left alone."""
    if folder.exists() and any(folder.iterdir()):
        if not (folder / MARK).exists():
            raise StudyError(
                f"{folder}: is not empty and no demo made it; name another folder: listening demo FOLDER"
            )
        shutil.rmtree(folder)
    study = new.start(folder, protocol)
    (folder / MARK).write_text("listening demo made this folder and replaces it when run again\n")
    return study


def _step(args: argparse.Namespace, step: str, study: Study) -> int:
    words = [step, str(study.root)]
    if step == "simulate":
        words += ["--listeners", str(args.listeners), "--seed", str(SEED)]
    if step == "deal":
        words += ["--open-seed", str(SEED)]  # the same demonstration each time
    if step == "analyse" and args.listeners < Plan.load(study.plan).planned:
        words.append("--interim")  # fewer than planned: a look before the end, and said to be one
    if args.json:
        with contextlib.redirect_stdout(io.StringIO()):
            return cli.main(words)
    print(f"\n== listening {' '.join(words)}", flush=True)
    return cli.main(words)


def _deal_for_a_person(study: Study) -> Study:
    """The same stimuli dealt once more beside it: a person's answers never mix with simulated ones."""
    own = _start(study.root.with_name(f"{study.root.name}_for_a_person"), study.protocol)
    shutil.copytree(study.stimuli, own.stimuli)
    study_deal.deal(own)
    return own

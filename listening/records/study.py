"""Where each step of a study keeps its files, below one folder."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from listening.errors import MissingFile, StudyError

KEY_BESIDE = "the key lies beside the station"  # the caution in a sitting that saw it


@dataclass(frozen=True)
class Study:
    """The layout of a study folder."""

    root: Path
    passphrase: Callable[[], str] | None = field(default=None, compare=False, repr=False)
    """What asks for the pass phrase of a sealed key; None: nobody can be asked."""

    @property
    def protocol(self) -> Path:
        """What the researcher wrote."""
        return self.root / "protocol.toml"

    @property
    def about(self) -> Path:
        """What is known of a table collected elsewhere, where the answers came from one."""
        return self.root / "imported.toml"

    @property
    def imported(self) -> Path:
        """That table, byte for byte."""
        return self.root / "imported.csv"

    @property
    def measures(self) -> Path:
        """What `measure` found, recording by recording."""
        return self.root / "measures.json"

    @property
    def comparisons(self) -> Path:
        """Each factor's two levels compared, written by `measure`."""
        return self.root / "comparisons.json"

    @property
    def traces(self) -> Path:
        """Curves for the figures, written by `measure`."""
        return self.root / "traces.npz"

    @property
    def stimuli(self) -> Path:
        """The folder of prepared stimuli."""
        return self.root / "stimuli"

    @property
    def manifest(self) -> Path:
        """What `prepare` made and verified."""
        return self.stimuli / "manifest.json"

    @property
    def ear_gains(self) -> Path:
        """What an adjustment study said about the match; where it lies, `prepare` uses it."""
        return self.root / "ear_gains.json"

    @property
    def station(self) -> Path:
        """The folder a blind station needs: plan, coded clips, answers. Nothing here names a stimulus."""
        return self.root / "station"

    @property
    def plan(self) -> Path:
        """Who hears which coded clips in which order."""
        return self.station / "plan.json"

    @property
    def device_start(self) -> Path:
        """How the station's sound device starts."""
        return self.station / "device.json"

    @property
    def room(self) -> Path:
        """How the station's room was found."""
        return self.station / "room.json"

    @property
    def clips(self) -> Path:
        """The folder of coded clips."""
        return self.station / "clips"

    @property
    def answers(self) -> Path:
        """The answer store (SQLite)."""
        return self.station / "answers.sqlite"

    @property
    def server(self) -> Path:
        """The address of the server that the answers go to, where several booths share one."""
        return self.station / "server.json"

    @property
    def spool(self) -> Path:
        """What a booth keeps until the server has it."""
        return self.station / "spool.sqlite"

    @property
    def level(self) -> Path:
        """The calibration of the station's headphones, where one was made."""
        return self.station / "level.json"

    @property
    def log(self) -> Path:
        """What happened at the station, for the researcher; codes only."""
        return self.station / "station.log"

    @property
    def sealed(self) -> Path:
        """The folder that stays away from the station."""
        return self.root / "sealed"

    @property
    def key(self) -> Path:
        """Which coded clip is which stimulus."""
        return self.sealed / "key.json"

    @property
    def sealed_key(self) -> Path:
        """The key under a second person's pass phrase, where one holds it."""
        return self.sealed / "key.sealed"

    @property
    def key_file(self) -> Path:
        """The key as it lies: sealed under a pass phrase, or open."""
        return self.sealed_key if self.sealed_key.is_file() else self.key

    @property
    def key_lies_beside(self) -> bool:
        """Whether whoever sits at this station can read the key."""
        return self.key.is_file()

    @property
    def frozen(self) -> Path:
        """The hash of every file that was dealt."""
        return self.sealed / "frozen.json"

    @property
    def frozen_protocol(self) -> Path:
        """The protocol as it was dealt."""
        return self.sealed / "protocol.toml"

    @property
    def frozen_manifest(self) -> Path:
        """The manifest as it was dealt."""
        return self.sealed / "manifest.json"

    def amendments(self, number: int) -> Path:
        """The folder of the protocol, plan and list as they were before the amendment of that number."""
        return self.sealed / "amendments" / str(number)

    @property
    def history(self) -> Path:
        """Every deal of this study, with the reason for a new one."""
        return self.root / "history.json"

    @property
    def steps(self) -> Path:
        """Which step was done when, by which version."""
        return self.root / "steps.log"

    @property
    def record(self) -> Path:
        """What was done with the study, line after line: deals, openings, analyses, deposits."""
        return self.root / "record.jsonl"

    @property
    def versions(self) -> Path:
        """Earlier deals with their answers, each a study folder of its own."""
        return self.root / "versions"

    def half_set_aside(self, number: int) -> "Study":
        """Where the deal of that number lies while it is being moved to `versions`."""
        return Study(self.versions / f".{number}.new")

    def halves_set_aside(self) -> "list[Study]":
        """Deals whose move to `versions` was cut off."""
        return [Study(path) for path in sorted(self.versions.glob(".*.new"))]

    @property
    def findings(self) -> Path:
        """What `analyse` decided."""
        return self.root / "findings.json"

    @property
    def report(self) -> Path:
        """The folder of the page."""
        return self.root / "report"

    @property
    def page(self) -> Path:
        """The report page."""
        return self.report / "report.html"


def open_analysed(root: Path) -> Study:
    """A study, or a folder made from a table collected elsewhere; raises as `open_study`."""
    study = Study(Path(root))
    return study if study.about.is_file() else open_study(root)


def open_study(root: Path, *, to_deal: bool = False) -> Study:
    """The study in a folder that holds a protocol.toml.

    Raises
    ------
    MissingFile
        The folder or its protocol.toml is not there.
    StudyError
        A new deal was cut off while it moved the old one; only dealing again (`to_deal`) goes on from there.
    """
    study = Study(Path(root))
    if not study.protocol.is_file():
        raise MissingFile(
            f"{study.protocol}: no such file; a study is a folder with a protocol.toml in it "
            f"(start one with: listening new {root} --from PROTOCOL.toml)"
        )
    if not to_deal and study.halves_set_aside():
        raise StudyError(
            f"{study.versions}: a new deal was cut off while it moved the old one there; nothing is lost, "
            f"and this puts everything back: listening deal {root}"
        )
    return study

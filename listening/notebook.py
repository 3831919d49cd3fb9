"""A study in a notebook: what the commands do, on a folder made by `listening new`."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listening.console import journal
from listening.errors import ListeningError, MissingFile
from listening.records import study as folders
from listening.records.protocols import protocol as protocols

if TYPE_CHECKING:
    import pandas as pd

    from listening.records.dealt.plan import Plan
    from listening.records.protocols.protocol import Protocol
    from listening.records.sounds.manifest import Manifest
    from listening.steps.analysed_study import Analysed
    from listening.steps.comparisons import Compared
    from listening.steps.study_checks import Checked
    from listening.steps.study_rehearsal import Rehearsal


def open_folder(folder: str | Path) -> "NotebookStudy":
    """The study in a folder; no key is opened.

    Raises
    ------
    ListeningError
        The folder or its protocol.toml is not there.
    """
    return NotebookStudy(folders.open_study(Path(folder)))


class NotebookStudy:
    """A study folder; each act does what the command of its name does, to the last digit, and logs it so.

    Errors are `ListeningError`: a step before is missing, stale or was altered, and what to do.
    """

    def __init__(self, study: folders.Study) -> None:
        self.folder = study

    def __repr__(self) -> str:
        return f"listening.open({str(self.folder.root)!r})"

    @property
    def protocol(self) -> "Protocol":
        """What was written in protocol.toml, checked."""
        return protocols.load(self.folder.protocol)

    @property
    def recordings(self) -> "pd.DataFrame":
        """A row a recording that the protocol uses: file, condition, factors, strike, unit, calibration."""
        import pandas as pd

        from listening.records.sounds import recordings_table

        chosen = self.protocol
        rows = []
        for one in recordings_table.load(chosen, self.folder.protocol):
            levels = dict(zip(chosen.recordings.factors, one.factors, strict=True))
            row = {k: v for k, v in asdict(one).items() if k != "factors"}
            rows.append({"recording": one.recording, "condition": one.condition, **levels, **row})
        return pd.DataFrame(rows).set_index("recording")

    @property
    def measures(self) -> "pd.DataFrame":
        """A row a recording, a column a metric (units in the names), as `measure` found them.

        Raises
        ------
        MissingFile
            Nothing was measured yet.
        """
        import pandas as pd

        from listening.records.sounds.measured import Measures

        if not self.folder.measures.is_file():
            raise MissingFile(f"{self.folder.measures}: not measured yet; call .measure() first")
        rows = Measures.load(self.folder.measures).recordings
        about = [row.model_dump(exclude={"measures", "flags"}) for row in rows]
        found = [{**a, "flags": " ".join(r.flags), **r.measures} for a, r in zip(about, rows, strict=True)]
        return pd.DataFrame(found).set_index("recording")

    def check(self) -> "Checked":
        """Every problem of protocol and recordings, at once; raises MissingFile without a protocol."""
        from listening.steps import study_checks

        return study_checks.check(self.folder.protocol)

    def rehearse(
        self,
        *,
        runs: int = 200,
        seed: int = 1,
        jobs: int = 2,
        **supposed: Any,
    ) -> "Rehearsal":
        """A whole study by simulation: what the plan promises beside what is seen; nothing is touched.

        Parameters
        ----------
        runs : studies rehearsed with what is hoped for, and as many with nothing true
        seed : of the simulated listeners
        jobs : processes
        supposed : what is taken for granted of listeners and effects, as the options of the command: share,
            drop_outs, withdrawals, at_random, sites, spread_sites, spread_listeners, spread_stimuli
        """
        from listening.steps import study_rehearsal

        given = study_rehearsal.supposed(self.protocol, **supposed)
        return study_rehearsal.rehearse(self.folder, given, runs=runs, seed=seed, where=jobs)

    def measure(self, *, jobs: int = 2) -> "pd.DataFrame":
        """Measure every recording with so many processes; gives `.measures`."""
        from listening.steps import study_measures

        study_measures.run(self.folder, jobs=jobs)
        journal.note("measure", self.folder)
        return self.measures

    def compare(
        self, level: str, *, with_: str, elsewhere: str | None = None, jobs: int = 1, **fixed: str
    ) -> "Compared":
        """What is lost from one condition to another: `compare("dome_c", support="free", with_="handlebar")`.

        Parameters
        ----------
        level : of one factor, for the first condition
        with_ : the level that the second condition has instead
        elsewhere : level of another factor that both then have: do they keep their difference there?
        jobs : processes that measure
        fixed : levels of other factors, the same for both

        Raises as `listening.compare`.
        """
        from listening.steps import comparisons

        return comparisons.compare(self.folder, level, with_=with_, elsewhere=elsewhere, jobs=jobs, **fixed)

    def prepare(self, *, by_ear: str | Path | None = None, jobs: int | None = None) -> "Manifest":
        """Make the stimuli: aligned, trimmed, matched, verified; parameters as `study_stimuli.prepare`."""
        from listening.steps import study_stimuli

        gains_of = None if by_ear is None else Path(by_ear)
        made = study_stimuli.prepare(self.folder, by_ear=gains_of, jobs=jobs)
        journal.note("prepare", self.folder)
        return made

    def deal(self, *, again: str = "", open_seed: int | None = None) -> "Plan":
        """Freeze the study: balanced orders, sealed key, coded clips; parameters as `study_deal.deal`."""
        from listening.steps import study_deal

        plan, _ = study_deal.deal(self.folder, again=again, open_seed=open_seed)
        journal.note("deal", self.folder)
        return plan

    def simulate(self, *, listeners: int | None = None, seed: int = 1) -> int:
        """Let simulated listeners sit (as many as planned if not given); how many answers they gave.

        Raises
        ------
        ListeningError
            Fewer than 1 listener, or as the command.
        """
        from listening.simulate import run as simulate

        if listeners is not None and listeners < 1:
            raise ListeningError(f"listeners: found {listeners}, wanted 1 or more")
        n_answers = simulate.run(self.folder, n_listeners=listeners, seed=seed)
        journal.note("simulate", self.folder)
        return n_answers

    def analyse(self, *, interim: bool = False, closed: str = "") -> "Analysed":
        """Open the key (logged), fit, decide the planned questions, write findings.json.

        Parameters
        ----------
        interim : look before the planned end; logged and counted
        closed : why no more listeners come, where the stopping rule lets fewer than planned be enough
        """
        from listening.analysis import full_analysis
        from listening.steps.analysed_study import Analysed
        from listening.store.store import utc_now

        found = full_analysis.run(self.folder, now=utc_now, interim=interim, closed=closed)
        journal.note("analyse", self.folder)
        return Analysed(found)

    @property
    def findings(self) -> "Analysed":
        """What `analyse` found last, read from findings.json."""
        from listening.records.found.findings import Findings
        from listening.steps.analysed_study import Analysed

        return Analysed(Findings.load(self.folder.findings))

    def tables(self) -> "dict[str, pd.DataFrame]":
        """Every table that `listening export` writes, by name; only of what was analysed; logged."""
        from listening.steps import study_tables
        from listening.store.store import utc_now

        return study_tables.tables(self.folder, now=utc_now).tables

    def answers(self) -> "pd.DataFrame":
        """A row an answer with what was heard, of an analysed study; the opening of the key is logged."""
        tables = self.tables()
        return tables["answers"] if len(tables["answers"]) else tables.get("discriminated", tables["answers"])

"""Every problem of a protocol and its recordings, and what its plan costs."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listening.errors import ListeningError
from listening.intake import study_check
from listening.records.forms.problem import Problem
from listening.records.protocols import protocol
from listening.records.sounds.measured import Measures
from listening.records.study import Study

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Checked:
    """What was found; errors stop the study, cautions do not."""

    protocol: Path
    problems: tuple[Problem, ...]
    budget: tuple[str, ...]
    """Lines on the trials of the listener with most to do; none where an error stops the study."""

    @property
    def errors(self) -> list[Problem]:
        return [problem for problem in self.problems if problem.severity == "error"]

    @property
    def cautions(self) -> list[Problem]:
        return [problem for problem in self.problems if problem.severity != "error"]

    def summary(self) -> str:
        """The text that `listening check` prints."""
        told = [*(p.text() for p in self.errors), *(f"caution: {p.text()}" for p in self.cautions)]
        return "\n".join([*told, *self.budget, _verdict(self)])

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening check --json` prints them."""
        counts = {
            "protocol": str(self.protocol),
            "errors": len(self.errors),
            "cautions": len(self.cautions),
        }
        return {**counts, "problems": [asdict(p) for p in self.problems], "budget": list(self.budget)}

    def to_frame(self) -> "pd.DataFrame":
        """A row a problem."""
        import pandas as pd

        return pd.DataFrame(
            [asdict(problem) for problem in self.problems], columns=list(Problem.__annotations__)
        )

    def __str__(self) -> str:
        return self.summary()


def check(path: Path, *, on_progress: Callable[[int, int], None] | None = None) -> Checked:
    """The problems of a protocol file and the recordings it names.

    Raises
    ------
    MissingFile
        No such file.
    """
    found = study_check.problems(path, on_progress=on_progress)
    budget_lines, objections = _planning(path, found)
    return Checked(path, (*found, *objections), tuple(budget_lines))


def _planning(path: Path, found: list[Problem]) -> tuple[list[str], list[Problem]]:
    """The trial budget and what a reader would object to, once nothing stops the study."""
    if any(problem.severity == "error" for problem in found):
        return [], []
    from listening.planning import budget, criticism, stand_in
    from listening.stimuli import sources

    chosen = protocol.load(path)
    recordings, _ = sources.recorded(chosen, path)
    measured = Study(path.parent).measures
    measures = Measures.load(measured) if measured.is_file() else None
    try:
        own = budget.of_study(chosen, stand_in.manifest(chosen, recordings))
    except ListeningError:  # what cannot be dealt is among the objections
        return [], criticism.criticise(chosen, recordings, path, measures=measures)
    objections = criticism.criticise(chosen, recordings, path, measures=measures, own=own)
    told = ["trial budget, for the listener with most to do:", *budget.lines(own)]
    for late in chosen.stages:
        own = budget.of_study(chosen.of_stage(late.stage), stand_in.manifest(chosen, recordings))
        told += [f"stage {late.stage}, for its listener with most to do:", *budget.lines(own)]
    return told, objections


def _verdict(found: Checked) -> str:
    """How many problems there are and whether the study may go on."""
    if not found.problems:
        return f"{found.protocol}: no problem found"
    verdict = "mend the errors, then check again" if found.errors else "the study may go on"
    return f"{found.protocol}: {len(found.errors)} errors, {len(found.cautions)} cautions; {verdict}"

"""The findings of a study as a notebook holds them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from listening.analysis.again import exported_tables
from listening.records.found.findings import Findings
from listening.report.sentences import sentences

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Analysed:
    """What was decided, with the whole findings behind it."""

    findings: Findings

    @property
    def verdicts(self) -> dict[str, str]:
        """supported, contradicted, undecided or no verdict, by question and by superlative."""
        questions = {q.id: str(q.word) for q in self.findings.questions}
        return questions | {named.id: str(named.word) for named in self.findings.superlatives}

    @property
    def sentences(self) -> dict[str, str]:
        """What may be printed of each planned question."""
        return {q.id: sentences.printable(q, self.findings) for q in self.findings.questions}

    def to_frame(self) -> "pd.DataFrame":
        """A row a planned question, as `listening export` writes them, and its printable `sentence`."""
        table = exported_tables.questions(self.findings)
        return table.assign(sentence=[self.sentences[name] for name in table["id"]] if len(table) else [])

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening analyse --json` prints them."""
        return self.findings.model_dump(mode="json")

    def __str__(self) -> str:
        return "\n".join(f"{word.upper():<13} {name}" for name, word in self.verdicts.items())

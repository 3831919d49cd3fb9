"""Findings for the report's tests: written out, no analysis behind them."""

from pathlib import Path

import pytest

from listening.commands import import_table
from listening.records.dealt import imported
from listening.records.found.findings import Findings
from listening.report.page import page

HERE = Path(__file__).parent


@pytest.fixture(scope="session")
def simulated_findings() -> Findings:
    """Findings of a simulated panel on the demo's protocol, as `listening analyse` wrote them."""
    return Findings.load(HERE / "findings.json")


@pytest.fixture(scope="session")
def imported_findings() -> Findings:
    """Findings of a published table of counts without listeners."""
    published = HERE.parent / "published"
    about = imported.load(published / "sound_fields_about.toml")
    return import_table.of_table(published / "sound_fields.csv", about, name="sound_fields.csv")


@pytest.fixture(scope="session")
def page_text(simulated_findings: Findings) -> str:
    """The page of these findings."""
    return page.render(simulated_findings)


@pytest.fixture(scope="session")
def findings(simulated_findings: Findings) -> Findings:
    """The same, taken as if people had listened."""
    return simulated_findings.model_copy(update={"simulated": False, "cautions": ()})

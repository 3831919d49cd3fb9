"""How the tests are shared out, and what a skip means where everything was installed."""

import os
from collections.abc import Generator, Sequence

import pytest

NEED_ALL = "LISTENING_TESTS_NEED_ALL"  # set by .ci/run
COSTLY = ("ran", "wheel", "server", "scheduler", "crossed", "plain", "bells_findings", "page_text")
"""Fixtures that take seconds: the tests that use one run in one process, which makes it once."""
ASKED_FOR = {
    "postgresql": "server",
    "scheduler": "scheduler",
}  # parameters whose fixture asks for a costly one


def pytest_collection_modifyitems(items: Sequence[pytest.Item]) -> None:
    for item in items:
        names = {*getattr(item, "fixturenames", ()), *_asked_for(item)}
        used = [name for name in COSTLY if name in names]
        if used:
            item.add_marker(pytest.mark.xdist_group(used[0]))


def _asked_for(item: pytest.Item) -> list[str]:
    parameters = getattr(getattr(item, "callspec", None), "params", {})
    return [
        ASKED_FOR[value] for value in parameters.values() if isinstance(value, str) and value in ASKED_FOR
    ]


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if NEED_ALL in os.environ and report.skipped and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if "missing" in reason:  # an optional extra says "not installed", and may be
            report.outcome, report.longrepr = "failed", f"{reason} ({NEED_ALL} is set)"
    return report

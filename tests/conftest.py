"""Where everything was installed, a test that skips because something is missing has failed."""

import os
from collections.abc import Generator

import pytest

NEED_ALL = "LISTENING_TESTS_NEED_ALL"  # set by .ci/run


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if NEED_ALL in os.environ and report.skipped and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if "missing" in reason or "not installed" in reason:
            report.outcome, report.longrepr = "failed", f"{reason} ({NEED_ALL} is set)"
    return report

"""How the tests are shared out, and what a skip means where everything was installed."""

import os
from collections.abc import Generator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
NEED_ALL = "LISTENING_TESTS_NEED_ALL"  # set by .ci/run
TOGETHER = (
    "tests/analysis/explain/test_explained.py",
    "tests/metrics/test_honest_partials.py",
    "tests/report/test_page.py",
)
"""Files that share what takes seconds by other ways than a fixture of their module."""
OF_MODULE = 'scope="module"'


@cache
def _is_together(file: str) -> bool:
    """Whether one process runs the whole file, so that what it shares is made once."""
    return file in TOGETHER or OF_MODULE in (ROOT / file).read_text()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """`--dist loadscope` keeps files with a fixture of the module together; all other tests go one by one."""
    if config.getvalue("dist") != "loadscope":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class ByCost(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.split("::")[0]
            return file if _is_together(file) else nodeid

    return ByCost(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if NEED_ALL in os.environ and report.skipped and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if "missing" in reason:  # an optional extra says "not installed", and may be
            report.outcome, report.longrepr = "failed", f"{reason} ({NEED_ALL} is set)"
    return report

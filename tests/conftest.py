"""How the tests are shared out, and what a skip means where everything was installed."""

import hashlib
import os
from collections import Counter
from collections.abc import Generator, Iterator
from typing import Any

import pytest

NEED_ALL = "LISTENING_TESTS_NEED_ALL"  # set by .ci/run
TOGETHER = (
    "tests/test_demo.py",
    "tests/test_doc_examples.py",
    "tests/test_wheel.py",
    "tests/metrics/test_honest_partials.py",
    "tests/test_cut_commands.py",
    "tests/steps/test_notebook.py",
    "tests/steps/test_comparisons.py",
    "tests/commands/test_measure_study.py",
    "tests/analysis/decide/test_contrasts.py",
    "tests/analysis/decide/test_subgroups.py",
    "tests/analysis/explain/test_explained.py",
    "tests/analysis/again/test_export.py",
    "tests/report/test_figures.py",
    "tests/report/test_numbers.py",
    "tests/report/test_page.py",
    "tests/stimuli/test_isolate.py",
    "tests/stats/repeats/test_places.py",
)
"""Files whose fixture takes seconds: their tests run in one process, which makes it once."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """`--dist loadscope` keeps together what stands in `TOGETHER`; all other tests go one by one."""
    if config.getvalue("dist") != "loadscope":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class ByCost(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.split("::")[0]
            return file if file in TOGETHER else nodeid

    return ByCost(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if NEED_ALL in os.environ and report.skipped and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if "missing" in reason:  # an optional extra says "not installed", and may be
            report.outcome, report.longrepr = "failed", f"{reason} ({NEED_ALL} is set)"
    return report


@pytest.fixture(scope="session", autouse=True)
def _deals_drawn_from_the_tests_name() -> Iterator[None]:
    """A deal draws its secret at random, and with it who hears what; in a test it is the test's own, always.

    Else one run in so many meets orders or a panel that no other run meets, and nobody can make it again.
    """
    from listening.steps import study_deal

    drawn: Counter[str] = Counter()

    def secret(open_seed: int | None) -> str:
        if open_seed is not None:
            return random(open_seed)
        test = os.environ.get("PYTEST_CURRENT_TEST", "").rpartition(" ")[0]
        drawn[test] += 1
        return hashlib.sha256(f"{test} {drawn[test]}".encode()).hexdigest()[: study_deal.SECRET_DIGITS]

    random = study_deal._secret
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(study_deal, "_secret", secret)
        yield

"""The small study, prepared once for all tests that only look at it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.stimuli import preparation
from tests.stimuli import small_study

Maker = Callable[..., Study]


@pytest.fixture
def make_study(tmp_path: Path) -> Maker:
    """Write a study into a folder of the test's own."""

    def make(*arguments: Any, folder: str = "study", **named: Any) -> Study:
        return small_study.write(tmp_path / folder, *arguments, **named)

    return make


@pytest.fixture(scope="session")
def plain(tmp_path_factory: pytest.TempPathFactory) -> tuple[Study, Manifest]:
    """The small study as it is, and its manifest; look, do not touch."""
    study = small_study.write(tmp_path_factory.mktemp("plain"))
    return study, preparation.run(study)

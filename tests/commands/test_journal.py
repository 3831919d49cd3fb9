"""A step leaves a line with version and environment; a step that failed leaves none."""

import argparse
from pathlib import Path

import numpy as np
import pytest

from listening import __version__, cli
from listening.records.study import Study


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "protocol.toml").write_text("# a study\n")
    return tmp_path


def test_a_step_leaves_version_and_environment(folder: Path) -> None:
    assert cli._run("deal", lambda _: 0, argparse.Namespace(folder=folder)) == 0
    line = (Study(folder).steps).read_text()
    assert f" deal: listening {__version__}, Python 3." in line
    assert f"numpy {np.__version__}" in line


def test_a_step_that_stops_leaves_none(folder: Path) -> None:
    assert cli._run("deal", lambda _: 2, argparse.Namespace(folder=folder)) == 2
    assert not (Study(folder).steps).exists()


def test_a_sitting_writes_nothing_outside_its_station(folder: Path) -> None:
    cli._run("sit", lambda _: 0, argparse.Namespace(folder=folder))
    assert not (Study(folder).steps).exists()


def test_a_folder_that_is_no_study_stays_as_it_is(tmp_path: Path) -> None:
    cli._run("measure", lambda _: 0, argparse.Namespace(folder=tmp_path))
    assert list(tmp_path.iterdir()) == []

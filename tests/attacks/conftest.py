"""Whole studies for the attacks, made once and copied before each."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from listening.records.protocols.protocol import Protocol
from listening.records.study import Study
from tests.attacks import whole_study
from tests.design import conftest as design

PHRASE = "correct horse battery staple"


def _text(protocol: Protocol) -> str:
    plain = protocol.model_dump(exclude_none=True)
    return "".join(f"{key} = {design._toml(value)}\n" for key, value in plain.items())


def small(root: Path) -> Study:
    """A prepared study of three conditions for eight listeners."""
    return whole_study.prepared(root, (design.protocol_of(3, listeners=8), design.manifest_of(3)), _text)


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of three conditions and eight listeners, dealt, sat, analysed, reported."""
    return whole_study.finished(small(tmp_path_factory.mktemp("attacks") / "study")).root


@pytest.fixture
def study(kept: Path, tmp_path: Path) -> Study:
    """A copy of it."""
    return Study(Path(shutil.copytree(kept, tmp_path / "study")))


@pytest.fixture
def fresh(tmp_path: Path) -> Callable[..., Study]:
    """A maker of dealt studies nobody sat yet."""

    def make(name: str = "fresh", **more: object) -> Study:
        return whole_study.dealt(small(tmp_path / name), **more)  # type: ignore[arg-type]

    return make

"""Every file that is written says what wrote it, and none means something else for that."""

import importlib
import json
import pkgutil
from pathlib import Path

import pytest

from listening import __version__, records
from listening.records.dealt.server import Server
from listening.records.forms import form
from listening.records.forms.environment import environment
from listening.records.forms.form import FileForm

for module in pkgutil.iter_modules(records.__path__):
    importlib.import_module(f"listening.records.{module.name}")
FORMS = {one.__name__: one for one in FileForm.__subclasses__()}


@pytest.mark.parametrize("name", sorted(FORMS))
def test_a_written_form_says_version_python_system_and_libraries(name: str, tmp_path: Path) -> None:
    FORMS[name].model_construct().save(tmp_path / "file.json")
    said = json.loads((tmp_path / "file.json").read_text())["environment"]
    assert said == environment()
    assert said.startswith(f"listening {__version__}, Python 3.")
    assert "numpy 2." in said


def test_another_environment_changes_neither_content_nor_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = Server(url="postgresql://host/bells")
    monkeypatch.setattr(form, "environment", lambda: "listening 99, another computer")
    made.save(tmp_path / "server.json")
    assert "another computer" in (tmp_path / "server.json").read_text()
    read = Server.load(tmp_path / "server.json")
    assert read == made
    assert read.digest() == made.digest()


def test_a_file_from_before_is_read(tmp_path: Path) -> None:
    (tmp_path / "server.json").write_text('{"format": 1, "url": "postgresql://host/bells"}')
    assert Server.load(tmp_path / "server.json").url == "postgresql://host/bells"

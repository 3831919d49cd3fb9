"""The page as a PDF, where the extra is installed; without it a plain message names it."""

import socket
import sys
from pathlib import Path

import pytest

from listening import cli
from listening.commands.report import report_pdf
from listening.errors import ListeningError

PUBLISHED = Path(__file__).resolve().parents[1] / "published"
PAGE = "<html lang='en'><head><title>A page</title></head><body><h1>A page</h1>{}</body></html>"


@pytest.fixture
def pdf_extra() -> None:
    """Skips where the package, or the system library below it, is not there."""
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError) as error:
        pytest.skip(f"the extra for PDF is not installed: {error}")


@pytest.mark.usefixtures("pdf_extra")
def test_a_page_becomes_a_pdf_and_the_same_page_the_same_bytes():
    made = report_pdf.of(PAGE.format(""))
    assert made.startswith(b"%PDF")
    assert report_pdf.of(PAGE.format("")) == made


@pytest.mark.usefixtures("pdf_extra")
def test_nothing_is_fetched_for_it(monkeypatch):
    monkeypatch.setattr(socket, "create_connection", lambda *_, **__: pytest.fail("it asked the network"))
    page = PAGE.format("<img src='http://192.0.2.1/bell.png' alt='a bell'>")
    assert report_pdf.of(page).startswith(b"%PDF")


def test_without_the_package_the_message_names_the_extra(monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(ListeningError, match=r"pip install 'listening\[pdf\]'"):
        report_pdf.of(PAGE.format(""))


@pytest.mark.slow
@pytest.mark.usefixtures("pdf_extra")
def test_a_whole_page_goes_onto_paper(tmp_path):
    about = PUBLISHED / "sound_fields_about.toml"
    words = ["import", str(PUBLISHED / "sound_fields.csv"), str(tmp_path), "--about", str(about)]
    assert cli.main(words) == 0
    assert cli.main(["report", str(tmp_path), "--pdf"]) == 0
    assert (tmp_path / "report" / "report.pdf").read_bytes().startswith(b"%PDF")

"""The pictures of README and docs, made from the program itself: `make pictures`.

Usage: make_pictures.py [STUDY]    a study with a page, for the picture of the report
"""

import hashlib
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE)]

from screens_shown import SCREENS  # noqa: E402

from listening import cli  # noqa: E402

PICTURES = HERE / "pictures"
SOUNDS = HERE.parent / "stimuli_demo"
PAGE_SOURCES = ("listening/report/page/page.html.jinja", "listening/report/page/page.css")
BROWSER = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--window-size=1280,1000",
]


def compare() -> None:
    """The README's dome, hung free and on the handlebar, as `listening compare` draws it."""
    free, held = (sorted(SOUNDS.glob(f"dome_c-{support}-*.flac")) for support in ("free", "handlebar"))
    asked = ["--names", "hung free,on the handlebar", "--pascal-per-full-scale", "5"]
    picture = ["--picture", str(PICTURES / "compared.png")]
    if cli.main(["compare", *map(str, free), "--with", *map(str, held), *asked, *picture]) != 0:
        raise SystemExit("the recordings of the demo could not be compared")


def page_digest() -> str:
    """What the page is made by, so that an old picture of it is noticed."""
    text = b"".join((HERE.parent / name).read_bytes() for name in PAGE_SOURCES)
    return hashlib.sha256(text).hexdigest()


def main(study: Path | None) -> None:
    """Write every picture."""
    for name, drawn in SCREENS.items():
        (PICTURES / f"{name}.svg").write_text(drawn(), encoding="utf-8")
    subprocess.run(
        ["rsvg-convert", "-w", "1200", PICTURES / "trial.svg", "-o", PICTURES / "trial.png"], check=True
    )
    compare()
    browser = shutil.which("chromium")
    if study is None or browser is None:
        print("no picture of the report: name a study with a page, and install chromium")
        return
    with tempfile.TemporaryDirectory() as profile:
        asked = [f"--user-data-dir={profile}", f"--screenshot={PICTURES / 'report.png'}"]
        page = (study / "report" / "report.html").resolve().as_uri()
        subprocess.run([browser, *BROWSER, *asked, page], check=True, capture_output=True)
    (PICTURES / "report.made-from").write_text(page_digest() + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)

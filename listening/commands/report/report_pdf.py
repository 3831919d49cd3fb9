"""The page as a PDF, by an optional package; nothing is fetched from anywhere."""

import re

from listening.errors import ListeningError

MISSING = (
    "a PDF needs a package that is not installed: pip install 'listening[pdf]'; or open the page in a "
    "browser and print it, it is laid out for A4"
)
BROKEN = (
    "a PDF needs the system's text libraries (Pango; on Debian: libpango-1.0-0 libpangoft2-1.0-0), which "
    "cannot be loaded ({}); or open the page in a browser and print it, it is laid out for A4"
)


INKS = re.compile(r"var\(--[a-z-]+, (#[0-9a-f]{6})\)")


def of(page: str) -> bytes:
    """The page as PDF with tags for those who have it read out; same page, same bytes.

    Raises
    ------
    ListeningError
        The package, or the system library below it, is not there.
    """
    try:
        import weasyprint
    except ImportError as error:
        raise ListeningError(MISSING) from error
    except OSError as error:
        raise ListeningError(BROKEN.format(error)) from error
    only_inside = weasyprint.urls.URLFetcher(allowed_protocols=("data",))
    plain = INKS.sub(
        r"\1", page
    )  # paper has one set of colours, and this package reads no variables in figures
    return bytes(weasyprint.HTML(string=plain, url_fetcher=only_inside).write_pdf(pdf_tags=True))

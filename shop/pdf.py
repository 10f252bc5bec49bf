"""PDF files made by WeasyPrint, which fetches nothing while it makes them."""

from collections.abc import Sequence
from functools import cache

VARIANT = "pdf/ua-1"
PACKAGES = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


class PdfUnavailableError(RuntimeError):
    """What WeasyPrint needs of the system is missing; the message says what to install."""


@cache
def pdf_trouble() -> str:
    """Why no PDF can be made here, with what to install; empty where it can."""
    try:
        import weasyprint  # noqa: F401 (slow, and fails without its system libraries)
    except (ImportError, OSError):
        return (
            "PDF files need system libraries that this machine lacks. On Debian: "
            f"apt-get install {PACKAGES}."
        )
    return ""


def write_pdf(
    html: str, styles: Sequence[str], *, most_pages: int = 0, denser: Sequence[str] = ()
) -> bytes:
    """A page and its style sheets as a tagged PDF.

    Where it takes more than ``most_pages`` (0: however many), each of the ``denser`` sheets is added in
    turn until it fits, or the last is reached.
    Raises ``PdfUnavailableError`` where system libraries are missing.
    """
    if trouble := pdf_trouble():
        raise PdfUnavailableError(trouble)
    from weasyprint import CSS, HTML
    from weasyprint.urls import URLFetcher

    # Customers' text is in there: whatever it holds must not make the server fetch anything.
    fetcher = URLFetcher(allowed_protocols={"data"})
    sheets = [CSS(string=text, url_fetcher=fetcher) for text in styles]
    page = HTML(string=html, url_fetcher=fetcher)
    document = page.render(stylesheets=sheets, pdf_variant=VARIANT)
    for text in denser:
        if not most_pages or len(document.pages) <= most_pages:
            break
        sheets.append(CSS(string=text, url_fetcher=fetcher))
        document = page.render(stylesheets=sheets, pdf_variant=VARIANT)
    return document.write_pdf(pdf_variant=VARIANT)

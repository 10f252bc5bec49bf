"""PDF files made by WeasyPrint, which fetches nothing while it makes them."""

from collections.abc import Sequence
from functools import cache

from django.utils.translation import gettext as _

VARIANT = "pdf/ua-1"
PACKAGES = "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0"


class PdfUnavailableError(RuntimeError):
    """What WeasyPrint needs of the system is missing; the message says what to install."""


@cache
def missing_packages() -> str:
    """What to install before PDF files can be made here; empty where they can."""
    try:
        import weasyprint  # noqa: F401 (slow, and fails without its system libraries)
    except (ImportError, OSError):
        return PACKAGES
    return ""


def pdf_trouble() -> str:
    """Why no PDF can be made here, with what to install; empty where it can."""
    missing = missing_packages()
    if not missing:
        return ""
    return _(
        "PDF files need system libraries that this machine lacks. On Debian: "
        "apt-get install %(packages)s."
    ) % {"packages": missing}


def write_pdf(
    html: str, styles: Sequence[str], *, most_pages: int = 0, denser: Sequence[str] = ()
) -> bytes:
    """A page and its style sheets as a tagged PDF.

    Where it takes more than ``most_pages`` (0: however many), the ``denser`` sheets are added one by one
    until it fits; where it does not fit with all of them, it is made with none.
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
    plain = fitting = page.render(stylesheets=sheets, pdf_variant=VARIANT)
    for text in denser if most_pages else ():
        if len(fitting.pages) <= most_pages:
            break
        sheets.append(CSS(string=text, url_fetcher=fetcher))
        fitting = page.render(stylesheets=sheets, pdf_variant=VARIANT)
    document = fitting if len(fitting.pages) <= most_pages else plain
    made: bytes = document.write_pdf(pdf_variant=VARIANT)
    return made

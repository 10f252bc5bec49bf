"""A service report on paper: the same body as on the page, as a tagged PDF."""

import base64
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from measurements.models import ServiceReport
from measurements.photos.report import paper_sources
from measurements.reports.revisions import language_of, replaced_words
from shop.languages import written_in
from shop.logo import logo_source
from shop.pdf import write_pdf

PAPERS = ("A4", "Letter")
MOST_PAGES = 2
#: No page kept for itself, then smaller type and pictures, where the report would run on to a third page.
DENSER = (
    ".paper .report-ahead { break-before: auto; }",
    """.paper .report, .paper .report th, .paper .report td { font-size: 8.5pt; line-height: 1.25; }
    .paper .report h2 { margin-top: .45rem; }
    .paper .report .many img { height: 17mm; } .paper .report-captions { font-size: 7pt; }
    .paper .report-pictures figure { width: 44%; }""",
    """.paper .report, .paper .report th, .paper .report td { font-size: 8pt; line-height: 1.2; }
    .paper .report h2 { font-size: 10pt; margin-top: .35rem; }
    .paper .report ul { margin-bottom: .2rem; }
    .paper .report th, .paper .report td { padding: .05rem .4rem; }
    .paper .report .many img { height: 14mm; } .paper .report-pictures figure { width: 40%; }
    @page { margin: 11mm 16mm 14mm; }""",
)


def pdf(report: ServiceReport, paper: str = "A4") -> bytes:
    """The report as a tagged PDF; its number and revision stand at the foot of every page.

    Raises ``PdfUnavailableError`` where system libraries are missing.
    """
    sheet = (settings.BASE_DIR / "shop/static/shop/report.css").read_text(encoding="utf-8")
    size = paper if paper in PAPERS else PAPERS[0]
    return write_pdf(
        pdf_html(report),
        [sheet, f"@page {{ size: {size}; {_foot(report)} }}"],
        most_pages=MOST_PAGES,
        denser=DENSER,
    )


def _foot(report: ServiceReport) -> str:
    """What stands at the foot of a page: our own words and numbers only, so safe in a style sheet."""
    counters = {"page": '" counter(page) "', "pages": '" counter(pages) "'}
    with written_in(language_of(report)):
        name = capfirst(str(report))
        pages = _("Page %(page)s of %(pages)s") % counters
    return f'@bottom-left {{ content: "{name}"; }} @bottom-right {{ content: "{pages}"; }}'


def file_name(report: ServiceReport) -> str:
    """``service-report-1001.pdf``, or with ``-r2`` for a revision; in the report's own language."""
    later = f"-r{report.revision}" if report.revision > 1 else ""
    with written_in(language_of(report)):
        name = _("service-report-%(number)s") % {"number": report.number}
    return f"{name}{later}.pdf"


def pdf_html(report: ServiceReport) -> str:
    """The page that becomes the PDF: the same body, its pictures as images of their own."""
    content = report.content
    images = {
        "drawing_src": _image(
            "measurements/drawings/_side_view.svg", "drawing", content.get("drawings")
        ),
        "trend_src": _image("measurements/drawings/_trend.svg", "trend", content.get("stills")),
        "photo_srcs": paper_sources(content),
        "logo_src": logo_source(content.get("shop", {}).get("logo")),
    }
    context = {
        "report": report,
        "content": content,
        "replaced": replaced_words(report),
        "on_paper": True,
        **images,
    }
    with written_in(language_of(report)):
        return render_to_string("measurements/reports/pdf.html", context)


def _image(template: str, name: str, pictures: list[dict[str, Any]] | None) -> str:
    """The narrow picture, whose words are large beside it, as a data address; empty without one."""
    if not pictures:
        return ""
    svg = render_to_string(template, {name: pictures[0], "alone": True})
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode("ascii")

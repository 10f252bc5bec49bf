"""What the pages that show a report need beside its frozen content: where its pictures are."""

from collections.abc import Callable
from typing import Any

from django.urls import reverse

from measurements.models import ServiceReport
from measurements.reports.revisions import language_of, replaced_words

#: A photo's address from its entry in the content.
PhotoAddress = Callable[[dict[str, Any]], str]


def staff_photo(photo: dict[str, Any]) -> str:
    return reverse("photo", kwargs={"uuid": photo["uuid"]})


def page_context(
    report: ServiceReport, *, photo: PhotoAddress = staff_photo, logo: str | None = None
) -> dict[str, Any]:
    """The context of ``_report.html`` on a page; ``logo`` is its address where it is not staff's."""
    content = report.content
    kept = content.get("shop", {}).get("logo")
    if kept and logo is None:
        logo = reverse("shop-logo", kwargs={"digest": kept["digest"]})
    return {
        "report": report,
        "content": content,
        "written_in": language_of(report),
        "replaced": replaced_words(report),
        "photo_at": {entry["uuid"]: photo(entry) for entry in content.get("photos", [])},
        "logo_src": logo if kept else "",
    }

"""Everything on record about one customer as a ZIP: a JSON file, their photos, their reports as PDF."""

import json
import tempfile
import zipfile
from collections.abc import Iterable, Iterator
from typing import Any

from django.core.files.storage import default_storage
from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.models import Instrument
from measurements.models import Contact, Photo, ReportLink, ServiceReport
from measurements.privacy.record import ever_owned, reports_naming
from measurements.reports.paper import file_name, pdf
from shop.languages import language_for, written_in
from shop.models import Customer, ShopProfile, User
from shop.pdf import pdf_trouble

#: Keys mean nothing outside the database; whoever asks is told what is kept, not how.
LEFT_OUT = {
    "id",
    "version",
    "form_uuid",
    "imported_in",
    "token_digest",
    "image",
    "digest",
    "check_in",
    "content",
}
IN_MEMORY = 4_000_000
PIECE = 64_000
ABOUT = gettext_noop(
    "Everything that the shop has on record about this customer. Look through it before it is handed "
    "over: free text may speak of other people."
)


def as_archive(customer: Customer) -> Iterator[bytes]:
    """The ZIP piece by piece, from memory while it is small, then from a temporary file."""
    with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY) as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            _fill(archive, customer)
        file.seek(0)
        while piece := file.read(PIECE):
            yield piece


def _fill(archive: zipfile.ZipFile, customer: Customer) -> None:
    reports = reports_naming(customer)
    instruments = list(customer.instruments.select_related("joint").order_by("tag"))
    with written_in(language_for(customer, ShopProfile.current())):
        told = _record(customer, instruments, reports)
    archive.writestr(
        "record.json", json.dumps(told, cls=DjangoJSONEncoder, ensure_ascii=False, indent=1)
    )
    for photo in Photo.objects.filter(check_in__instrument__in=instruments).order_by("pk"):
        if default_storage.exists(str(photo.image.name)):
            with photo.image.open() as image:
                archive.writestr(f"photos/{photo.uuid}.jpg", image.read())
    if not pdf_trouble():
        for report in reports:
            archive.writestr(f"reports/{file_name(report)}", pdf(report))


def _record(
    customer: Customer, instruments: list[Instrument], reports: list[ServiceReport]
) -> dict[str, Any]:
    contacts = Contact.objects.filter(customer=customer).select_related("instrument", "made_by")
    links = ReportLink.objects.filter(report__in=reports).select_related("report", "created_by")
    now = {instrument.pk for instrument in instruments}
    return {
        "about": _(ABOUT),
        "shop": ShopProfile.current().name,
        "made_at": timezone.now(),
        "customer": _plain(customer),
        "earlier_versions": [
            {
                name: getattr(row, name)
                for name in ("history_date", "name", "phone", "email", "address", "notes")
            }
            for row in customer.history.order_by("history_date", "history_id")
        ],
        "instruments": [_instrument(instrument) for instrument in instruments],
        "once_theirs": [one.tag for one in ever_owned(customer) if one.pk not in now],
        "contacts": [_plain(contact) | {"tag": contact.instrument.tag} for contact in contacts],
        "reports": [
            _plain(report) | {"tag": report.instrument.tag, "content": report.content}
            for report in reports
        ],
        "links": _all(links),
        "read_by_the_shop": [
            {"at": read.at, "what": read.get_kind_display()}
            for read in customer.access_records.all()
        ],
    }


def _instrument(instrument: Instrument) -> dict[str, Any]:
    check_ins = instrument.check_ins.select_related("measured_by", "voided_by").prefetch_related(
        "action_readings", "photos", "damages"
    )
    return _plain(instrument) | {
        "joint": _plain(instrument.joint),
        "outlook": _plain(instrument.outlook) if hasattr(instrument, "outlook") else None,
        "check_ins": [
            _plain(check_in)
            | {
                "action_readings": _all(check_in.action_readings.all()),
                "photos": _all(check_in.photos.all()),
                "damage": _all(check_in.damages.all()),
            }
            for check_in in check_ins
        ],
        "work": _all(instrument.works.select_related("done_by", "voided_by")),
        "bookings": _all(instrument.bookings.select_related("booked_by", "voided_by")),
    }


def _all(records: Iterable[Model]) -> list[dict[str, Any]]:
    return [_plain(record) for record in records]


def _plain(record: Model) -> dict[str, Any]:
    """A record's own fields; of people who work here only the name they go by."""
    told: dict[str, Any] = {}
    for column in record._meta.concrete_fields:
        if column.name in LEFT_OUT:
            continue
        value = getattr(record, column.name)
        if isinstance(value, User):
            value = value.get_short_name() or value.username
        elif isinstance(value, Model):
            value = str(getattr(value, "uuid", None) or getattr(value, "tag", None) or value)
        told[column.name] = value
    return told

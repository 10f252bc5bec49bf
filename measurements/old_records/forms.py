"""Forms of an import by page: the file, and which of our columns each of its headings means."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from measurements.old_records.archive import LIMIT_BYTES
from measurements.old_records.matching import LEAVE_OUT, NEEDED, Heading, choices, words_of
from measurements.old_records.table import too_large
from shop.models import Unit
from shop.named_forms import Form

DAY_ORDERS = [
    ("iso", "2026-03-31"),
    ("day", gettext_lazy("31/3/2026 (day first)")),
    ("month", gettext_lazy("3/31/2026 (month first)")),
]


class UploadForm(Form):
    file = forms.FileField(
        label=gettext_lazy("File"),
        help_text=format_lazy(
            gettext_lazy(
                "A log as CSV or XLSX, or an export of a shop as XLSX, ZIP or CSV; at most "
                "{most} MB. Nothing is saved before you have seen every row."
            ),
            most=LIMIT_BYTES // 1_000_000,
        ),
        max_length=200,
        allow_empty_file=True,
        error_messages={"required": gettext_lazy("File is needed.")},
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,.zip,text/csv"}),
    )

    def clean_file(self) -> "UploadedFile[bytes]":
        file: UploadedFile[bytes] = self.cleaned_data["file"]
        if (file.size or 0) > LIMIT_BYTES:
            raise forms.ValidationError(too_large(file.size or 0, LIMIT_BYTES))
        return file


class MatchForm(Form):
    """One select a heading, preset with the guess; the unit of bare numbers; how days are written."""

    unit = forms.ChoiceField(
        label=gettext_lazy("Lengths are in"),
        choices=Unit,
        error_messages={"required": gettext_lazy("Choose what unit bare lengths are in.")},
    )
    day_order = forms.ChoiceField(
        label=gettext_lazy("Days are written"),
        choices=DAY_ORDERS,
        error_messages={"required": gettext_lazy("Choose how days are written.")},
    )

    def __init__(self, data: Any = None, *, headings: list[Heading], **options: Any) -> None:
        super().__init__(data, **options)
        self.headings = headings
        offered = _grouped(headings)
        for heading in headings:
            self.fields[_name(heading)] = forms.ChoiceField(
                label=heading.text[:60],
                choices=offered,
                required=False,
                initial=heading.guess,
                widget=forms.Select(),
            )

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for needed in NEEDED:
            if needed not in cleaned.values():
                said = _("No heading means “%(column)s” yet; every row needs it.")
                self.add_error(None, said % {"column": words_of(needed)})
        return cleaned

    def rows(self) -> list[tuple[Heading, forms.BoundField]]:
        """Each heading beside its select."""
        return [(heading, self[_name(heading)]) for heading in self.headings]

    def chosen(self) -> dict[int, str]:
        """The key chosen for each place of the file."""
        return {
            heading.place: self.cleaned_data[_name(heading)] or LEAVE_OUT
            for heading in self.headings
        }


def _name(heading: Heading) -> str:
    return f"column-{heading.place}"


def _grouped(headings: list[Heading]) -> list[Any]:
    groups: dict[str, list[tuple[str, str]]] = {}
    for choice in choices(headings):
        groups.setdefault(choice.group, []).append((choice.key, choice.words))
    return [(LEAVE_OUT, _("– leave out –")), *groups.items()]

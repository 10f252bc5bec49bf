"""Which sheet, from which label on, how many of each."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from instruments.labels import SHEET_BY_KEY, SHEETS, Sheet
from shop.named_forms import Form

MOST_LABELS = 650
TICKED, FOUND = "ticked", "found"


class LabelsForm(Form):
    """``ticked`` and ``found`` say how many instruments the two choices hold."""

    which = forms.ChoiceField(
        label=gettext_lazy("Labels for"),
        widget=forms.RadioSelect,
        initial=TICKED,
        error_messages={"required": gettext_lazy("Choose which instruments to print labels for.")},
    )
    sheet = forms.ChoiceField(
        label=gettext_lazy("Sheet"), choices=lambda: [(sheet.key, sheet.name) for sheet in SHEETS]
    )
    start = forms.IntegerField(
        label=gettext_lazy("First label to print on"),
        initial=1,
        min_value=1,
        help_text=gettext_lazy(
            "Counted along the rows: 1 is the upper left one. For a sheet that was begun."
        ),
    )
    copies = forms.IntegerField(
        label=gettext_lazy("How many of each"),
        initial=1,
        min_value=1,
        max_value=20,
        error_messages={"required": gettext_lazy("Say how many of each to print, from 1 to 20.")},
    )
    outlines = forms.BooleanField(
        label=gettext_lazy("Outlines, for a trial on plain paper"), required=False
    )

    def __init__(self, *args: Any, ticked: int, found: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.counts = {TICKED: ticked, FOUND: found}
        which = self.fields["which"]
        assert isinstance(which, forms.ChoiceField)  # noqa: S101  says it to the type checker
        which.choices = [
            (TICKED, _("the instruments ticked below")),
            (FOUND, _("every instrument found (%(count)s)") % {"count": found}),
        ]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        sheet = SHEET_BY_KEY.get(cleaned.get("sheet", ""))
        start, copies, which = (cleaned.get(name) for name in ("start", "copies", "which"))
        if sheet and start and start > sheet.count:
            self.add_error(
                "start",
                _("First label %(start)s: this sheet has %(count)s labels, 1 to %(count)s.")
                % {"start": start, "count": sheet.count},
            )
        if which is None or copies is None:
            return cleaned
        count = self.counts[which]
        if not count:
            raise ValidationError(
                _("Tick at least one instrument.")
                if which == TICKED
                else _("No instrument was found.")
            )
        if count * copies > MOST_LABELS:
            raise ValidationError(
                _(
                    "%(count)s instruments, %(copies)s of each, are %(labels)s labels: print at "
                    "most %(most)s at once. Narrow the search or print fewer of each."
                )
                % {
                    "count": count,
                    "copies": copies,
                    "labels": count * copies,
                    "most": MOST_LABELS,
                }
            )
        return cleaned

    def chosen_sheet(self) -> Sheet:
        return SHEET_BY_KEY[self.cleaned_data["sheet"]]

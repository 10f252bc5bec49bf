from decimal import Decimal
from typing import Any

from django import forms
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from shop.figures import localized
from shop.models import Price
from shop.named_forms import Form
from shop.prices import JOBS, price_list

MOST = Decimal("999999.99")


def _amount(label: str) -> forms.DecimalField:
    return forms.DecimalField(
        label=label, min_value=Decimal(0), max_value=MOST, decimal_places=2, required=False
    )


class PriceForm(Form):
    """From and to for every job; both empty takes a job off the list."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.prices = price_list()
        super().__init__(*args, **kwargs)
        for job in JOBS:
            price = self.prices.get(job)
            for end in ("low", "high"):
                field = _amount(
                    pgettext("price", "From") if end == "low" else pgettext("price", "To")
                )
                field.initial = getattr(price, end, None)
                self.fields[f"{job}_{end}"] = field

    def rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        return [(_(words), self[f"{job}_low"], self[f"{job}_high"]) for job, words in JOBS.items()]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        for job, words in JOBS.items():
            low, high = cleaned.get(f"{job}_low"), cleaned.get(f"{job}_high")
            if (low is None) != (high is None) and not any(
                f"{job}_{end}" in self.errors for end in ("low", "high")
            ):
                missing = "low" if low is None else "high"
                self.add_error(
                    f"{job}_{missing}",
                    _("%(job)s: give both ends, or neither.") % {"job": _(words)},
                )
            elif low is not None and high is not None and low > high:
                self.add_error(
                    f"{job}_high",
                    _("%(job)s: from %(low)s to %(high)s; “to” must not be less than “from”.")
                    % {"job": _(words), "low": localized(str(low)), "high": localized(str(high))},
                )
        return cleaned

    @transaction.atomic
    def save(self) -> None:
        """Write what changed, so that the history holds changes only."""
        for job, words in JOBS.items():
            low, high = self.cleaned_data[f"{job}_low"], self.cleaned_data[f"{job}_high"]
            price = self.prices.get(job)
            if low is None:
                if price is not None:
                    price.delete()
            elif price is None or (price.low, price.high) != (low, high):
                price = price or Price(job=job)
                price.words, price.low, price.high = words, low, high
                price.full_clean()
                price.save()

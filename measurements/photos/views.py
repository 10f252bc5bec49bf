"""Adding photos and noting damage at a check-in, and handing the pictures out to staff."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from measurements.check_ins.forms import VoidForm
from measurements.models import CheckIn, Damage, Photo, Stage
from measurements.photos.forms import (
    USUAL_PLACES,
    AddPhotosForm,
    DescribeForm,
    damage_form,
    strike_form,
)
from measurements.photos.kept import shrink
from measurements.photos.reads import SeenPhoto, jpeg_of, seen_at
from measurements.photos.saving import DAMAGE, FILES, WORDS, Outcome, Sent, save_all
from shop.people import person
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view


@dataclass(frozen=True)
class Card:
    """A photo with its boxes, and the one for why it is struck out."""

    seen: SeenPhoto
    form: DescribeForm
    void_form: VoidForm


@dataclass(frozen=True)
class DamageCard:
    damage: Damage
    void_form: VoidForm


@require_GET
@anyone_on_staff
def photo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The picture itself, or with ``?size=small`` a small one; a voided one too, reports may hold it."""
    found = get_object_or_404(Photo, uuid=uuid)
    try:
        data = jpeg_of(found)
    except FileNotFoundError as error:
        raise Http404(_("The picture's file is gone; restore it from the backup.")) from error
    if request.GET.get("size") == "small":
        data = shrink(data)
    return HttpResponse(
        data,
        content_type="image/jpeg",
        headers={
            "Content-Disposition": f'inline; filename="{found.uuid}.jpg"',
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, max-age=86400",  # a picture never changes under its address
        },
    )


@form_view
@at_the_bench
def photos(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Photos and damage of a check-in with all that can be done to them; a post adds photos."""
    found = _check_in(uuid)
    if request.method == "POST":
        return _save(request, found, pressed=FILES)
    if found.voided_at is not None:
        return _turned_away(request, found)
    return _page(request, found)


@require_POST
@at_the_bench
def describe(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Save what the photos show, which of them go into the report, and all else that is filled in."""
    return _save(request, _check_in(uuid), pressed=WORDS)


@require_POST
@at_the_bench
def damage(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Note a damage, and save all else that is filled in."""
    return _save(request, _check_in(uuid), pressed=DAMAGE)


@require_POST
@at_the_bench
def void_photo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Photo.objects.select_related("check_in__instrument"), uuid=uuid)
    return _save(request, found.check_in, strike=found)


@require_POST
@at_the_bench
def void_damage(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Damage.objects.select_related("check_in__instrument"), uuid=uuid)
    return _save(request, found.check_in, strike=found)


def _save(
    request: HttpRequest,
    found: CheckIn,
    *,
    pressed: str = WORDS,
    strike: Photo | Damage | None = None,
) -> HttpResponse:
    """Save all of the page; back to the check-in that stands, or the page with what is not saved."""
    check_in = _standing(found)
    sent = Sent(request.POST, request.FILES, person(request))
    outcome = save_all(check_in, sent, pressed=pressed, strike=strike)
    if not outcome.complete:
        return _page(request, check_in, outcome)
    messages.success(request, " ".join(outcome.said) or _("Nothing was changed."))
    return redirect("photos", uuid=check_in.uuid)


def _standing(check_in: CheckIn) -> CheckIn:
    """The check-in, or what replaced it."""
    later = CheckIn.objects.select_related("instrument").filter(replaces=check_in).first()
    return check_in if later is None else _standing(later)


def _check_in(uuid: UUID) -> CheckIn:
    return get_object_or_404(CheckIn.objects.select_related("instrument"), uuid=uuid)


def _turned_away(request: HttpRequest, voided: CheckIn) -> HttpResponse:
    standing = _standing(voided)
    if standing.voided_at is None:
        return redirect("photos", uuid=standing.uuid)
    messages.error(request, _("This check-in was voided; it takes no more photos or damage."))
    return redirect("check-in", uuid=voided.uuid)


def _received_before(check_in: CheckIn) -> CheckIn | None:
    """Where damage is noted when this check-in is as returned."""
    earlier = CheckIn.objects.standing().filter(
        instrument=check_in.instrument_id,
        stage=Stage.RECEIVED,
        measured_at__lte=check_in.measured_at,
    )
    return earlier.last()


def _page(request: HttpRequest, check_in: CheckIn, outcome: Outcome | None = None) -> HttpResponse:
    """The page with every box as it stands on record, but those that could not be saved."""
    seen = seen_at(check_in)
    left = outcome or Outcome()

    def void_form(fact: Photo | Damage) -> VoidForm:
        return left.void_forms.get(fact.uuid) or strike_form(fact)

    def card(item: SeenPhoto) -> Card:
        form = left.describe_forms.get(item.photo.uuid) or DescribeForm(None, item.photo)
        return Card(item, form, void_form(item.photo))

    context: dict[str, Any] = {
        "check_in": check_in,
        "instrument": check_in.instrument,
        "seen": seen,
        "outcome": outcome,
        "cards": [card(item) for item in seen.photos],
        "damage_cards": [DamageCard(item, void_form(item)) for item in seen.damages],
        "add_form": left.add_form or AddPhotosForm(),
        "takes_damage": check_in.stage == Stage.RECEIVED or left.damage_form is not None,
        "received": _received_before(check_in),
        "damage_form": left.damage_form or damage_form(check_in),
        "usual_places": [_(place) for place in USUAL_PLACES],
    }
    status = 200 if outcome is None else 422
    return render(request, "measurements/photos/photos.html", context, status=status)

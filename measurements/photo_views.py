"""Adding photos and noting damage at a check-in, and handing the pictures out to staff."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from measurements.acts import void
from measurements.forms import VoidForm
from measurements.models import CheckIn, Damage, Photo, Stage
from measurements.photo_acts import add_photo, describe_photos, note_damage
from measurements.photo_forms import (
    DESCRIBE_ID,
    USUAL_PLACES,
    AddPhotosForm,
    DamageForm,
    DescribeForm,
)
from measurements.photo_reads import SeenPhoto, jpeg_of, photos_of, seen_at
from measurements.photos import MOST_BYTES, PhotoRefusedError, shrink, too_large
from shop.people import person
from shop.roles import anyone_on_staff, at_the_bench
from shop.views import form_view

SHOWN_NAME = 60  # characters of a refused file's name


@dataclass(frozen=True)
class Card:
    """A photo with its own two forms."""

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
        raise Http404("The picture's file is gone; restore it from the backup.") from error
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
    if found.voided_at is not None:
        return _turned_away(request, found)
    if request.method != "POST":
        return _page(request, found)
    form = AddPhotosForm(None, request.FILES)
    if not form.is_valid():
        return _page(request, found, 422, add_form=form)
    saved, refused = _add_all(request, found, form.cleaned_data["photos"])
    if refused:
        return _page(request, found, 422, refused=refused, saved=saved)
    messages.success(request, saved)
    return redirect("photos", uuid=found.uuid)


def _add_all(
    request: HttpRequest, check_in: CheckIn, files: list[UploadedFile]
) -> tuple[str, list[tuple[str, str]]]:
    """Keep what is right of several files: what was saved in words, and each refused name with why."""
    new, again, refused = 0, 0, []
    for file in files:
        try:
            if (file.size or 0) > MOST_BYTES:  # not even read
                raise PhotoRefusedError(too_large(file.size or 0))
            _, is_new = add_photo(check_in=check_in, data=file.read(), by=person(request))
        except PhotoRefusedError as error:
            refused.append((shown_name(file.name or ""), f"{error}."))
        except ValidationError as error:  # voided by someone else in the meantime
            refused.append((shown_name(file.name or ""), " ".join(error.messages)))
        else:
            new, again = new + is_new, again + (not is_new)
    parts = []
    if new:
        parts.append("1 photo is saved." if new == 1 else f"{new} photos are saved.")
    if again:
        parts.append(
            "1 was here already and is kept once."
            if again == 1
            else f"{again} were here already and are kept once."
        )
    return " ".join(parts), refused


def shown_name(name: str) -> str:
    """A client's file name fit to be shown: nothing that controls or turns text, not too long."""
    plain = "".join(character for character in name if character.isprintable()).strip()
    return (
        plain if len(plain) <= SHOWN_NAME else f"{plain[:SHOWN_NAME]}…"
    ) or "a file without a name"


@require_POST
@at_the_bench
def describe(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Save what the photos show and which of them go into the report."""
    found = _check_in(uuid)
    forms = {
        seen.photo.uuid: DescribeForm(request.POST, seen.photo) for seen in seen_at(found).photos
    }
    sent = {key: form for key, form in forms.items() if form.is_bound}
    if [form for form in sent.values() if not form.is_valid()]:  # all, so that all is said at once
        return _page(request, found, 422, describe_forms=forms)
    said = {
        key: (form.cleaned_data["words"], form.cleaned_data["in_report"])
        for key, form in sent.items()
    }
    try:
        changed = describe_photos(check_in=found, said=said)
    except ValidationError as error:
        return _page(request, found, 422, describe_forms=forms, describe_errors=error.messages)
    messages.success(request, "The photos are saved." if changed else "Nothing was changed.")
    return redirect("photos", uuid=found.uuid)


@require_POST
@at_the_bench
def damage(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = _check_in(uuid)
    form = _damage_form(found, request.POST)
    if form.is_valid():
        try:
            noted = note_damage(check_in=found, by=person(request), **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            messages.success(request, f"Noted: {noted}.")
            return redirect("photos", uuid=found.uuid)
    return _page(request, found, 422, damage_form=form)


@require_POST
@at_the_bench
def void_photo(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Photo.objects.select_related("check_in__instrument"), uuid=uuid)
    return _void(request, found, "The photo is voided; it stays on record.")


@require_POST
@at_the_bench
def void_damage(request: HttpRequest, uuid: UUID) -> HttpResponse:
    found = get_object_or_404(Damage.objects.select_related("check_in__instrument"), uuid=uuid)
    return _void(request, found, "The entry is voided; it stays on record, struck out.")


def _void(request: HttpRequest, fact: Photo | Damage, done: str) -> HttpResponse:
    """Void with a reason, or show the page again with what is missing; back to the check-in that stands."""
    check_in = _standing(fact.check_in)
    form = VoidForm(request.POST, auto_id=_auto_id(fact))
    if not form.is_valid():
        return _page(request, check_in, 422, void_forms={fact.uuid: form})
    try:
        void(fact, by=person(request), reason=form.cleaned_data["reason"])
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, done)
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
    messages.error(request, "This check-in was voided; it takes no more photos or damage.")
    return redirect("check-in", uuid=voided.uuid)


def _received_before(check_in: CheckIn) -> CheckIn | None:
    """Where damage is noted when this check-in is as returned."""
    earlier = CheckIn.objects.standing().filter(
        instrument=check_in.instrument_id,
        stage=Stage.RECEIVED,
        measured_at__lte=check_in.measured_at,
    )
    return earlier.last()


def _damage_form(check_in: CheckIn, data: Any = None) -> DamageForm:
    standing = photos_of(check_in).filter(voided_at=None)
    return DamageForm(data, seen_at(check_in).photos, standing)


def _auto_id(fact: Photo | Damage) -> str:
    return f"void-{fact.uuid.hex}-%s"


def _page(
    request: HttpRequest, check_in: CheckIn, status: int = 200, **changed: Any
) -> HttpResponse:
    """The page with every form empty but those in ``changed``."""
    seen = seen_at(check_in)
    described: dict[UUID, DescribeForm] = changed.pop("describe_forms", {})
    voiding: dict[UUID, VoidForm] = changed.pop("void_forms", {})

    def void_form(fact: Photo | Damage) -> VoidForm:
        return voiding.get(fact.uuid) or VoidForm(auto_id=_auto_id(fact))

    def card(item: SeenPhoto) -> Card:
        form = described.get(item.photo.uuid) or DescribeForm(None, item.photo)
        return Card(item, form, void_form(item.photo))

    context: dict[str, Any] = {
        "check_in": check_in,
        "instrument": check_in.instrument,
        "seen": seen,
        "cards": [card(item) for item in seen.photos],
        "damage_cards": [DamageCard(item, void_form(item)) for item in seen.damages],
        "describe_id": DESCRIBE_ID,
        "add_form": AddPhotosForm(),
        "takes_damage": check_in.stage == Stage.RECEIVED,
        "received": _received_before(check_in),
        "damage_form": changed.get("damage_form") or _damage_form(check_in),
        "usual_places": USUAL_PLACES,
        **changed,
    }
    return render(request, "measurements/photos.html", context, status=status)

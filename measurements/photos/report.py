"""What a service report holds of photos and damage: words frozen at issue, pictures told by digest."""

import base64
import hashlib
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from measurements.models import CheckIn, Damage, Photo
from measurements.photos.kept import shrink
from measurements.photos.reads import jpeg_of, seen
from shop.figures import day_words


def seen_for_report(check_ins: list[CheckIn]) -> dict[str, list[Any]]:
    """``photos`` chosen for the report, numbered through, and ``damage`` in words, as plain JSON."""
    photos: list[dict[str, Any]] = []
    numbers: dict[int, int] = {}
    damage: list[str] = []
    for check_in, found in zip(check_ins, seen(check_ins), strict=True):
        for item in found.photos:
            if item.photo.in_report:
                numbers[item.photo.pk] = len(photos) + 1
                photos.append(
                    {
                        "number": len(photos) + 1,
                        "uuid": str(item.photo.uuid),
                        "digest": item.photo.digest,
                        "words": item.photo.words,
                        "alt": item.alt,
                        "caption": ", ".join(
                            filter(None, (item.photo.words, check_in.get_stage_display()))
                        ),
                    }
                )
        damage += [_damage_words(entry, check_in, numbers) for entry in found.damages]
    return {"photos": photos, "damage": damage}


def _damage_words(damage: Damage, check_in: CheckIn, numbers: dict[int, int]) -> str:
    """``Top: crack, 40 mm (photo 2; noted 6 May 2026)``; the day where it was noted later."""
    noted, came = (
        timezone.localtime(moment).date() for moment in (damage.noted_at, check_in.measured_at)
    )
    beside = []
    if damage.photo_id in numbers:
        beside.append(_("photo %(number)s") % {"number": numbers[damage.photo_id]})
    if noted != came:
        beside.append(_("noted %(day)s") % {"day": day_words(noted)})
    words = f"{damage.place[0].upper()}{damage.place[1:]}: {damage.words}"
    return f"{words} ({'; '.join(beside)})" if beside else words


def paper_sources(content: dict[str, Any]) -> dict[str, str]:
    """The report's pictures as data addresses, by photo; without one whose file is gone or changed."""
    entries = content.get("photos", [])
    sources = {}
    for photo in Photo.objects.filter(uuid__in=[entry["uuid"] for entry in entries]):
        (digest,) = (entry["digest"] for entry in entries if entry["uuid"] == str(photo.uuid))
        data = _unchanged(photo, digest)
        if data is not None:
            small = base64.b64encode(shrink(data)).decode("ascii")
            sources[str(photo.uuid)] = f"data:image/jpeg;base64,{small}"
    return sources


def jpeg_as_frozen(entry: dict[str, Any]) -> bytes | None:
    """The picture of an entry of the report; None where its file is gone or changed."""
    photo = Photo.objects.filter(uuid=entry["uuid"]).first()
    return None if photo is None else _unchanged(photo, entry["digest"])


def _unchanged(photo: Photo, digest: str) -> bytes | None:
    try:
        data = jpeg_of(photo)
    except FileNotFoundError:
        return None
    return data if hashlib.sha256(data).hexdigest() == digest else None

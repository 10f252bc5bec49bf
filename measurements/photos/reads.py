"""Photos and noted damage of a check-in, as pages and reports show them."""

from dataclasses import dataclass

from django.core.files.storage import default_storage
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from measurements.models import CheckIn, Damage, Photo, Stage
from shop.figures import day_words


@dataclass(frozen=True)
class SeenPhoto:
    """A photo with its number among those of its check-in and what stands in for it unseen."""

    number: int
    photo: Photo
    alt: str

    @property
    def name(self) -> str:
        return _("photo %(number)s") % {"number": self.number}


@dataclass(frozen=True)
class Seen:
    """What was seen of an instrument at a check-in; ``voided_…`` is struck out."""

    photos: list[SeenPhoto]
    damages: list[Damage]
    voided_photos: list[SeenPhoto]
    voided_damages: list[Damage]


def chain(check_in: CheckIn) -> list[int]:
    """Keys of a check-in and of those it replaced: correcting a figure loses no photo."""
    keys = [check_in.pk]
    earlier = check_in.replaces_id
    while earlier is not None:
        keys.append(earlier)
        earlier = CheckIn.objects.values_list("replaces_id", flat=True).get(pk=earlier)
    return keys


def photos_of(check_in: CheckIn) -> QuerySet[Photo]:
    return Photo.objects.filter(check_in__in=chain(check_in))


def damages_of(check_in: CheckIn) -> QuerySet[Damage]:
    return Damage.objects.filter(check_in__in=chain(check_in))


def seen_at(check_in: CheckIn) -> Seen:
    return seen([check_in])[0]


def seen_on_visit(check_ins: list[CheckIn]) -> list[tuple[CheckIn, Seen]]:
    """What was seen since the last check-in as received, of standing ones from the oldest to the newest."""
    received = [n for n, check_in in enumerate(check_ins) if check_in.stage == Stage.RECEIVED]
    since = check_ins[received[-1] if received else -1 :]
    pairs = zip(since, seen(since), strict=True)
    return [(check_in, found) for check_in, found in pairs if found.photos or found.damages]


def seen(check_ins: list[CheckIn]) -> list[Seen]:
    """Photos of each check-in numbered in the order in which they came, and damage, voided ones apart."""
    keys = [chain(check_in) for check_in in check_ins]
    wanted = [key for several in keys for key in several]
    photos = list(Photo.objects.filter(check_in__in=wanted).select_related("voided_by", "added_by"))
    damages = list(
        Damage.objects.filter(check_in__in=wanted).select_related("photo", "voided_by", "noted_by")
    )
    return [
        _parted(
            day_of(check_in),
            [photo for photo in photos if photo.check_in_id in own],
            [damage for damage in damages if damage.check_in_id in own],
        )
        for check_in, own in zip(check_ins, keys, strict=True)
    ]


def _parted(day: str, photos: list[Photo], damages: list[Damage]) -> Seen:
    numbered = [
        SeenPhoto(number, photo, photo.words or _alt(number, day))
        for number, photo in enumerate(photos, start=1)
    ]
    return Seen(
        photos=[item for item in numbered if item.photo.voided_at is None],
        damages=[damage for damage in damages if damage.voided_at is None],
        voided_photos=[item for item in numbered if item.photo.voided_at is not None],
        voided_damages=[damage for damage in damages if damage.voided_at is not None],
    )


def _alt(number: int, day: str) -> str:
    return _("photo %(number)s of the check-in of %(day)s") % {"number": number, "day": day}


def day_of(check_in: CheckIn) -> str:
    return day_words(check_in.measured_at)


def jpeg_of(photo: Photo) -> bytes:
    """The stored picture. Raises ``FileNotFoundError`` where the file is gone."""
    with default_storage.open(str(photo.image)) as file:
        stored: bytes = file.read()
    return stored

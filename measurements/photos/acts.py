"""Writing photos and noted damage: each act atomic, nothing half-saved. ``acts.void`` strikes them out."""

import logging
from collections.abc import Mapping
from uuid import UUID, uuid4, uuid5

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils.translation import gettext as _

from instruments.models import Instrument
from measurements.models import CheckIn, Damage, Photo, Stage
from measurements.photos.kept import PhotoRefusedError, Picture, prepare
from measurements.photos.reads import damages_of, photos_of
from shop.models import User
from shop.texts import plain_line

MOST_PHOTOS = 40  # of one check-in
MOST_DAMAGES = 40
MOST_IN_REPORT = 6  # of one check-in; so many still leave a report on two pages

logger = logging.getLogger(__name__)


def add_photo(*, check_in: CheckIn, data: bytes, by: User | None) -> tuple[Photo, bool]:
    """Keep one photo; says whether it is new, since the same one twice gives the first one back.

    Raises ``PhotoRefusedError`` for a file that is not kept, ``ValidationError`` for a voided check-in.
    """
    picture = prepare(data)  # before the lock: unpacking takes a while
    uuid = uuid4()
    name = f"photos/{uuid}.jpg"  # never what the client called it
    try:
        with transaction.atomic():
            _lock(check_in)
            already = photos_of(check_in).filter(voided_at=None, digest=picture.digest).first()
            if already is not None:
                return already, False
            if photos_of(check_in).filter(voided_at=None).count() >= MOST_PHOTOS:
                raise PhotoRefusedError(
                    _(
                        "the check-in has %(most)s photos, the most it can hold. Void one that is "
                        "not needed first"
                    )
                    % {"most": MOST_PHOTOS}
                )
            return _stored(check_in, picture, uuid, name, by), True
    except OSError as error:
        _forget(name)
        logger.exception("A photo could not be stored.")
        raise PhotoRefusedError(
            _("it could not be stored: the disk may be full. Tell whoever looks after the server")
        ) from error
    except BaseException:
        _forget(name)
        raise


def _stored(check_in: CheckIn, picture: Picture, uuid: UUID, name: str, by: User | None) -> Photo:
    photo = Photo(
        uuid=uuid,
        check_in=check_in,
        image=default_storage.save(name, ContentFile(picture.jpeg)),
        width=picture.width,
        height=picture.height,
        digest=picture.digest,
        added_by=by,
    )
    photo.full_clean()
    photo.save()
    return photo


def _forget(name: str) -> None:
    """Take a file without a row away again; that this fails must not hide why."""
    try:
        default_storage.delete(name)
    except OSError:
        logger.exception("A file without a row was left behind: %s", name)


@transaction.atomic
def describe_photos(*, check_in: CheckIn, said: Mapping[UUID, tuple[str, bool]]) -> int:
    """Say what photos show and choose those for the report; returns how many changed.

    ``said`` is words and choice by photo; a photo it leaves out stays as it is.
    Raises ``ValidationError`` where too many are chosen.
    """
    _lock(check_in)
    standing = photos_of(check_in).filter(voided_at=None)
    changed = 0
    for photo in standing.filter(uuid__in=said):
        words, in_report = said[photo.uuid]
        words = " ".join(words.split())
        if (photo.words, photo.in_report) == (words, in_report):
            continue
        photo.words, photo.in_report = words, in_report
        photo.full_clean()
        photo.save(update_fields=["words", "in_report"])
        changed += 1
    chosen = standing.filter(in_report=True).count()
    if chosen > MOST_IN_REPORT:
        raise ValidationError(
            _(
                "%(chosen)s photos are ticked for the report; it shows at most %(most)s of a "
                "check-in. Untick %(over)s."
            )
            % {"chosen": chosen, "most": MOST_IN_REPORT, "over": chosen - MOST_IN_REPORT}
        )
    return changed


@transaction.atomic
def note_damage(
    *,
    check_in: CheckIn,
    place: str,
    words: str,
    by: User | None,
    photo: Photo | None = None,
    uuid: UUID | None = None,
) -> Damage:
    """Note damage that an instrument came with; the same under a repeated ``uuid`` gives the first back.

    Something else under it is another damage, so that what was changed does not vanish unsaid.
    Raises ``ValidationError`` where the check-in is voided or not one as received, where the photo is
    not one of its own, or where place or words are missing.
    """
    _lock(check_in)
    place, words = (" ".join(plain_line(text).split()) for text in (place, words))
    uuid, already = _noted_before(check_in, uuid or uuid4(), place, words, photo)
    if already is not None:
        return already
    if check_in.stage != Stage.RECEIVED:
        raise ValidationError(
            _("Damage is noted where the instrument was received; this check-in is as returned.")
        )
    if photo is not None and not photos_of(check_in).filter(pk=photo.pk, voided_at=None).exists():
        raise ValidationError(
            {"photo": _("This photo is not one of the check-in's; choose another.")}
        )
    if damages_of(check_in).filter(voided_at=None).count() >= MOST_DAMAGES:
        raise ValidationError(
            _("The check-in has %(most)s entries of damage, the most it can hold. Void one first.")
            % {"most": MOST_DAMAGES}
        )
    damage = Damage(
        uuid=uuid,
        check_in=check_in,
        place=place,
        words=words,
        photo=photo,
        noted_by=by,
    )
    damage.full_clean()
    damage.save()
    return damage


def _noted_before(
    check_in: CheckIn, uuid: UUID, place: str, words: str, photo: Photo | None
) -> tuple[UUID, Damage | None]:
    """The damage that this form has noted, and the number under which it is, or will be, on record.

    Where the form says something else by now, its number is made of both, so that this too is noted once.
    """
    already = Damage.objects.filter(uuid=uuid).first()
    if already is None:
        return uuid, None
    if already.check_in_id != check_in.pk:
        raise ValidationError(_("This damage was already noted at another check-in."))
    if (already.place, already.words, already.photo) == (place, words, photo):
        return uuid, already
    uuid = uuid5(uuid, "\n".join((place, words, str(photo and photo.uuid))))
    return uuid, Damage.objects.filter(uuid=uuid).first()


def _lock(check_in: CheckIn) -> None:
    """One writer at a time, and none on a check-in that was voided."""
    Instrument.objects.select_for_update().get(pk=check_in.instrument_id)
    if CheckIn.objects.filter(pk=check_in.pk, voided_at__isnull=False).exists():
        raise ValidationError(
            _("This check-in was voided; add photos and damage to the one that stands.")
        )

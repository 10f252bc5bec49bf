"""Forms for photos and noted damage; what is in a file is judged by ``measurements.photos.kept``."""

from typing import Any, cast
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, pgettext_lazy

from measurements.check_ins.forms import VoidForm
from measurements.models import CheckIn, Damage, Photo
from measurements.photos.kept import MOST_BYTES
from measurements.photos.reads import SeenPhoto, photos_of, seen_at
from shop.named_forms import Form

MOST_AT_ONCE = 10
ACCEPT = "image/jpeg,image/png,image/webp"  # a hint for the phone; no capture: camera or album

USUAL_PLACES = (
    gettext_noop("top"),
    gettext_noop("back"),
    gettext_noop("bass side"),
    gettext_noop("treble side"),
    gettext_noop("bridge"),
    gettext_noop("bridge plate"),
    gettext_noop("saddle"),
    gettext_noop("soundhole and rosette"),
    gettext_noop("bracing"),
    gettext_noop("binding"),
    gettext_noop("fingerboard"),
    gettext_noop("frets"),
    gettext_noop("nut"),
    gettext_noop("neck"),
    gettext_noop("heel"),
    gettext_noop("headstock"),
    gettext_noop("tuners"),
    gettext_noop("finish"),
    gettext_noop("case"),
)


class SeveralFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """Any number of files up to a limit; an empty one passes here and is refused by its name."""

    widget = SeveralFiles

    def clean(self, data: Any, initial: Any = None) -> "list[UploadedFile[bytes]]":
        files = list(data or [])
        if not files:
            raise ValidationError(_("Choose at least one photo."), code="required")
        if len(files) > MOST_AT_ONCE:
            raise ValidationError(
                _("%(chosen)s photos at once; at most %(most)s. Add them in two goes.")
                % {"chosen": len(files), "most": MOST_AT_ONCE},
                code="many",
            )
        return files


class AddPhotosForm(Form):
    use_required_attribute = False  # the page's other buttons save without a file
    photos = SeveralFilesField(
        label=gettext_lazy("Photos"),
        widget=SeveralFiles(attrs={"accept": ACCEPT}),
        help_text=format_lazy(
            gettext_lazy(
                "JPEG, PNG or WebP; up to {most} at a time, {size} MB each. "
                "Position and other hidden data are removed."
            ),
            most=MOST_AT_ONCE,
            size=MOST_BYTES // 2**20,
        ),
    )


class DescribeForm(Form):
    """Words and choice of one photo."""

    words = forms.CharField(
        label=gettext_lazy("What it shows"),
        max_length=200,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    in_report = forms.BooleanField(label=gettext_lazy("Show in the report"), required=False)

    def __init__(self, data: Any, photo: Photo) -> None:
        prefix = f"photo-{photo.uuid.hex}"
        super().__init__(
            data if data is not None and f"{prefix}-words" in data else None,
            prefix=prefix,
            initial={"words": photo.words, "in_report": photo.in_report},
        )


class PhotoChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # to the type checker only
    """One of a check-in's photos by its number and words."""

    names: dict[int, str] = {}

    def label_from_instance(self, obj: Photo) -> str:
        return self.names.get(obj.pk, str(obj))


class DamageForm(Form):
    use_required_attribute = False  # the page's other buttons save without a damage
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    place = forms.CharField(
        label=gettext_lazy("Where"),
        max_length=Damage._meta.get_field("place").max_length,
        widget=forms.TextInput(attrs={"list": "usual-places", "autocomplete": "off"}),
        error_messages={"required": gettext_lazy("Where is needed.")},
        help_text=gettext_lazy("For example: top, treble side of the bridge"),
    )
    words = forms.CharField(
        label=gettext_lazy("What is damaged"),
        max_length=Damage._meta.get_field("words").max_length,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=gettext_lazy("For example: crack, 40 mm, open"),
        error_messages={"required": gettext_lazy("What is damaged is needed.")},
    )
    photo = PhotoChoice(
        label=gettext_lazy("Photo of it"),
        queryset=Photo.objects.none(),
        required=False,
        empty_label=pgettext_lazy("photo", "none"),
    )

    def __init__(self, data: Any, photos: list[SeenPhoto], standing: QuerySet[Photo]) -> None:
        super().__init__(data, initial={"uuid": uuid4()})
        field = cast(PhotoChoice, self.fields["photo"])
        field.queryset = standing
        field.names = {
            seen.photo.pk: f"{seen.name}: {seen.photo.words}" if seen.photo.words else seen.name
            for seen in photos
        }

    @property
    def is_begun(self) -> bool:
        """Whether anything of it is filled in."""
        names = ("place", "words", "photo")
        return any(str(self.data.get(self.add_prefix(name), "")).strip() for name in names)


def damage_form(check_in: CheckIn, data: Any = None) -> DamageForm:
    """The form to note a damage at a check-in, with the photos that may show it."""
    standing = photos_of(check_in).filter(voided_at=None)
    return DamageForm(data, seen_at(check_in).photos, standing)


def strike_form(fact: Photo | Damage, data: Any = None) -> VoidForm:
    """The reason for striking out one of the page's photos or damages."""
    name = f"void-{fact.uuid.hex}"
    form = VoidForm(data, prefix=name)
    form.use_required_attribute = False
    return form

"""Forms for photos and noted damage; what is in a file is judged by ``measurements.photos``."""

from typing import Any, cast
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet

from measurements.models import Damage, Photo
from measurements.photo_reads import SeenPhoto
from measurements.photos import MOST_BYTES

MOST_AT_ONCE = 10
ACCEPT = "image/jpeg,image/png,image/webp"  # a hint for the phone; no capture: camera or album
DESCRIBE_ID = "describe"  # the form that holds the words and ticks of all photos

USUAL_PLACES = (
    "top",
    "back",
    "bass side",
    "treble side",
    "bridge",
    "bridge plate",
    "saddle",
    "soundhole and rosette",
    "bracing",
    "binding",
    "fingerboard",
    "frets",
    "nut",
    "neck",
    "heel",
    "headstock",
    "tuners",
    "finish",
    "case",
)


class SeveralFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """Any number of files up to a limit; an empty one passes here and is refused by its name."""

    widget = SeveralFiles

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files = list(data or [])
        if not files:
            raise ValidationError("Choose at least one photo.", code="required")
        if len(files) > MOST_AT_ONCE:
            raise ValidationError(
                f"{len(files)} photos at once; at most {MOST_AT_ONCE}. Add them in two goes.",
                code="many",
            )
        return files


class AddPhotosForm(forms.Form):
    photos = SeveralFilesField(
        label="Photos",
        widget=SeveralFiles(attrs={"accept": ACCEPT}),
        help_text=(
            f"JPEG, PNG or WebP; up to {MOST_AT_ONCE} at a time, {MOST_BYTES // 2**20} MB each. "
            "Position and other hidden data are removed."
        ),
    )


class DescribeForm(forms.Form):
    """Words and choice of one photo; its boxes belong to the one form that saves all of them."""

    words = forms.CharField(
        label="What it shows",
        max_length=200,
        required=False,
        widget=forms.Textarea(attrs={"form": DESCRIBE_ID, "rows": 2}),
    )
    in_report = forms.BooleanField(
        label="Show in the report",
        required=False,
        widget=forms.CheckboxInput(attrs={"form": DESCRIBE_ID}),
    )

    def __init__(self, data: Any, photo: Photo) -> None:
        prefix = f"photo-{photo.uuid.hex}"
        super().__init__(
            data if data is not None and f"{prefix}-words" in data else None,
            prefix=prefix,
            initial={"words": photo.words, "in_report": photo.in_report},
        )


class PhotoChoice(forms.ModelChoiceField):
    """One of a check-in's photos by its number and words."""

    names: dict[int, str] = {}

    def label_from_instance(self, obj: Photo) -> str:
        return self.names.get(obj.pk, str(obj))


class DamageForm(forms.Form):
    uuid = forms.UUIDField(widget=forms.HiddenInput)
    place = forms.CharField(
        label="Where",
        max_length=Damage._meta.get_field("place").max_length,
        widget=forms.TextInput(attrs={"list": "usual-places", "autocomplete": "off"}),
        help_text="For example: top, treble side of the bridge",
    )
    words = forms.CharField(
        label="What is damaged",
        max_length=Damage._meta.get_field("words").max_length,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For example: crack, 40 mm, open",
    )
    photo = PhotoChoice(
        label="Photo of it", queryset=Photo.objects.none(), required=False, empty_label="none"
    )

    def __init__(self, data: Any, photos: list[SeenPhoto], standing: QuerySet[Photo]) -> None:
        super().__init__(data, initial={"uuid": uuid4()})
        field = cast(PhotoChoice, self.fields["photo"])
        field.queryset = standing
        field.names = {
            seen.photo.pk: f"{seen.name}: {seen.photo.words}" if seen.photo.words else seen.name
            for seen in photos
        }

"""Saving all that was filled in on the photos page at once: each part by itself, nothing typed lost."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from measurements.acts import void
from measurements.check_ins.forms import VoidForm
from measurements.models import CheckIn, Damage, Photo
from measurements.photos.acts import add_photo, describe_photos, note_damage
from measurements.photos.forms import (
    AddPhotosForm,
    DamageForm,
    DescribeForm,
    damage_form,
    strike_form,
)
from measurements.photos.kept import MOST_BYTES, PhotoRefusedError, too_large
from measurements.photos.reads import seen_at
from shop.models import User

SHOWN_NAME = 60  # characters of a refused file's name
FILES, WORDS, DAMAGE = "files", "words", "damage"  # what a button of the page is there for


@dataclass
class Outcome:
    """What was saved, in words, and what was not: forms that come back as they were typed."""

    said: list[str] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    add_form: AddPhotosForm | None = None
    describe_forms: dict[UUID, DescribeForm] = field(default_factory=dict)
    damage_form: DamageForm | None = None
    void_forms: dict[UUID, VoidForm] = field(default_factory=dict)

    @property
    def marked(self) -> bool:
        """Whether a box of the page says what is wrong with it."""
        return bool(self.add_form or self.damage_form or self.void_forms) or any(
            form.errors for form in self.describe_forms.values()
        )

    @property
    def complete(self) -> bool:
        return not (self.marked or self.refused or self.troubles or self.describe_forms)


@dataclass(frozen=True)
class Sent:
    """What came from the page: boxes, files, and by whom."""

    data: Mapping[str, Any]
    files: "MultiValueDict[str, UploadedFile[bytes]]"
    by: User


def save_all(
    check_in: CheckIn, sent: Sent, *, pressed: str = WORDS, strike: Photo | Damage | None = None
) -> Outcome:
    """Save what is filled in, whichever button was pressed.

    ``pressed`` is the part that may not be empty; ``strike`` what the button pressed strikes out.
    """
    outcome = Outcome()
    if pressed == FILES or sent.files:
        _add(check_in, sent, outcome)
    _describe(check_in, sent, outcome)
    _note(check_in, sent, outcome, needed=pressed == DAMAGE)
    _strike(check_in, sent, outcome, strike)
    return outcome


def _add(check_in: CheckIn, sent: Sent, outcome: Outcome) -> None:
    """Keep what is right of several files, and say of each other one by its name why it is not kept."""
    form = AddPhotosForm(None, sent.files)
    if not form.is_valid():
        outcome.add_form = form
        return
    new, again = 0, 0
    for file in form.cleaned_data["photos"]:
        try:
            if (file.size or 0) > MOST_BYTES:  # not even read
                raise PhotoRefusedError(too_large(file.size or 0))
            is_new = add_photo(check_in=check_in, data=file.read(), by=sent.by)[1]
        except PhotoRefusedError as error:
            outcome.refused.append((shown_name(file.name or ""), f"{error}."))
        except ValidationError as error:  # voided by someone else in the meantime
            outcome.refused.append((shown_name(file.name or ""), " ".join(error.messages)))
        else:
            new, again = new + is_new, again + (not is_new)
    if new:
        outcome.said.append(
            ngettext("%(count)s photo is saved.", "%(count)s photos are saved.", new)
            % {"count": new}
        )
    if again:
        outcome.said.append(
            ngettext(
                "%(count)s was here already and is kept once.",
                "%(count)s were here already and are kept once.",
                again,
            )
            % {"count": again}
        )


def shown_name(name: str) -> str:
    """A client's file name fit to be shown: nothing that controls or turns text, not too long."""
    plain = "".join(character for character in name if character.isprintable()).strip()
    return (plain if len(plain) <= SHOWN_NAME else f"{plain[:SHOWN_NAME]}…") or _(
        "a file without a name"
    )


def _describe(check_in: CheckIn, sent: Sent, outcome: Outcome) -> None:
    """Words and ticks; where too many are ticked all of them come back."""
    forms = {
        seen.photo.uuid: form
        for seen in seen_at(check_in).photos
        if (form := DescribeForm(sent.data, seen.photo)).is_bound
    }
    wrong = {key: form for key, form in forms.items() if not form.is_valid()}
    said = {
        key: (form.cleaned_data["words"], form.cleaned_data["in_report"])
        for key, form in forms.items()
        if key not in wrong
    }
    outcome.describe_forms = wrong
    if not said:
        return
    try:
        changed = describe_photos(check_in=check_in, said=said)
    except ValidationError as error:
        outcome.describe_forms = forms
        outcome.troubles += error.messages
    else:
        if changed:
            outcome.said.append(_("The words and ticks are saved."))


def _note(check_in: CheckIn, sent: Sent, outcome: Outcome, *, needed: bool) -> None:
    form = damage_form(check_in, sent.data)
    if not (needed or form.is_begun):
        return
    if form.is_valid():
        try:
            noted = note_damage(check_in=check_in, by=sent.by, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            outcome.said.append(_("Noted: %(damage)s.") % {"damage": noted})
            return
    outcome.damage_form = form


def _strike(check_in: CheckIn, sent: Sent, outcome: Outcome, strike: Photo | Damage | None) -> None:
    """Strike one out; a reason typed for another comes back, saying which button it wants."""
    standing = seen_at(check_in)
    facts: Sequence[Photo | Damage] = [*(item.photo for item in standing.photos), *standing.damages]
    for fact in facts:
        form = strike_form(fact, sent.data)
        if strike is not None and fact.pk == strike.pk and type(fact) is type(strike):
            continue
        if form.is_valid():
            form.add_error(
                "reason",
                _("Nothing is struck out yet: press the button below, or empty this."),
            )
            outcome.void_forms[fact.uuid] = form
    if strike is None:
        return
    form = strike_form(strike, sent.data)
    if not form.is_valid():
        outcome.void_forms[strike.uuid] = form
        return
    try:
        void(strike, by=sent.by, reason=form.cleaned_data["reason"])
    except ValidationError as error:
        outcome.troubles += error.messages
    else:
        outcome.said.append(
            _("The photo is voided; it stays on record.")
            if isinstance(strike, Photo)
            else _("The entry is voided; it stays on record, struck out.")
        )

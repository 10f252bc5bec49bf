"""What a joint sheet rests on: its figures with where each is from, its sources, its cautions."""

from typing import NamedTuple

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.models import TURNED, JointKind
from instruments.string_sets import sources, threads
from measurements.advice.cautions import caution_words
from measurements.joint_sheet.figures import Figures
from measurements.joint_sheet.forms import SheetForm
from measurements.joint_sheet.set_words import fixture_words
from measurements.joint_sheet.start import OTHER_THREAD
from shop.fields import MeasureField

TYPED = gettext_noop("typed")
#: Of an adjustable joint only.
OF_ADJUSTER = ("bolt_arm_mm", "thread", "thread_pitch_mm", "tilt_min_deg", "tilt_max_deg")


class Given(NamedTuple):
    """A figure that the sheet rests on, and where it is from."""

    name: str
    value: str
    origin: str


def caution_lines(kind: str) -> list[str]:
    keys = ["maker", "slacken", "eyes"]
    if kind in (*TURNED, JointKind.BOLTED):
        keys.append("bolt")
    if kind in TURNED:
        keys.append("take_up")
    if kind in (JointKind.GLUED, JointKind.BOLTED):
        keys.append("trained")
    return caution_words([*keys, "rod", "dust", "remeasure"])


def _shown(form: SheetForm, name: str) -> str:
    field, value = form.fields[name], form.cleaned_data[name]
    if isinstance(field, MeasureField):
        return field.show(value)
    return str(dict(getattr(field, "choices", [])).get(value, value))


def given_figures(form: SheetForm) -> list[tuple[str, list[Given]]]:
    """The figures that the sheet rests on, by group, with where each is from."""
    unused = {"thread_pitch_mm"} if form.cleaned_data["thread"] != OTHER_THREAD else {"thread"}
    if form.cleaned_data["kind"] not in TURNED:
        unused |= {*OF_ADJUSTER}
    return [
        (_(title), [_given(form, name) for name in names if _is_given(form, name, unused)])
        for title, names in form.GROUPS
    ]


def _is_given(form: SheetForm, name: str, unused: set[str]) -> bool:
    return name not in unused and form.cleaned_data.get(name) not in (None, "")


def _given(form: SheetForm, name: str) -> Given:
    origin = form.start.origins.get(name, "") if form.is_as_started(name) else TYPED
    return Given(str(form.fields[name].label), _shown(form, name), _(origin) if origin else "")


def source_lines(found: Figures, form: SheetForm) -> list[str]:
    """Where the sheet's figures are from, each once."""
    known = sources()
    used = list(dict.fromkeys(string.source for string in found.strings))
    cited = [known[key] for key in used if key in known]
    cited.append(known["pitch"])
    thread = threads().get(form.cleaned_data["thread"])
    if form.cleaned_data["kind"] in TURNED and thread is not None:
        cited.append(known[thread.source])
    return [
        *map(fixture_words, cited),
        _(
            "Tension of a string: mass per length × (2 × length × frequency)², the ideal string. "
            "Makers' printed figures differ by some 10 %."
        ),
        _(
            "Load and moment: the strings' pull times their height over the pivot; tightening the bolt "
            "adds to it."
        ),
        _(
            "Heights: straight strings over frets whose relief is a parabola between fret 1 and the "
            "joint. A change of relief also turns the fret plane: an estimate."
        ),
        _("Lift in 30 years: %(source)s.") % {"source": form.start.lift.source},
        _(
            "“Usual”: common practice, no source. “Assumed”: not measured, taken from the shop's "
            "targets."
        ),
    ]

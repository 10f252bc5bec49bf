"""The shims in stock as choices: what each leads to, and which of them the advice names."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from geometry.units import LengthUnit
from instruments.models import NeckJoint
from measurements.advice.change import Change
from measurements.advice.counsel import Counsel
from measurements.work.joint_reach import tilt_for_shim
from shop.fields import exact_in_box
from shop.figures import length_words

#: Shims of the same thickness to this are one. [mm]
SAME_MM = 1e-6


@dataclass(frozen=True)
class ShimButton:
    """A shim that may be put in: what stands in the box for it, its name, and what it leads to."""

    box: str
    label: str
    leads_to: str
    barred: bool
    advised: bool


def with_shim(data: Mapping[str, Any], box: str) -> dict[str, Any]:
    """What was sent, with the shim of a button in the box."""
    return {name: data[name] for name in data} | {"shim_to_mm": box[:40]}


def shim_buttons(now: Counsel, unit: LengthUnit, advised_mm: float | None) -> list[ShimButton]:
    """The shims in stock that are not in place, and none at all where one is."""
    joint = now.instrument.joint
    stock = sorted({0.0, *joint.shims_mm})
    return [
        _button(now, joint, shim, unit, advised_mm)
        for shim in stock
        if abs(shim - joint.shim_now_mm) > SAME_MM
    ]


def _button(
    now: Counsel, joint: NeckJoint, shim_mm: float, unit: LengthUnit, advised_mm: float | None
) -> ShimButton:
    box = exact_in_box(shim_mm)
    label = length_words(shim_mm, unit) if shim_mm else _("no shim")
    advised = advised_mm is not None and abs(advised_mm - shim_mm) <= SAME_MM
    try:
        tilt = tilt_for_shim(joint, shim_mm, unit)
    except ValueError:
        return ShimButton(box, label, _("further than a neck goes"), True, advised)
    foretold = now.foretell(Change(tilt - joint.tilt_now_deg, by_joint=True))
    if foretold is None:
        return ShimButton(box, label, "", False, advised)
    bass, treble = (length_words(float(mm), unit).split()[0] for mm in foretold.action_12_after_mm)
    return ShimButton(box, label, f"{bass} / {treble}", False, advised)

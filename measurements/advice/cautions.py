"""What can hurt someone at each step, in the trade's usual words; shown where the work is."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.models import TURNED
from measurements.models import WorkKind

WORDS = {
    "slacken": gettext_noop(
        "Slacken the strings before loosening or turning anything that holds the neck."
    ),
    "slacken_off": gettext_noop(
        "Slacken the strings, all of them evenly, before you lift one out of its slot."
    ),
    "eyes": gettext_noop("Wear eye protection: strings under tension can snap."),
    "dust": gettext_noop(
        "Dust of bone, shell and hardwood harms the lungs: work wet or with extraction, wear a "
        "mask. For ivory, tortoiseshell and protected woods the local rules come first."
    ),
    "heat": gettext_noop(
        "Steam and heat burn, and lift finish: gloves, and shield what must not get hot."
    ),
    "trained": gettext_noop("Taking a neck off or resetting it is work for a trained repairer."),
    "maker": gettext_noop("The maker's own instructions and warranty come first."),
    "rod": gettext_noop(
        "Turn the rod ⅛ to ¼ turn at most, wait, and measure again; stop if it binds."
    ),
    "bolt": gettext_noop("Do not force the bolt: over-tightening splits wood."),
    "take_up": gettext_noop("Let the last movement be a tightening one, so that play is taken up."),
    "foot": gettext_noop(
        "Keep the saddle's foot flat and square; stop short of the mark and measure."
    ),
    "slowly": gettext_noop(
        "Go slowly: a few strokes, tune to pitch, measure. A slot filed too deep buzzes and has to "
        "be filled or the nut replaced."
    ),
    "closing": gettext_noop(
        "Glue and clamps only once all of this reads right: it cannot be taken back easily."
    ),
    "remeasure": gettext_noop("The figures are an estimate: measure again before the next step."),
}


@dataclass(frozen=True)
class StepCautions:
    """Cautions of one kind of work by when they count: before it, with the hand on it, and after it."""

    before: tuple[str, ...]
    during: tuple[str, ...] = ()
    after: tuple[str, ...] = ()

    def words(self) -> dict[str, list[str]]:
        return {name: caution_words(keys) for name, keys in vars(self).items()}


WORK_CAUTIONS: dict[str, StepCautions] = {
    WorkKind.JOINT: StepCautions(("slacken", "eyes", "maker"), ("bolt",), ("remeasure",)),
    WorkKind.SADDLE: StepCautions(("slacken_off", "eyes"), ("dust", "foot"), ("remeasure",)),
    WorkKind.RELIEF: StepCautions(("eyes", "maker"), ("rod",), ("remeasure",)),
    WorkKind.NUT: StepCautions(("slacken_off", "eyes"), ("slowly", "dust"), ("remeasure",)),
    WorkKind.RESET: StepCautions(
        ("trained", "maker", "slacken", "eyes"), ("heat", "dust"), ("remeasure",)
    ),
    WorkKind.OTHER: StepCautions(("slacken", "maker")),
}


def work_cautions(kind: str, joint_kind: str) -> dict[str, list[str]]:
    """Cautions of one kind of work on a joint, by when they count."""
    cautions = WORK_CAUTIONS[kind]
    if kind == WorkKind.JOINT and joint_kind in TURNED:
        cautions = replace(cautions, during=(*cautions.during, "take_up"))
    return cautions.words()


def caution_words(keys: Iterable[str]) -> list[str]:
    return [_(WORDS[key]) for key in keys]


def every_caution() -> dict[str, str]:
    """All cautions by their keys, for a sheet that places each by itself."""
    return {key: _(words) for key, words in WORDS.items()}

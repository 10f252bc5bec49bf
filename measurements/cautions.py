"""What can hurt someone at each step, in the trade's usual words; shown where the work is."""

from collections.abc import Iterable

from measurements.models import WorkKind

WORDS = {
    "slacken": "Slacken the strings before loosening or turning anything that holds the neck.",
    "eyes": "Wear eye protection: strings under tension can snap.",
    "dust": (
        "Dust of bone, shell and hardwood harms the lungs: work wet or with extraction, wear a "
        "mask. For ivory, tortoiseshell and protected woods the local rules come first."
    ),
    "heat": "Steam and heat burn, and lift finish: gloves, and shield what must not get hot.",
    "trained": "Taking a neck off or resetting it is work for a trained repairer.",
    "maker": "The maker's own instructions and warranty come first.",
    "rod": "Turn the rod ⅛ to ¼ turn at most, wait, and measure again; stop if it binds.",
    "bolt": (
        "Do not force the bolt: over-tightening splits wood. Let the last movement be a tightening "
        "one, so that play is taken up."
    ),
    "remeasure": "The figures are an estimate: measure again before the next step.",
}

WORK_CAUTIONS: dict[str, tuple[str, ...]] = {
    WorkKind.JOINT: ("slacken", "eyes", "bolt", "maker", "remeasure"),
    WorkKind.SADDLE: ("slacken", "eyes", "dust", "remeasure"),
    WorkKind.RELIEF: ("rod", "eyes", "maker", "remeasure"),
    WorkKind.NUT: ("slacken", "eyes", "dust", "remeasure"),
    WorkKind.RESET: ("slacken", "trained", "heat", "dust", "eyes", "maker", "remeasure"),
    WorkKind.OTHER: ("slacken", "maker"),
}


def caution_words(keys: Iterable[str]) -> list[str]:
    return [WORDS[key] for key in keys]

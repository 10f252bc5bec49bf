"""String sets, threads and their sources in the reader's language; their figures are in ``fixtures/``.

What the fixtures say stands here too, so that it is found for translation; a test compares.
"""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from instruments.string_sets import SetString
from shop.figures import localized

#: Every name and source in the fixtures.
WORDS = (
    gettext_noop("extra light, 10–47"),
    gettext_noop("custom light, 11–52"),
    gettext_noop("light, 12–53"),
    gettext_noop("medium, 13–56"),
    gettext_noop("nylon, normal tension"),
    gettext_noop("ISO coarse"),
    gettext_noop("UNC"),
    gettext_noop("UNF"),
    gettext_noop(
        "Unit weights in pounds per inch of plain steel and phosphor-bronze wound strings: A Complete "
        "Technical Reference for Fretted Instrument String Tensions, D'Addario & Company, as "
        "transcribed at second hand; the chart itself was not seen."
    ),
    gettext_noop(
        "As above, for heavier strings whose unit weight was seen with five decimals in kg/m only, "
        "or beside a misaligned row: good to 0.1 %."
    ),
    gettext_noop(
        "From memory: what sets of nylon strings of normal tension are usually printed to pull at "
        "650 mm. Good to 10 %: makers differ."
    ),
    gettext_noop(
        "Density of music wire, 7.8 g/cm³: data sheet of ASTM A228 at makeitfrom.com; a plain steel "
        "string weighs that times its section."
    ),
    gettext_noop("ISO 16:1975, A4 = 440 Hz, twelve equal semitones to the octave."),
    gettext_noop("ISO 261 and ISO 262, coarse series: pitch in mm."),
    gettext_noop("ASME B1.1, UNC and UNF: threads per inch; pitch = 25.4 mm over them."),
)
_KINDS = {
    "plain": gettext_noop("%(gauge)s in plain"),
    "wound": gettext_noop("%(gauge)s in wound"),
    "nylon": gettext_noop("nylon"),
}


def fixture_words(text: str) -> str:
    """A name or a source of the fixtures, in the reader's language."""
    return _(text)


def string_words(string: SetString) -> str:
    """``0.012 in plain``, ``nylon``."""
    return _gauged(string.kind, f"{string.gauge_in:.3f}" if string.gauge_in else "")


def plain_words(gauge_in: float) -> str:
    """A plain steel string of any gauge: ``0.0118 in plain``."""
    return _gauged("plain", f"{gauge_in:.4g}")


def _gauged(kind: str, gauge: str) -> str:
    return _(_KINDS[kind]) % {"gauge": localized(gauge)}

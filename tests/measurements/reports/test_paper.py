"""The report on paper for every kind of instrument: two pages, tagged, whatever the names and photos."""

import io
from collections import Counter

import pytest
from PIL import Image
from pypdf import PdfReader

from instruments.models import Instrument
from measurements.models import CheckIn, Stage
from measurements.photos.acts import add_photo, describe_photos, note_damage
from measurements.reports.content import issue
from measurements.reports.paper import PAPERS, pdf
from measurements.reports.revisions import revise
from shop.logo import set_logo
from tests.factories import CustomerFactory, ShopProfileFactory
from tests.measurements.photos.pictures import encoded
from tests.measurements.reports.test_content import make_visit, structure, text_of

pytestmark = pytest.mark.django_db
KINDS = {
    "glued": {"joint__kind": "glued"},
    "bolted": {"joint__kind": "bolted"},
    "shimmed": {"joint__kind": "shimmed"},
    "tilting": {"joint__tilting": True},
    "nylon": {"strings": "nylon", "scale_length_mm": 650.0, "joint_fret": 12},
}
LONG_SHOP = (
    "The Quayside Workshop for Steel-Strung and Nylon-Strung Instruments, Old and New, " * 2
)[:120]
NAMES = {
    "long": "Maximiliana Featherstonehaugh-Wolverhampton of the Upper and the Lower Valley",
    "hebrew": "שרה כהן־לוי",
    "arabic": "محمد بن عبد الله العربي",
    "accents": "Anaïs Ó Dálaigh, Žofie Ñandú Ğüneş",
}


def photographed(instrument: Instrument, by, photos: int) -> None:
    came: CheckIn = instrument.check_ins.filter(stage=Stage.RECEIVED).last()
    for n in range(photos):
        size = (1600, 1200) if n % 2 else (1200, 1600)  # lying and standing
        data = encoded(Image.new("RGB", size, (n * 40 % 256, 90, 60)))
        photo, _ = add_photo(check_in=came, data=data, by=by)
        words = "crack beside the bridge, treble side, before it was glued"
        describe_photos(check_in=came, said={photo.uuid: (words, True)})
    for place in ("top", "heel"):
        note_damage(check_in=came, place=place, words="crack, 40 mm, open; finish worn", by=by)


@pytest.mark.parametrize("photos", [0, 6])
@pytest.mark.parametrize("kind", KINDS)
def test_two_pages_for_every_kind_with_long_names(owner, kind, photos):
    ShopProfileFactory(name=LONG_SHOP, address="4 Quayside\nHarbour Town", email="a@b.example")
    set_logo(encoded(Image.new("RGB", (600, 200), "navy"), "PNG"))
    customer = CustomerFactory(
        name=NAMES["long"], address="12 Upper Street\nHarbour Town\nThe Isles"
    )
    instrument = make_visit(customer=customer, **KINDS[kind])
    photographed(instrument, owner, photos)
    report = revise(
        issue(instrument, owner), owner, why="The saddle's height was typed wrongly. " * 5
    )
    for paper in PAPERS:
        reader, text = text_of(pdf(report, paper))
        assert len(reader.pages) == 2, paper
        root = reader.trailer["/Root"]
        assert (root["/Lang"], bool(root["/MarkInfo"]["/Marked"])) == ("en-GB", True)
        assert LONG_SHOP.strip() in reader.metadata.title
        for number, page in enumerate(reader.pages, start=1):
            foot = " ".join(page.extract_text().split()[-9:])
            assert foot == f"Service report {report.number}, revision 2 Page {number} of 2"
        tags = structure(root["/StructTreeRoot"], [])
        figures = [alt for tag, alt in tags if tag == "/Figure"]
        assert len(figures) == 3 + photos  # logo, side view, trend
        assert all(figures), "every picture has its words"
        assert [tag for tag, _ in tags].count("/H1") == 1
        for words in ("At a glance", "Next step", "Looking after it", "Please note", "Words used"):
            assert words in text


@pytest.mark.parametrize("name", NAMES.values(), ids=NAMES)
def test_names_of_any_script_are_drawn_and_read_back(owner, name):
    ShopProfileFactory(name=name)
    reader, text = text_of(pdf(issue(make_visit(customer=CustomerFactory(name=name)), owner)))
    assert name in reader.metadata.title
    # Letters stand in the order in which they are read, or in that in which they are drawn; marks and
    # joined forms aside, the same letters are there.
    wanted = {letter for letter in name if letter.isalpha()}
    assert wanted - set(text) <= {"ل", "ا", "ي", "ة", "ى"}
    assert "\ufffd" not in text


def test_more_than_fits_is_still_all_there(owner):
    """As many photos and damage as can be: it may run on, but loses nothing."""
    instrument = make_visit()
    photographed(instrument, owner, 6)
    came = instrument.check_ins.filter(stage=Stage.RECEIVED).last()
    for n in range(36):
        note_damage(check_in=came, place=f"place {n}", words="a dent, " * 40, by=owner)
    reader, text = text_of(pdf(issue(instrument, owner)))
    assert len(reader.pages) > 2
    assert "Place 35: a dent" in text
    assert "Words used" in text


def body_size(data: bytes) -> float:
    """The size in which most letters are set, in points (a PDF by WeasyPrint counts in 0.75 pt)."""
    letters: Counter[float] = Counter()
    for page in PdfReader(io.BytesIO(data)).pages:
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size: letters.update(
                {round(size * 0.75, 1): len(text)}
            )
        )
    return letters.most_common(1)[0][0]


@pytest.mark.parametrize(
    ("damages", "pages", "sizes"), [(0, 2, {9.0}), (14, 2, {8.0, 8.5}), (40, 4, {9.0})]
)
def test_denser_where_that_keeps_it_to_two_pages(owner, damages, pages, sizes):
    instrument = make_visit()
    came = instrument.check_ins.filter(stage=Stage.RECEIVED).last()
    for n in range(damages):
        note_damage(check_in=came, place=f"place {n}", words="a dent, " * 28, by=owner)
    data = pdf(issue(instrument, owner))
    assert len(PdfReader(io.BytesIO(data)).pages) == pages
    assert body_size(data) in sizes  # as the style sheets say

"""Label sheets: every label on its paper, none over another, its code the address of its tag."""

import io
import re
from datetime import timedelta
from itertools import combinations
from urllib.parse import unquote

import pytest
import segno
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from instruments.labels import A4, LEAST_MODULE_MM, LETTER, SHEETS, places, tag_size_mm
from instruments.labels_pdf import CodeTooFineError, label_pages, labels_pdf
from instruments.models import Instrument
from tests.factories import CustomerFactory, InstrumentFactory

MM = 72 / 25.4  # points a millimetre
ORDER = {"which": "ticked", "sheet": "a4-21", "start": "1", "copies": "1"}


def overlap(one, other) -> bool:
    return (
        one.left_mm < other.left_mm + other.width_mm - 1e-9
        and other.left_mm < one.left_mm + one.width_mm - 1e-9
        and one.top_mm < other.top_mm + other.height_mm - 1e-9
        and other.top_mm < one.top_mm + one.height_mm - 1e-9
    )


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.key)
class TestSheets:
    def test_every_label_lies_on_the_paper_and_none_over_another(self, sheet):
        boxes = [sheet.box(place) for place in range(sheet.count)]
        width, height = sheet.paper_mm
        assert sheet.paper_mm in (A4, LETTER)
        for box in boxes:
            assert box.left_mm >= 0
            assert box.top_mm >= 0
            assert box.left_mm + box.width_mm <= width + 1e-9
            assert box.top_mm + box.height_mm <= height + 1e-9
        assert not any(overlap(one, other) for one, other in combinations(boxes, 2))

    def test_what_is_printed_keeps_inside_its_label(self, sheet):
        width, height = sheet.room_mm
        for place in range(sheet.count):
            box, inner = sheet.box(place), sheet.printable(place)
            assert inner.left_mm >= box.left_mm + 1.4
            assert inner.top_mm >= box.top_mm + 1.4
            assert inner.left_mm + width <= box.left_mm + box.width_mm - 1.4
            assert inner.top_mm + height <= box.top_mm + box.height_mm - 1.4

    def test_a_usual_address_makes_squares_a_phone_can_read(self, sheet):
        code = segno.make("https://a-workshop.example.org/t/K7M4Q-J/", error="m", micro=False)
        assert sheet.module_mm(code.symbol_size(border=0)[0]) >= LEAST_MODULE_MM


# The outside dimensions of label sheets in general use, common practice, no source: margins from the
# paper less the labels and their gaps, in mm.
@pytest.mark.parametrize(
    ("key", "left_mm", "top_mm"),
    [("a4-24", 0, 0.5), ("a4-21", 7.2, 15.1), ("a4-40", 8, 21.5), ("a4-65", 4.7, 10.7),
     ("letter-30", 4.8, 12.7), ("letter-10", 4.0, 12.7)],
)  # fmt: skip
def test_the_first_label_begins_where_the_sheets_margins_say(key, left_mm, top_mm):
    box = next(sheet for sheet in SHEETS if sheet.key == key).box(0)
    assert box.left_mm == pytest.approx(left_mm, abs=0.1)
    assert box.top_mm == pytest.approx(top_mm, abs=0.1)


def test_it_begins_at_the_label_asked_for_and_goes_on_overleaf():
    sheet = SHEETS[0]
    assert list(places(sheet, 3, start=23)) == [(0, 22), (0, 23), (1, 0)]


@pytest.mark.parametrize("tag", ["K7M4Q-J", "WWWWW-W", "A", "x" * 32])
def test_letters_of_a_tag_stay_readable(tag):
    assert 2.2 <= tag_size_mm(tag, 16) <= 9


def _address(instrument: Instrument) -> str:
    return f"https://bench.example/t/{instrument.tag}/"


def _pages(sheet, instruments, **options):
    return label_pages(instruments, sheet, _address, **options)


def squares(svg: str) -> set[tuple[int, int]]:
    """The dark squares of a code as drawn, (row, column), without its quiet zone of four."""
    path = re.search(r"class='qrline'[^>]* d='([^']+)'", svg)
    assert path is not None
    dark, x, y = set(), 0.0, 0.0
    for kind, dx, dy, run in re.findall(r"([Mm])(-?[\d.]+) (-?[\d.]+)h(\d+)", path.group(1)):
        x, y = (float(dx), float(dy)) if kind == "M" else (x + float(dx), y + float(dy))
        dark |= {(int(y - 0.5) - 4, int(x) + k - 4) for k in range(int(run))}
        x += int(run)
    return dark


@pytest.mark.django_db
class TestPdf:
    @pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.key)
    def test_each_tag_is_printed_in_its_own_label(self, sheet):
        instruments = [InstrumentFactory(serial=f"99-{n}") for n in range(sheet.count + 1)]
        data = labels_pdf(_pages(sheet, instruments), sheet)
        pages = PdfReader(io.BytesIO(data)).pages
        assert len(pages) == 2
        box = pages[0].mediabox
        assert float(box.width) == pytest.approx(sheet.paper_mm[0] * MM, abs=0.02)
        assert float(box.height) == pytest.approx(sheet.paper_mm[1] * MM, abs=0.02)
        at = {}

        def visit(text, current, matrix, font, size):
            x, y = matrix[4], matrix[5]
            x, y = x * current[0] + current[4], y * current[3] + current[5]
            if text.strip():
                at[text.strip()] = (x / MM, sheet.paper_mm[1] - y / MM)

        pages[0].extract_text(visitor_text=visit)
        for place, instrument in enumerate(instruments[:-1]):
            x, y = at[instrument.tag]
            inner = sheet.printable(place)
            assert inner.left_mm + sheet.code_mm <= x <= inner.left_mm + sheet.room_mm[0]
            assert inner.top_mm <= y <= inner.top_mm + sheet.room_mm[1]

    def test_the_code_is_that_of_the_address(self):
        instrument = InstrumentFactory(tag="K7M4Q-J")
        label = _pages(SHEETS[0], [instrument])[0][0]
        svg = unquote(label.code.partition(",")[2])
        wanted = segno.make("https://bench.example/t/K7M4Q-J/", error="m", micro=False)
        assert wanted.error in ("M", "Q", "H")
        dark = {
            (row, column)
            for row, line in enumerate(wanted.matrix)
            for column, square in enumerate(line)
            if square
        }
        assert squares(svg) == dark

    def test_an_address_too_long_for_the_label_is_refused_by_name(self):
        instrument = InstrumentFactory()
        smallest = min(SHEETS, key=lambda sheet: sheet.code_mm)
        with pytest.raises(CodeTooFineError, match=r"would be 0\.\d\d mm.*Choose larger labels"):
            label_pages([instrument], smallest, lambda one: "https://" + "long." * 40 + one.tag)

    def test_hostile_words_stay_words(self):
        odd = InstrumentFactory(
            maker='<img src="file:///etc/passwd">', model="x" * 120, tag="a" * 32
        )
        data = labels_pdf(_pages(SHEETS[4], [odd]), SHEETS[4])
        assert "<img" in PdfReader(io.BytesIO(data)).pages[0].extract_text().replace("\n", "")


@pytest.mark.django_db
class TestPage:
    def text_of(self, response) -> str:
        assert response.status_code == 200, response.content.decode()
        assert response["Content-Type"] == "application/pdf"
        return "".join(
            page.extract_text() for page in PdfReader(io.BytesIO(response.content)).pages
        )

    def test_the_ticked_ones_are_printed_and_nothing_of_the_customers(self, at_bench):
        ann = CustomerFactory(name="Ann Other", phone="01632 960 001")
        InstrumentFactory(tag="K7M4Q-J", customer=ann, notes="belongs to Ann")
        InstrumentFactory(tag="B-17")
        text = self.text_of(at_bench.post(reverse("labels"), ORDER | {"tag": ["K7M4Q-J"]}))
        assert "K7M4Q-J" in text
        assert "B-17" not in text
        assert "Ann" not in text
        assert "01632" not in text

    @pytest.mark.parametrize("language", ["de", "en-gb"])
    def test_the_sheet_is_in_the_language_of_the_screen(self, at_bench, language):
        instrument = InstrumentFactory()
        asked = {"accept-language": language}
        made = at_bench.post(reverse("labels"), ORDER | {"tag": [instrument.tag]}, headers=asked)
        root = PdfReader(io.BytesIO(made.content)).trailer["/Root"]
        assert root["/Lang"] == language

    def test_sheets_are_named_by_their_size_as_the_language_writes_it(self, at_bench):
        german = at_bench.get(reverse("labels"), headers={"accept-language": "de"})
        assert "A4: 63,5 × 38,1 mm, 21" in german.content.decode()
        assert "A4: 63.5 × 38.1 mm, 21" in at_bench.get(reverse("labels")).content.decode()

    def test_all_found_or_those_just_added(self, at_bench):
        InstrumentFactory(tag="NEW-1")
        old = InstrumentFactory(tag="OLD-1")
        Instrument.objects.filter(pk=old.pk).update(created_at=timezone.now() - timedelta(days=20))
        order = ORDER | {"which": "found"}
        text = self.text_of(at_bench.post(reverse("labels"), order))
        assert "NEW-1" in text
        assert "OLD-1" in text
        assert "OLD-1" not in self.text_of(at_bench.post(reverse("labels") + "?added=7", order))
        assert "NEW-1" not in self.text_of(at_bench.post(reverse("labels") + "?q=OLD-1", order))

    def test_from_its_own_page_the_instrument_is_ticked(self, at_bench):
        InstrumentFactory(tag="K7M4Q-J")
        page = at_bench.get(reverse("instrument", kwargs={"tag": "K7M4Q-J"})).content.decode()
        assert 'href="/labels/?q=K7M4Q-J"' in page
        page = at_bench.get(reverse("labels"), {"q": "K7M4Q-J"}).content.decode()
        assert 'value="K7M4Q-J" checked' in page

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"tag": []}, "Tick at least one instrument"),
            ({"tag": ["NO-SUCH"]}, "Tick at least one instrument"),
            ({"start": "22"}, "First label 22: this sheet has 21 labels"),
            ({"start": "0"}, "First label to print on 0: expected 1 or more."),
            ({"copies": "21"}, "How many of each 21: expected 20 or less."),
            ({"copies": ""}, "how many of each to print, from 1 to 20"),
            ({"sheet": "b5-1"}, "Select a valid choice"),
            ({"which": "some"}, "Select a valid choice"),
        ],
    )
    def test_it_says_what_is_wrong_and_keeps_the_ticks(self, at_bench, changes, words):
        InstrumentFactory(tag="B-17")
        response = at_bench.post(reverse("labels"), ORDER | {"tag": ["B-17"]} | changes)
        page = response.content.decode()
        assert response.status_code == 422
        assert words in page
        assert ('value="B-17" checked' in page) == ("tag" not in changes)

    def test_more_than_a_printer_takes_at_once_is_refused(self, at_bench):
        InstrumentFactory.create_batch(33, customer=None)
        order = ORDER | {"which": "found", "copies": "20"}
        page = at_bench.post(reverse("labels"), order).content.decode()
        assert "33 instruments, 20 of each, are 660 labels: print at most 650 at once" in page

    def test_the_page_reads_the_same_number_of_queries_for_any_number(
        self, at_bench, django_assert_max_num_queries
    ):
        InstrumentFactory.create_batch(30, customer=None)
        with django_assert_max_num_queries(8):
            at_bench.get(reverse("labels"))

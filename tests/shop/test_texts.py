"""What is kept of a text, and what is taken out."""

import pytest

from shop.models import Customer
from shop.texts import plain_line, plain_prose
from tests.factories import CustomerFactory


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("Ann\r\nBcc: x@example.org", "Ann Bcc: x@example.org"),
        ("Ann\u202egnp.exe\u202c", "Anngnp.exe"),
        ("\u2066Ann\u2069", "Ann"),
        ("A\0\x07\x1b[31m\x7f\x9fB", "A[31mB"),
        ("A\u2028B\u2029C\x85D\x0bE", "A B C D E"),
        ("A\ud800B\uffff", "AB"),
        ("\ufeffAnn\u200b ", "Ann"),
        ("\u202e\u200b", ""),
        # Kept: Persian needs its non-joiner, a family its joiners, Hebrew and Arabic their marks.
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("👩\u200d🔧 \u200fשלום\u200e", "👩\u200d🔧 \u200fשלום\u200e"),
        ("Žofie O’Hara – ½″", "Žofie O’Hara – ½″"),
    ],
)
def test_a_line_holds_what_can_be_seen(typed, kept):
    assert plain_line(typed) == kept
    assert plain_line(kept) == kept


def test_prose_keeps_its_lines():
    assert plain_prose("one\r\n\ttwo\u2028three\x0c\u202efour") == "one\r\n\ttwo\nthree\nfour"


@pytest.mark.django_db
def test_every_way_into_the_database_is_the_same():
    made = CustomerFactory(name="Ann\r\nOther\u202e", notes="a\0b\r\nc")
    Customer.objects.bulk_create([Customer(name="Bea\x07 Tate")])
    Customer.objects.filter(pk=made.pk).update(phone="1\u20662")
    made.refresh_from_db()
    assert (made.name, made.phone, made.notes) == ("Ann Other", "12", "ab\r\nc")
    assert Customer.objects.get(name="Bea\0 Tate\u202e").name == "Bea Tate"
    assert made.history.first().name == "Ann Other"

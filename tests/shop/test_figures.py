"""Figures as people of each language write them, and read back."""

import pytest
from django.core.exceptions import ValidationError

from shop.fields import LengthField, RepeatedLengthField
from shop.figures import length_words
from shop.languages import written_in


@pytest.mark.parametrize("mm", [2.4, 31.75, 645.16, -1.2])
@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("language", ["en-gb", "de"])
def test_what_a_page_shows_is_read_back(mm, unit, language):
    field = LengthField(possible=(-1000, 1000))
    field.unit = unit
    with written_in(language):
        assert field.clean(length_words(mm, unit)) == pytest.approx(mm, abs=0.0127)


def test_a_comma_before_three_digits_is_decimal_only_where_the_language_says_so():
    field = LengthField(label="Scale length", possible=(0, 2000))
    with pytest.raises(ValidationError, match="thousands or decimals"):
        field.clean("25,400 in")
    with written_in("de"):
        assert field.clean("25,400 in") == pytest.approx(645.16)
        with pytest.raises(ValidationError):
            field.clean("1.645,160 mm")


def test_repeats_with_decimal_commas_stay_apart():
    field = RepeatedLengthField(possible=(0, 10))
    with written_in("de"):
        assert field.clean("2,400, 2,500 mm") == pytest.approx(2.45)

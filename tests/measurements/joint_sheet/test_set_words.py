"""What the fixtures say of strings and threads is marked for translation, word for word."""

from instruments.string_sets import sources, string_sets, threads
from measurements.joint_sheet.set_words import WORDS, plain_words, string_words
from shop.languages import written_in


def test_every_name_and_source_of_the_fixtures_is_marked():
    said = {one.name for one in string_sets().values()}
    said |= {one.series for one in threads().values()}
    assert set(WORDS) == said | set(sources().values())


def test_a_string_is_named_by_gauge_and_kind():
    light = string_sets()["light-12-53"].strings
    assert string_words(light[0]) == "0.012 in plain"
    assert string_words(light[5]) == "0.053 in wound"
    assert string_words(string_sets()["nylon-normal"].strings[0]) == "nylon"
    assert plain_words(0.3 / 25.4) == "0.01181 in plain"
    with written_in("de"):
        assert string_words(light[0]).startswith("0,012")

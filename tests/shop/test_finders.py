"""The chart script comes from the installed package, and nothing else of it is published."""

from django.contrib.staticfiles import finders

from shop.finders import PlotlyFinder, injected_style_ids


def test_the_script_is_found():
    assert finders.find("plotly/plotly.min.js")


def test_nothing_else_of_the_package_is_published():
    assert [name for name, _ in PlotlyFinder().list(None)] == ["plotly.min.js"]
    assert finders.find("plotly/widgetbundle.js") is None


def test_the_one_style_element_that_must_be_kept_out_is_known():
    assert len(injected_style_ids()) == 1

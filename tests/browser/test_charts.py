"""The charts' script in a real browser writes days and figures as the reader's language does."""

import re
from datetime import UTC, datetime

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from measurements.forecast.refreshing import refresh
from tests.factories import CheckInFactory, InstrumentFactory


@pytest.fixture
def instrument(transactional_db):
    made = InstrumentFactory(built_year=1998)
    for place, year in enumerate((2012, 2016, 2020, 2024)):
        CheckInFactory(
            instrument=made,
            measured_at=datetime(year, 5, 4, 12, tzinfo=UTC),
            bridge_rise_mm=0.3 + 0.15 * place,
        )
    refresh()
    return made


@pytest.mark.parametrize(
    ("language", "figure", "day"),
    [
        ("en", r"−?\d+\.\d\d", r"\d{1,2} [A-Z][a-z]{2} \d{4}"),
        ("de", r"−?\d+,\d\d", r"\d{1,2}\. [A-Z]\w{2} \d{4}"),
    ],
)
def test_axes_and_hover(
    page, live_server, owner, instrument, sign_in, watched, language, figure, day
):
    sign_in(owner)
    page.set_extra_http_headers({"Accept-Language": language})
    page.goto(live_server.url + reverse("instrument", args=[instrument.tag]))
    chart = page.locator("[data-chart]").first
    ticks = chart.locator(".ytick text")
    expect(ticks.first).to_be_visible()
    assert all(re.fullmatch(figure, text) for text in ticks.all_text_contents())
    chart.locator(".points path").nth(1).hover(force=True)
    label = chart.locator(".hoverlayer .legend")
    expect(label.locator(".legendtitletext")).to_have_text(re.compile(rf"^{day}$"))
    expect(label.locator(".legendtext").first).to_have_text(re.compile(rf" : .*{figure}\)?$"))

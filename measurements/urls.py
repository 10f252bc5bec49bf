from django.urls import path

from measurements import (
    board_views,
    changes_view,
    check_in_views,
    instrument_view,
    preview_view,
    record_views,
)
from measurements.import_urls import urlpatterns as import_patterns
from measurements.photo_urls import urlpatterns as photo_patterns
from measurements.plan_urls import urlpatterns as plan_patterns
from measurements.privacy_urls import urlpatterns as privacy_patterns
from measurements.report_urls import urlpatterns as report_patterns
from measurements.sheet_urls import urlpatterns as sheet_patterns
from measurements.work_urls import urlpatterns as work_patterns

urlpatterns = [
    path("", board_views.home, name="home"),
    path("due/", board_views.due, name="due"),
    path("record/", record_views.shop_record, name="record"),
    path("today/", board_views.today, name="today"),
    path("settings/", board_views.settings, name="settings"),
    path("add-instrument/", instrument_view.add_instrument, name="instrument-add"),
    path("instruments/<tag:tag>/edit/", instrument_view.edit_instrument, name="instrument-edit"),
    path("instruments/<tag:tag>/", instrument_view.instrument, name="instrument"),
    path("instruments/<tag:tag>/changes/", changes_view.changes, name="instrument-changes"),
    path("instruments/<tag:tag>/check-in/", check_in_views.add_check_in, name="check-in-add"),
    path("instruments/<tag:tag>/check-in/preview/", preview_view.preview, name="check-in-preview"),
    path("check-ins/<uuid:uuid>/", check_in_views.check_in, name="check-in"),
    path(
        "check-ins/<uuid:uuid>/correct/", check_in_views.correct_check_in, name="check-in-correct"
    ),
    path("check-ins/<uuid:uuid>/void/", check_in_views.void_check_in, name="check-in-void"),
    *import_patterns,
    *photo_patterns,
    *plan_patterns,
    *privacy_patterns,
    *report_patterns,
    *sheet_patterns,
    *work_patterns,
]

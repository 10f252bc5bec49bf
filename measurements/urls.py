from django.urls import path

from measurements.check_ins import preview_view
from measurements.check_ins import views as check_in_views
from measurements.forecast import record_views
from measurements.instrument import changes_view
from measurements.instrument import views as instrument_view
from measurements.joint_sheet.urls import urlpatterns as sheet_patterns
from measurements.old_records.urls import urlpatterns as import_patterns
from measurements.photos.urls import urlpatterns as photo_patterns
from measurements.plan import board_views
from measurements.plan.urls import urlpatterns as plan_patterns
from measurements.privacy.urls import urlpatterns as privacy_patterns
from measurements.reports.urls import urlpatterns as report_patterns
from measurements.work.urls import urlpatterns as work_patterns

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

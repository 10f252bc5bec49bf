"""Addresses of work at the bench, added to those of ``measurements.urls``."""

from django.urls import path

from measurements import reset_views, work_views

urlpatterns = [
    path("instruments/<tag:tag>/work/<slug:kind>/", work_views.add_work, name="work-add"),
    path(
        "instruments/<tag:tag>/work/<slug:kind>/measure/",
        work_views.measure_step,
        name="work-measure",
    ),
    path("instruments/<tag:tag>/reset-sheet/", reset_views.sheet, name="reset-sheet"),
    path("works/<uuid:uuid>/", work_views.work, name="work"),
    path("works/<uuid:uuid>/void/", work_views.void_work, name="work-void"),
]

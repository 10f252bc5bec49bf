"""Addresses of work at the bench, added to those of ``measurements.urls``."""

from django.urls import path

from measurements.work import reset_views, views

urlpatterns = [
    path("instruments/<tag:tag>/work/<slug:kind>/", views.add_work, name="work-add"),
    path(
        "instruments/<tag:tag>/work/<slug:kind>/measure/",
        views.measure_step,
        name="work-measure",
    ),
    path("instruments/<tag:tag>/reset-sheet/", reset_views.sheet, name="reset-sheet"),
    path("works/<uuid:uuid>/", views.work, name="work"),
    path("works/<uuid:uuid>/void/", views.void_work, name="work-void"),
]

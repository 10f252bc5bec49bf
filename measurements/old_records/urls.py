from django.urls import path

from measurements.old_records import views

urlpatterns = [
    path("old-records/", views.imports, name="imports"),
    path("old-records/files/<uuid:token>/columns/", views.match, name="import-match"),
    path("old-records/files/<uuid:token>/", views.preview, name="import-preview"),
    path("old-records/<uuid:uuid>/", views.run, name="import-run"),
    path("old-records/<uuid:uuid>/undo/", views.undo, name="import-undo"),
    path("old-records/export/<slug:kind>/", views.export, name="export-everything"),
]

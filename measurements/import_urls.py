from django.urls import path

from measurements import import_views

urlpatterns = [
    path("old-records/", import_views.imports, name="imports"),
    path("old-records/files/<uuid:token>/columns/", import_views.match, name="import-match"),
    path("old-records/files/<uuid:token>/", import_views.preview, name="import-preview"),
    path("old-records/<uuid:uuid>/", import_views.run, name="import-run"),
    path("old-records/<uuid:uuid>/undo/", import_views.undo, name="import-undo"),
    path("old-records/export/<slug:kind>/", import_views.export, name="export-everything"),
]

from django.urls import path

from instruments import labels_views, views

urlpatterns = [
    path("instruments/", views.instruments, name="instruments"),
    path("labels/", labels_views.labels, name="labels"),
    path("t/<tag:tag>/", views.tag_scanned, name="tag-scanned"),
]

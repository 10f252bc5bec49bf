from django.urls import path

from instruments import views

urlpatterns = [
    path("instruments/", views.instruments, name="instruments"),
    path("t/<tag:tag>/", views.tag_scanned, name="tag-scanned"),
]

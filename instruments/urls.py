from django.urls import path

from instruments import views

urlpatterns = [
    path("instruments/", views.instruments, name="instruments"),
    path("add-instrument/", views.add_instrument, name="instrument-add"),
    path("instruments/<str:tag>/edit/", views.edit_instrument, name="instrument-edit"),
]

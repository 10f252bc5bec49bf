from django.urls import path

from instruments import views

urlpatterns = [
    path("", views.instruments, name="instruments"),
    path("add/", views.add_instrument, name="instrument-add"),
    path("<str:tag>/edit/", views.edit_instrument, name="instrument-edit"),
]

"""Every address of the app, by noun and act."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path, register_converter

from instruments.converters import TagConverter
from shop import views

register_converter(TagConverter, "tag")

urlpatterns = [
    path("sign-in/", LoginView.as_view(template_name="shop/sign_in.html"), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("customers/", views.customers, name="customers"),
    path("customers/add/", views.add_customer, name="customer-add"),
    path("customers/<slug:code>/", views.customer, name="customer"),
    path("customers/<slug:code>/edit/", views.edit_customer, name="customer-edit"),
    path("preferences/", views.preferences, name="preferences"),
    path("", include("measurements.urls")),
    path("", include("instruments.urls")),
]

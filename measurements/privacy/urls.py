"""Addresses of what the owner does about customers' personal data."""

from django.urls import path

from measurements.privacy import views

urlpatterns = [
    path("privacy/", views.privacy, name="privacy"),
    path("customers/<slug:code>/privacy/", views.customer_privacy, name="customer-privacy"),
    path("customers/<slug:code>/record/", views.customer_record, name="customer-record"),
    path("customers/<slug:code>/erase/", views.customer_erase, name="customer-erase"),
]

"""Addresses of what the owner does about customers' personal data."""

from django.urls import path

from measurements import privacy_views

urlpatterns = [
    path("privacy/", privacy_views.privacy, name="privacy"),
    path("customers/<slug:code>/privacy/", privacy_views.customer_privacy, name="customer-privacy"),
    path("customers/<slug:code>/record/", privacy_views.customer_record, name="customer-record"),
    path("customers/<slug:code>/erase/", privacy_views.customer_erase, name="customer-erase"),
]

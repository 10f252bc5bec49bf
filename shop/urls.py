"""Every address of the app, by noun and act."""

from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.urls import include, path, register_converter, reverse_lazy

from instruments.converters import TagConverter
from shop import health, logo_views, offline, price_views, staff_views, views
from shop.roles import anyone_on_staff

register_converter(TagConverter, "tag")

urlpatterns = [
    path("sign-in/", LoginView.as_view(template_name="shop/sign_in.html"), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("customers/", views.customers, name="customers"),
    path("customers/add/", views.add_customer, name="customer-add"),
    path("customers/<slug:code>/", views.customer, name="customer"),
    path("customers/<slug:code>/edit/", views.edit_customer, name="customer-edit"),
    path("preferences/", views.preferences, name="preferences"),
    path(
        "password/",
        anyone_on_staff(
            PasswordChangeView.as_view(
                template_name="shop/form.html",
                extra_context={"title": "Your password"},
                success_url=reverse_lazy("preferences"),
            )
        ),
        name="password",
    ),
    path("shop/", views.the_shop, name="the-shop"),
    path("staff/", staff_views.staff, name="staff"),
    path("staff/add/", staff_views.add_person, name="staff-add"),
    path("staff/<int:number>/", staff_views.edit_person, name="staff-edit"),
    path("staff/<int:number>/password/", staff_views.renew_password, name="staff-password"),
    path("prices/", price_views.prices, name="prices"),
    path("settings/logo/", logo_views.shop_logo_form, name="logo"),
    path("logo/<slug:digest>/", logo_views.shop_logo, name="shop-logo"),
    path("waiting/", offline.waiting, name="waiting"),
    path("waiting/pass/", offline.outbox_pass, name="outbox-pass"),
    path("offline/", offline.offline, name="offline"),
    path("worker.js", offline.worker, name="worker"),
    path("shop.webmanifest", offline.manifest, name="manifest"),
    path("health/", health.health, name="health"),
    path("ready/", health.ready, name="ready"),
    path("", include("measurements.urls")),
    path("", include("instruments.urls")),
]

"""Every address of the app, by noun and act."""

from django.urls import include, path, register_converter

from instruments.converters import TagConverter
from shop import (
    health,
    logo_views,
    offline,
    price_views,
    staff_views,
    views,
)
from shop.roles import anyone_with_a_first_password
from shop.sign_in import code_views
from shop.sign_in import views as sign_in_views

register_converter(TagConverter, "tag")

handler400 = "shop.trouble.not_understood"
handler500 = "shop.trouble.answer"

urlpatterns = [
    path("sign-in/", sign_in_views.SignIn.as_view(), name="sign-in"),
    path("sign-in/code/", sign_in_views.sign_in_code, name="sign-in-code"),
    path("sign-out/", sign_in_views.SignOut.as_view(), name="sign-out"),
    path("sign-out/everywhere/", sign_in_views.sign_out_everywhere, name="sign-out-everywhere"),
    path("customers/", views.customers, name="customers"),
    path("customers/add/", views.add_customer, name="customer-add"),
    path("customers/<slug:code>/", views.customer, name="customer"),
    path("customers/<slug:code>/edit/", views.edit_customer, name="customer-edit"),
    path("preferences/", views.preferences, name="preferences"),
    path(
        "password/",
        anyone_with_a_first_password(sign_in_views.ChangePassword.as_view()),
        name="password",
    ),
    path("second-factor/", code_views.second_factor, name="second-factor"),
    path("second-factor/set-up/", code_views.set_up, name="second-factor-set-up"),
    path("second-factor/codes/", code_views.new_codes, name="second-factor-codes"),
    path("second-factor/off/", code_views.switch_off, name="second-factor-off"),
    path("shop/", views.the_shop, name="the-shop"),
    path("staff/", staff_views.staff, name="staff"),
    path("staff/add/", staff_views.add_person, name="staff-add"),
    path("staff/<int:number>/", staff_views.edit_person, name="staff-edit"),
    path("staff/<int:number>/password/", staff_views.renew_password, name="staff-password"),
    path("staff/<int:number>/factor/", staff_views.reset_factor, name="staff-factor"),
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

"""Signing in, by password and code; signing out, here or everywhere; changing one's password."""

import logging
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shop.people import person
from shop.roles import anyone_with_a_first_password
from shop.sign_in import codes
from shop.sign_in.forms import ChangePasswordForm, CodeForm, SignInForm
from shop.sign_in.throttle import (
    begin,
    count_failure,
    end_everywhere,
    may_try,
    wait_for_code,
    who_waits,
)
from shop.views import form_view

log = logging.getLogger("shop.sign_in")


class SignIn(LoginView):
    """The password; whoever has a second factor is asked for a code before being signed in."""

    template_name = "shop/sign_in/sign_in.html"
    authentication_form = SignInForm

    def form_valid(self, form: Any) -> HttpResponse:
        user, then = form.get_user(), self.get_success_url()
        if codes.factor_of(user):
            wait_for_code(self.request, user, then)
            return redirect("sign-in-code")
        begin(self.request, user, None)
        return HttpResponseRedirect(then)

    def form_invalid(self, form: Any) -> HttpResponse:
        log.warning("a sign-in was refused")
        return super().form_invalid(form)


@form_view
@login_not_required
def sign_in_code(request: HttpRequest) -> HttpResponse:
    """The code that a second factor shows, or a backup code; opens only after the right password."""
    waiting = who_waits(request)
    if waiting is None:
        return redirect("sign-in")
    if not may_try(request, waiting.user):
        return locked_out(request)
    form = CodeForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        problem = code_problem(request, waiting.user, form.cleaned_data["code"])
        if not problem:
            factor = codes.factor_of(waiting.user)
            begin(request, waiting.user, factor.pk if factor else None)
            return HttpResponseRedirect(waiting.then)
        form.add_error("code", problem)
    status = 422 if form.is_bound else 200
    return render(request, "shop/sign_in/code.html", {"form": form}, status=status)


def code_problem(request: HttpRequest, user: Any, typed: str) -> str:
    """What is wrong with a code, in words; empty where it is right, and then it is used up."""
    wait = codes.seconds_to_wait(user, typed)
    if wait:
        return _(
            "After wrong codes no code is looked at for a while. Wait %(time)s, then type the code "
            "that is shown by then."
        ) % {"time": seconds_words(wait)}
    if codes.check(user, typed):
        return ""
    count_failure(request, user, "code")
    return _(
        "This is not the code of just now, or it was used already. Wait for the next one; if every "
        "code is refused, set the clock of the device that shows them."
    )


def seconds_words(seconds: int) -> str:
    if seconds < 120:
        return _("%(count)s seconds") % {"count": seconds}
    return _("%(count)s minutes") % {"count": -(-seconds // 60)}


def locked_out(
    request: HttpRequest,
    response: HttpResponse | None = None,
    credentials: dict[str, Any] | None = None,
) -> HttpResponse:
    """Too many failures: the same page whether there is such an account or not."""
    log.warning("sign-in refused after too many failures")
    cool_off = settings.AXES_COOLOFF_TIME
    context = {"minutes": int(cool_off.total_seconds() // 60)}
    answer = render(request, "shop/sign_in/locked.html", context, status=429)
    answer["Retry-After"] = str(int(cool_off.total_seconds()))
    return answer


def forget_pages(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Tell the browser to drop what it has cached of the shop; what waits in the outbox stays."""
    if request.is_secure():
        response["Clear-Site-Data"] = '"cache"'
    return response


@method_decorator(login_not_required, name="dispatch")
class SignOut(LogoutView):
    """Also for whoever is half way in: what the session remembers is dropped."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return forget_pages(request, super().post(request, *args, **kwargs))


@require_POST
@anyone_with_a_first_password
def sign_out_everywhere(request: HttpRequest) -> HttpResponse:
    end_everywhere(person(request))
    logout(request)
    messages.success(request, _("You are signed out here and on every other device."))
    return forget_pages(request, redirect("sign-in"))


class ChangePassword(PasswordChangeView):
    """A new password keeps this sign-in, under a new key, and ends all others."""

    template_name = "shop/form.html"
    form_class = ChangePasswordForm
    success_url = reverse_lazy("preferences")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        first = person(self.request).first_password_until is not None
        more = {
            "title": _("Your password"),
            "before": _(
                "Your first password opens only this page. Choose one that nobody else knows."
            )
            if first
            else "",
        }
        return super().get_context_data(**kwargs) | more

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not may_try(request, person(request)):
            return locked_out(request)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        try:
            answer = super().form_valid(form)
        except ValidationError as error:
            form.add_error(None, error)
            return self.form_invalid(form)
        log.info("person %s changed the password", form.user.pk)
        said = _("Your password is changed; other devices are signed out.")
        messages.success(self.request, said)
        return answer

    def form_invalid(self, form: Any) -> HttpResponse:
        if form.old_was_wrong:
            count_failure(self.request, form.user, "password")
        return self.render_to_response(self.get_context_data(form=form), status=422)

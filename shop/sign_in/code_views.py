"""A person's own second factor, under "You": setting up, backup codes, switching off."""

import time

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from shop.models import User
from shop.people import person
from shop.roles import anyone_on_staff, anyone_without_a_second_factor
from shop.sign_in import codes
from shop.sign_in.forms import LONGEST_CODE, CodeForm, PasswordAgainForm, ProofForm
from shop.sign_in.throttle import CODE_WITHIN, begin, count_failure, may_try
from shop.sign_in.views import locked_out
from shop.views import form_view

#: In the session: the device being set up, and until when; it was begun with the password.
SET_UP = "second_factor_set_up"


@form_view
@anyone_without_a_second_factor
def second_factor(request: HttpRequest) -> HttpResponse:
    """Whether one is set up; the password begins setting up a new one."""
    user = person(request)
    form = PasswordAgainForm(request.POST if request.method == "POST" else None)
    if form.is_bound and not may_try(request, user):
        return locked_out(request)
    if form.is_valid():
        if user.check_password(form.cleaned_data["password"]):
            device = codes.new_factor(user)
            request.session[SET_UP] = [device.pk, int(time.time()) + CODE_WITHIN]
            return redirect("second-factor-set-up")
        count_failure(request, user, "password")
        form.add_error("password", _("This is not your password."))
    return _page(request, user, password=form)


@form_view
@anyone_without_a_second_factor
def set_up(request: HttpRequest) -> HttpResponse:
    """The secret as a picture and as text, until a code shows that it arrived."""
    user = person(request)
    number, until = request.session.get(SET_UP, (None, 0))
    device = codes.unconfirmed(user)
    if device is None or device.pk != number or until < time.time():
        return redirect("second-factor")
    form = CodeForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        paper = codes.confirm(user, form.cleaned_data["code"])
        if paper is not None:
            begin(request, user, device.pk)
            return _paper(request, paper)
        form.add_error(
            "code",
            _(
                "This is not the code that belongs to this secret just now. Type the one shown next; "
                "if none is taken, set the clock of the device that shows them."
            ),
        )
    context = {"form": form, "picture": codes.qr_data(device), "secret": codes.secret_text(device)}
    status = 422 if form.is_bound else 200
    return render(request, "shop/sign_in/set_up.html", context, status=status)


@require_POST
@anyone_on_staff
def new_codes(request: HttpRequest) -> HttpResponse:
    """A new set of backup codes for whoever proves to be the person."""
    user, form = person(request), ProofForm(request.POST)
    refusal = _refused(request, user, form)
    return refusal or _paper(request, codes.renew_backup_codes(user))


@require_POST
@anyone_on_staff
def switch_off(request: HttpRequest) -> HttpResponse:
    user, form = person(request), ProofForm(request.POST)
    refusal = _refused(request, user, form)
    if refusal:
        return refusal
    codes.switch_off(user)
    begin(request, user, None)
    messages.success(
        request, _("Your password alone signs you in again. Other devices are signed out.")
    )
    return redirect("second-factor")


def _refused(request: HttpRequest, user: User, form: ProofForm) -> HttpResponse | None:
    """The page again where the proof is missing or wrong; None where it is right."""
    if codes.factor_of(user) is None:
        return redirect("second-factor")
    if not may_try(request, user):
        return locked_out(request)
    if form.is_valid():
        proof = form.cleaned_data["proof"]
        if user.check_password(proof):
            return None
        # While codes have to wait, and of what is too long for one, each guess at the password still counts.
        waits = len(proof) > LONGEST_CODE or codes.seconds_to_wait(user, proof)
        if not waits and codes.check(user, proof):
            return None
        count_failure(request, user, "password or code")
        form.add_error("proof", _("This is neither your password nor a code of just now."))
    return _page(request, user, proof=form)


def _page(
    request: HttpRequest,
    user: User,
    *,
    password: PasswordAgainForm | None = None,
    proof: ProofForm | None = None,
) -> HttpResponse:
    context = {
        "factor": codes.factor_of(user),
        "required": settings.SECOND_FACTOR_REQUIRED,
        "codes_left": codes.backup_codes_left(user),
        "password_form": password or PasswordAgainForm(),
        "proof_form": proof or ProofForm(),
    }
    bound = (proof is not None and proof.is_bound) or (password is not None and password.is_bound)
    status = 422 if bound else 200
    return render(request, "shop/sign_in/factor.html", context, status=status)


def _paper(request: HttpRequest, paper: list[str]) -> HttpResponse:
    """The one page that shows backup codes; no cache keeps it."""
    response = render(request, "shop/sign_in/paper.html", {"codes": paper})
    response["Cache-Control"] = "no-store"
    return response

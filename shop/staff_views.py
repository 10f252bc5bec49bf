"""The owner's list of staff; everybody's own password."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from shop.editing import saved_words
from shop.models import User
from shop.roles import ROLES, owner_only
from shop.sign_in.codes import factor_of, switch_off
from shop.staff import add_staff, change_staff, mark_of_password, new_password
from shop.staff_forms import AddStaffForm, ChangeStaffForm
from shop.views import form_view


@require_GET
@owner_only
def staff(request: HttpRequest) -> HttpResponse:
    people = User.objects.prefetch_related("groups").order_by("-is_active", "username")
    return render(request, "shop/staff.html", {"people": people})


@form_view
@owner_only
def add_person(request: HttpRequest) -> HttpResponse:
    form = AddStaffForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            password = add_staff(**form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return _handed_over(request, form.cleaned_data["username"], password)
    return _form(request, form, _("Add a person"))


@form_view
@owner_only
def edit_person(request: HttpRequest, number: int) -> HttpResponse:
    person = get_object_or_404(User, pk=number)
    role = person.groups.filter(name__in=ROLES).values_list("name", flat=True).first()
    form = ChangeStaffForm(
        request.POST if request.method == "POST" else None,
        initial={
            "first_name": person.first_name,
            "last_name": person.last_name,
            "role": role,
            "active": person.is_active,
        },
    )
    if form.is_valid():
        try:
            change_staff(person, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            messages.success(request, saved_words(str(person)))
            return redirect("staff")
    return _form(request, form, _("Change %(name)s") % {"name": person.username}, person=person)


@require_POST
@owner_only
def renew_password(request: HttpRequest, number: int) -> HttpResponse:
    person = get_object_or_404(User, pk=number)
    try:
        password = new_password(person, seen=request.POST.get("seen", ""))
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("staff-edit", number=person.pk)
    return _handed_over(request, person.username, password)


@require_POST
@owner_only
def reset_factor(request: HttpRequest, number: int) -> HttpResponse:
    """Take the second factor off somebody's account who has lost it; one's own goes under "You"."""
    other = get_object_or_404(User, pk=number)
    if other == request.user:
        messages.warning(
            request, _("Switch off your own second factor here, with a code or password.")
        )
        return redirect("second-factor")
    switch_off(other)
    said = _("%(name)s signs in by password alone, and is signed out everywhere.")
    messages.success(request, said % {"name": other})
    return redirect("staff-edit", number=other.pk)


def _handed_over(request: HttpRequest, username: str, password: str) -> HttpResponse:
    """The one page that shows a first password; not to be kept by any cache."""
    context = {"username": username, "password": password}
    response = render(request, "shop/sign_in/first_password.html", context)
    response["Cache-Control"] = "no-store"
    return response


def _form(
    request: HttpRequest, form: ChangeStaffForm, title: str, person: User | None = None
) -> HttpResponse:
    factor = factor_of(person) if person else None
    seen = mark_of_password(person) if person else ""
    context = {"form": form, "title": title, "person": person, "factor": factor, "seen": seen}
    status = 422 if form.is_bound else 200
    return render(request, "shop/staff_form.html", context, status=status)

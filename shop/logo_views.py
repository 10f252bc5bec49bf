"""The shop's logo: put up and taken down by the owner, shown to staff on reports."""

from typing import Any

from django import forms
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from shop import logo
from shop.models import ShopProfile
from shop.named_forms import Form
from shop.pictures import PictureRefusedError, too_large
from shop.roles import anyone_on_staff, owner_only
from shop.views import form_view


class LogoForm(Form):
    file = forms.FileField(
        label=gettext_lazy("A picture"),
        help_text=gettext_lazy(
            "PNG, JPEG or WebP, at most 5 MB and 20 million pixels. It is kept at most 600 pixels "
            "long, on white."
        ),
        max_length=200,
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg,image/webp"}),
        error_messages={
            "required": gettext_lazy("Choose a picture first."),
            "missing": gettext_lazy("Choose a picture first."),
        },
    )

    def clean_file(self) -> "UploadedFile[bytes]":
        file: UploadedFile[bytes] = self.cleaned_data["file"]
        if (file.size or 0) > logo.LIMITS.most_bytes:  # not even read
            raise forms.ValidationError(_not_kept(too_large(file.size or 0, logo.LIMITS)))
        return file


def _not_kept(refusal: object) -> str:
    return _("Not kept: %(refusal)s.") % {"refusal": refusal}


@form_view
@owner_only
def shop_logo_form(request: HttpRequest) -> HttpResponse:
    """The logo on reports from now on; ``remove`` takes it off."""
    if request.method == "POST" and "remove" in request.POST:
        logo.remove_logo()
        messages.success(request, _("Reports show no logo from now on; earlier ones keep theirs."))
        return redirect("logo")
    form = LogoForm(None, request.FILES) if request.method == "POST" else LogoForm()
    if form.is_valid():
        try:
            logo.set_logo(form.cleaned_data["file"].read())
        except PictureRefusedError as refusal:
            form.add_error("file", _not_kept(refusal))
        except OSError:
            full = _("Not kept: the disk may be full. Tell whoever runs the server.")
            form.add_error("file", full)
        else:
            messages.success(request, _("The logo is saved: reports show it from now on."))
            return redirect("logo")
    context: dict[str, Any] = {"form": form, "digest": logo.digest_now(ShopProfile.current())}
    return render(request, "shop/logo.html", context, status=422 if form.is_bound else 200)


@require_GET
@anyone_on_staff
def shop_logo(request: HttpRequest, digest: str) -> HttpResponse:
    """A logo, today's or one that an earlier report shows."""
    png = logo.png_of(digest)
    if png is None:
        raise Http404("No such logo, or its file is gone; restore it from the backup.")
    headers = {
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, max-age=86400",  # a picture never changes under its address
    }
    return HttpResponse(png, content_type="image/png", headers=headers)

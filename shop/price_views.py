from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from shop.price_forms import PriceForm
from shop.roles import owner_only
from shop.views import form_view


@form_view
@owner_only
def prices(request: HttpRequest) -> HttpResponse:
    """The price list, all of it in one form."""
    form = PriceForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        form.save()
        messages.success(request, _("The price list is saved."))
        return redirect("prices")
    return render(request, "shop/prices.html", {"form": form}, status=422 if form.is_bound else 200)

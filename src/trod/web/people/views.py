"""The person at the keyboard: name, theme, units, accounts; species; the reserve; cautions; what a fault says."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod.catalogue.models import Species
from trod.catalogue.rows import taxa
from trod.web.access import person
from trod.web.addresses import whole
from trod.web.forms import common as forms_common
from trod.web.forms.common import form_page, units_for
from trod.web.forms.people import AccountForm, ReserveForm, SpeciesForm
from trod.web.forms.records import RecordPages, the_reserve
from trod.web.pages import THEMES
from trod.web.people.cautions import cautions_html
from trod.web.shared import rights
from trod.web.shared import seeing as pictured

YEAR_S = 365 * 24 * 3600
form_methods = require_http_methods(["GET", "POST"])


@require_GET
def cautions(request: HttpRequest) -> HttpResponse:
    return render(request, "trod/cautions.html", {"text": cautions_html()})


@form_methods
def settings(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return render(
            request,
            "trod/settings.html",
            {
                "themes": THEMES,
                "accounts": get_user_model().objects.filter(is_active=True).order_by("username"),
                "species_count": Species.objects.count(),
                "logged_in": request.user.is_authenticated,
                "may_see_people": (may := pictured.may_see(request)),
                "people_holders": rights.holders(pictured.RIGHT) if may else [],
            },
        )
    answer = redirect("people:settings")
    name = request.POST.get("person", "").strip()[:80]
    if name:
        request.session["person"] = name
    if request.POST.get("theme") in THEMES:
        answer.set_cookie("theme", request.POST["theme"], max_age=YEAR_S, samesite="Lax")
    if request.POST.get("units") in ("metric", "us"):
        answer.set_cookie("units", request.POST["units"], max_age=YEAR_S, samesite="Lax")
    messages.success(request, "Your settings are kept.")
    return answer


@form_methods
def reserve(request: HttpRequest) -> HttpResponse:
    """The reserve: made the first time, changed later."""
    row = the_reserve()
    form = ReserveForm(request.POST or None, instance=row, units=units_for(request, row), reserve=row)
    return form_page(
        request,
        form,
        title=f"The reserve {row.name}" if row else "Your reserve",
        lead="" if row else "The ground you keep. A rough middle of it will do; its time zone matters.",
        kept="The reserve {row} is kept.",
        back=reverse("people:settings") if row else reverse("today:today"),
        after=lambda kept: reverse("map:map"),
        zones=ReserveForm.zones(),
    )


@require_GET
def species_list(request: HttpRequest) -> HttpResponse:
    unnamed = taxa.without_scientific_name()
    rows = Species.objects.select_related("parent")
    return render(request, "trod/people/species.html", {"species": rows, "unnamed": unnamed})


class SpeciesPages(RecordPages[Species]):
    """Species."""

    model, form = Species, SpeciesForm
    address, among = "people:species", "people:species"
    new, change = "A new species", "{row}"
    instead = "Take the tick off “active” instead: then it is no longer offered."


species_pages = SpeciesPages()


@form_methods
def account_new(request: HttpRequest) -> HttpResponse:
    """Make an account. Whoever may see this page may: at home on loopback, or logged in."""
    form = AccountForm(request.POST or None)
    if request.method == "POST" and form.is_valid() and form.keep():
        messages.success(request, f"The account {form.cleaned_data['username']} is made.")
        return redirect("people:settings")
    return render(request, "trod/people/account.html", {"form": form}, status=422 if form.is_bound else 200)


@require_POST
def see_people(request: HttpRequest) -> HttpResponse:
    """Say which accounts may see people in pictures."""
    if not pictured.may_see(request):
        messages.error(request, "You may not see people in pictures, so you cannot give the right either.")
        return redirect("people:settings")
    chosen = {n for said in request.POST.getlist("who") if (n := whole(said)) is not None}
    try:
        rights.give_by(request, pictured.RIGHT, chosen)
    except rights.LastHolder as last:
        messages.error(request, str(last))
    else:
        messages.success(request, "It is kept who may see people in pictures.")
    return redirect("people:settings")


@form_methods
def account_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close an account: it cannot log in any more, and what it said stays."""
    user = get_object_or_404(get_user_model(), pk=pk, is_active=True)
    trouble = ""
    if request.method == "POST":
        try:
            rights.close(user, at_machine=rights.at_the_machine(request))
        except rights.LastHolder as last:
            trouble = str(last)
        else:
            messages.success(request, f"The account {user.get_username()} is closed. What it said stays.")
            return redirect("people:settings")
    context = {"account": user, "me": user == request.user, "trouble": trouble}
    return render(request, "trod/people/account_close.html", context, status=409 if trouble else 200)


@require_POST
def undo(request: HttpRequest) -> HttpResponse:
    """Put back what this person deleted last."""
    done, where = forms_common.put_back(request)
    if done:
        messages.success(request, f"It is back, {person(request)}.")
    else:
        messages.error(
            request, "It could not be put back: it was changed since, or something else stands in its place now."
        )
    return redirect(where)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "trod/trouble.html", {"what": "Nothing lies at this address."}, status=404)


def fault(request: HttpRequest) -> HttpResponse:
    return render(request, "trod/fault.html", status=500)

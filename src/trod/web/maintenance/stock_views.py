"""Pages: the stock, its bookings, what visits used, and the year's costs."""

from __future__ import annotations

import uuid as uuids
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod import clock, wording
from trod.catalogue.models import Booking, CostYear, Deployment, StockItem, Visit
from trod.planning.visit.maintenance import year_span, years_between
from trod.telling import maintenance as telling
from trod.web.access import person
from trod.web.addresses import whole
from trod.web.forms.common import offer_undo, status_of, tell_merged
from trod.web.forms.records import RecordPages, the_reserve, typist
from trod.web.maintenance import costs, stock
from trod.web.maintenance.common import table_answer
from trod.web.maintenance.forms import BookingForm, CostYearForm, StockForm, battery_kinds

form_methods = require_http_methods(["GET", "POST"])
MOST_TO_BOOK = 60


@require_GET
def stock_list(request: HttpRequest) -> HttpResponse:
    """Everything on the stock, and changes of batteries that are not booked."""
    now, reserve = timezone.now(), the_reserve()
    today = clock.local(now, reserve.zone if reserve else "UTC").date()
    lines = stock.in_stock(today)
    items = [line.item for line in lines]
    waiting = stock.to_book(now, items)
    context = {
        "lines": lines,
        "short": [line for line in lines if line.short],
        "waiting": waiting[:MOST_TO_BOOK],
        "more_waiting": max(0, len(waiting) - MOST_TO_BOOK),
        "batteries": [i for i in items if i.kind == StockItem.Kind.BATTERIES],
        "currency": costs.typed(reserve, today.year).currency,
    }
    return render(request, "trod/maintenance/stock.html", context)


@require_GET
def item(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """One thing: how many there are, and how that came."""
    row = get_object_or_404(StockItem, uuid=uuid)
    held = stock.on_hand().get(row.pk, 0)
    context = {
        "item": row,
        "held": held,
        "bookings": row.bookings.select_related("visit__site")[:200],
        "form": BookingForm(
            initial={"at": _minute(), "unit_price": row.unit_price}, on_hand=held, **typist(request, the_reserve())
        ),
    }
    return render(request, "trod/maintenance/stock_item.html", context)


def _minute() -> Any:
    return timezone.now().replace(second=0, microsecond=0)


class StockPages(RecordPages[StockItem]):
    """Things on the stock; of a new one it may be said how many there are."""

    model, form = StockItem, StockForm
    address, among, new = "maintenance:stock", "maintenance:stock", "New on the stock"
    instead = "Count it as 0 instead, or take its bookings back first."
    page = {"template": "trod/maintenance/stock_form.html", "battery_kinds": battery_kinds()}

    def after(self, request: HttpRequest, form: StockForm, kept: StockItem) -> str:
        if count := form.cleaned_data.get("count"):
            counted = Booking.Why.COUNTED
            Booking.objects.create(item=kept, at=timezone.now(), change=count, why=counted, by=person(request))
        return kept.get_absolute_url()


@require_POST
def book(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """Write one booking down."""
    row = get_object_or_404(StockItem, uuid=uuid)
    held = stock.on_hand().get(row.pk, 0)
    begun = Booking(item=row, by=person(request))
    form = BookingForm(request.POST, instance=begun, on_hand=held, **typist(request, the_reserve()))
    if form.is_valid() and isinstance(kept := form.keep(), Booking):
        offer_undo(request, "Take the booking back", row.get_absolute_url(), made=[kept])
        messages.success(request, f"{row}: there are {held + kept.change} now.", extra_tags="undo")
        return redirect(row)
    context = {"item": row, "held": held, "form": form, "bookings": row.bookings.select_related("visit__site")}
    return render(request, "trod/maintenance/stock_item.html", context, status=422)


@require_POST
def unbook(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """Take a booking back; it can be put back again."""
    row = get_object_or_404(Booking.objects.select_related("item"), uuid=uuid)
    back = row.item.get_absolute_url()
    offer_undo(request, "Put the booking back", back, before=[row])
    words = str(row)
    row.delete()
    messages.success(request, f"Taken back: {words}.", extra_tags="undo")
    return redirect(back)


@require_POST
def book_visits(request: HttpRequest) -> HttpResponse:
    """Book the batteries that visits used, as confirmed line by line."""
    items = {str(i.pk): i for i in StockItem.objects.filter(kind=StockItem.Kind.BATTERIES)}
    back = reverse("maintenance:stock")
    chosen, wrong = [], []
    ticked = [n for said in request.POST.getlist("visit") if (n := whole(said)) is not None][:MOST_TO_BOOK]
    for visit in Visit.objects.filter(pk__in=ticked).select_related("site"):
        thing = items.get(request.POST.get(f"item_{visit.pk}", ""))
        number = whole(request.POST.get(f"number_{visit.pk}", "").strip())
        if thing is None or number is None or not 1 <= number <= 999:
            wrong.append(str(visit))
        else:
            chosen.append((visit, thing, number))
    made = stock.book(chosen, by=person(request))
    if made:
        offer_undo(request, "Take these bookings back", back, made=made)
        total = -sum(b.change for b in made)
        messages.success(
            request,
            f"Booked: {wording.plural(total, 'battery', 'batteries')} of {wording.plural(len(made), 'visit')}.",
            extra_tags="undo",
        )
    for words in wrong:
        messages.error(request, f"Not booked: {words}. Needed: which batteries, and how many from 1 to 999.")
    if not ticked:
        messages.info(request, "No visit was ticked, so nothing is booked.")
    return redirect(back)


# Costs ------------------------------------------------------------------------------------------------------


def _year(year: int | None) -> int:
    number = year or timezone.now().year
    if not 1990 <= number <= 2200:
        raise Http404
    return number


@form_methods
def cost_page(request: HttpRequest, year: int | None = None) -> HttpResponse:
    """A year by site; what is typed for it is kept here."""
    number, reserve, now = _year(year), the_reserve(), timezone.now()
    typed = costs.typed(reserve, number)
    form = CostYearForm(request.POST or None, instance=typed, **typist(request, the_reserve()))
    if request.method == "POST" and reserve and form.is_valid() and form.keep() is not None:
        messages.success(request, f"What was typed for {number} is kept.")
        tell_merged(request, form)
        return redirect("maintenance:costs_of", number)
    if form.is_bound and not form.is_valid():
        typed = costs.typed(reserve, number)  # the table stands as it was kept
    found = costs.year(reserve, number, now, typed)
    firsts = [d.year for d in Deployment.objects.order_by("start").values_list("start", flat=True)[:1]]
    unbooked = Visit.objects.filter(batteries_changed=True, bookings__isnull=True, at__year=number).count()
    years = years_between(now.date().replace(year=min([*firsts, number]), month=1, day=1), now.date())
    context = {
        "year": number,
        "years": years if number in years else (number, *years),
        "costs": found,
        "says": telling.costs(found, number, typed.currency, unbooked=unbooked),
        "currency": typed.currency,
        "form": form,
        "reserve_known": reserve is not None,
        "over": year_span(number, now)[1].year > number,
    }
    return render(request, "trod/maintenance/costs.html", context, status=status_of(form) if form.errors else 200)


@require_GET
def cost_table(request: HttpRequest, year: int) -> HttpResponse:
    """A year by site as a table to keep, in full precision."""
    number, reserve = _year(year), the_reserve()
    typed = costs.typed(reserve, number)
    found = costs.year(reserve, number, timezone.now(), typed)
    head = (
        "year", "site", "currency", "batteries", "cards", "other", "incidents", "travel", "total", "visits", "camera_days",  # noqa: E501
        "per_camera_day",
    )  # fmt: skip
    rows = [
        (
            number, line.site or "no site", typed.currency, line.batteries, line.cards, line.other, line.incidents,
            line.travel, line.total, line.visits, round(line.camera_days, 3),
            "" if line.per_camera_day is None else line.per_camera_day,
        )
        for line in found.lines
    ]  # fmt: skip
    return table_answer(f"trod-costs-{number}.csv", head, rows)


class YearPages(RecordPages[CostYear]):
    """What is typed for a year; only to be forgotten here, `cost_page` keeps it."""

    model, address, called = CostYear, "maintenance:cost", "what was typed for {row.year}"

    def rows(self) -> QuerySet[CostYear]:
        return CostYear.objects.filter(reserve=the_reserve())

    def back_from_delete(self, row: CostYear, **keys: Any) -> str:
        return self.after_delete(row)

    def after_delete(self, row: CostYear) -> str:
        return reverse("maintenance:costs_of", args=[row.year])


pages, year_pages = StockPages(), YearPages()

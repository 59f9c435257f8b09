"""Pages: who is due, a round planned, shown, put in another order, taken along."""

from __future__ import annotations

from copy import copy
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod import clock
from trod.catalogue import jobs
from trod.catalogue.forecasts import forecasts
from trod.catalogue.forecasts.ways import VISIT_MIN
from trod.catalogue.models import Deployment, Job, Reserve, Round, Site
from trod.catalogue.rounds import due as dues
from trod.catalogue.rounds import field_notes, not_visited, round_papers
from trod.catalogue.rounds import rounds as planning
from trod.catalogue.rounds.round_plain import Planned
from trod.catalogue.rounds.wishes import Wish
from trod.catalogue.slugs import slug_from
from trod.errors import TrodError, WrongInput
from trod.field import round_sheet
from trod.field.form import field_form_html
from trod.telling import kit, ways
from trod.telling import rounds as told
from trod.units import system_of
from trod.web import seen
from trod.web.access import person
from trod.web.forms.common import offer_undo, units_for
from trod.web.forms.records import the_reserve
from trod.web.pages import HtmxRequest
from trod.web.rounds import pages
from trod.web.rounds.forms import PlanForm, first_words, initial_of

AHEADS = (7, 14, 30, 60)
FEW = 20  # so few cameras are planned while the page loads; more go to the worker
# What a plan is made of, and how a press on its order reads.
PLANNED = ("name", "day", "wish", "plan", "made_at")
AS_ASKED = "the round planned anew as you asked"
DONE_WORDS = {
    "earlier": "a stop earlier",
    "later": "a stop later",
    "out": "a stop taken out",
    "in": "a stop put in",
    "drawn": "the stops in the order as drawn",
}
form_methods = require_http_methods(["GET", "POST"])


# Who is due -------------------------------------------------------------------------------------------------


@require_GET
def rounds(request: HttpRequest) -> HttpResponse:
    """Who is due, the rounds kept, what came home and waits for a word."""
    reserve = the_reserve()
    if reserve is None:
        return render(request, "trod/rounds/rounds.html", {"nothing": "reserve"})
    now = timezone.now()
    today = clock.local(now, reserve.zone).date()
    ahead = next((n for n in AHEADS if str(n) == request.GET.get("days")), 30)
    held = forecasts.kept(reserve, now)
    found = dues.due(reserve, now, days=[today], next_days=ahead, held=held)
    best, why = dues.best_day(reserve, found, now)
    lines = pages.due_lines(found, today, ahead)
    to_come, past = pages.kept_rounds(reserve, today)
    context = {
        "nothing": "" if found else "camera",
        "lines": lines,
        "pressing": sum(line.late for line in lines),
        "ahead": ahead,
        "until": today + timedelta(days=ahead),
        "aheads": AHEADS,
        "best": best,
        "best_why": why,
        "no_forecast": bool(found) and not any(d.forecasts for d in found),
        "made_at": held.made_at,
        "stale": held.stale and held.made_at is not None,
        "no_base": reserve.base_latitude is None,
        "no_climate": not reserve.climate,
        "to_come": to_come,
        "past": past,
        "held": field_notes.open_held(),
    }
    return render(request, "trod/rounds/rounds.html", context)


# Planning ---------------------------------------------------------------------------------------------------


@form_methods
def plan(request: HttpRequest, uuid: UUID | None = None) -> HttpResponse:
    """Ask for a round: a new one, or one planned anew."""
    row = get_object_or_404(Round.objects.select_related("reserve"), uuid=uuid) if uuid else None
    reserve = row.reserve if row else the_reserve()
    if reserve is None:
        messages.info(request, "A round goes over a reserve: write that down first.")
        return redirect("people:reserve")
    now = timezone.now()
    today = clock.local(now, reserve.zone).date()
    sites = list(
        Site.objects.filter(reserve=reserve, retired=False)
        .filter(pk__in=Deployment.objects.filter(end__isnull=True).values("site"))
        .order_by("name")
    )
    problem = ""
    if request.method == "POST":
        form = PlanForm(request.POST, sites=sites, system=units_for(request, reserve))
        if form.is_valid():
            try:
                wish = form.wish()
                if row is not None:
                    seen.check(request, row, only=PLANNED, mine=AS_ASKED)
                if len(sites) > FEW:
                    planning.prepare(reserve, wish, now)  # what cannot be planned is told at once
                    args = {"wish": wish.plain(), "round": str(row.uuid) if row else ""}
                    job = jobs.ask(planning.JOB, args, by=person(request), total=3)
                    return redirect("rounds:work", pk=job.pk)
                made = planning.plan(reserve, wish, now)
                kept = _keep(request, reserve, wish, made, row, AS_ASKED)
            except TrodError as trouble:
                problem = str(trouble)
            else:
                messages.success(request, f"{kept.name} is planned and kept.", extra_tags="undo" if row else "")
                return redirect(kept.get_absolute_url())
    else:
        form = PlanForm(initial=_initial(request, row, today), sites=sites, system=units_for(request, reserve))
    context = {
        "form": form,
        "row": row,
        "problem": problem,
        "no_base": reserve.base_latitude is None,
        "no_camera": not sites,
        "reserve": reserve,
    }
    return render(request, "trod/rounds/plan.html", context, status=422 if request.method == "POST" else 200)


def _initial(request: HttpRequest, row: Round | None, today: date) -> dict[str, Any]:
    if row is not None:
        try:
            found = initial_of(round_papers.wish_of(row))
        except WrongInput:
            found = first_words(row.day, person(request)) | {"name": row.name}
        return found | {"first": max(found["first"], today)}
    try:
        day = max(date.fromisoformat(request.GET.get("day", "")), today)
    except ValueError:
        day = today + timedelta(days=1)
    asked = {f"site-{slug}": "must" for slug in request.GET.getlist("site")[:200]}
    return first_words(day, person(request)) | {"which": "pays"} | asked


@transaction.atomic
def _keep(request: HttpRequest, reserve: Reserve, wish: Wish, made: Planned, row: Round | None, pressed: str) -> Round:
    """Keep a plan; where it takes another one's place, so that it can be undone."""
    if row is not None:
        seen.check(request, row, only=PLANNED, mine=pressed)
    before = [copy(row), *row.stops.all()] if row is not None else []
    kept = planning.keep(reserve, wish, made, by=person(request), now=timezone.now(), row=row)
    if before:
        back = kept.get_absolute_url()
        offer_undo(request, "Put the order back as it was", back, before=before, made=kept.stops.all())
    return kept


@require_GET
def work(request: HtmxRequest, pk: int) -> HttpResponse:
    """How far the planning is."""
    job = get_object_or_404(Job, pk=pk, kind=planning.JOB)
    done = job.result if job.state == Job.State.DONE else None
    if done and not request.htmx:
        messages.success(request, "The round is planned and kept.")
        return redirect("rounds:round", uuid=done["round"])
    answer = render(request, "trod/rounds/bar.html" if request.htmx else "trod/rounds/work.html", {"job": job})
    if done:
        answer.headers["HX-Redirect"] = request.path
    return answer


# One round --------------------------------------------------------------------------------------------------


@require_GET
def one(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A round: map, order, what to do and carry, what waits."""
    row = get_object_or_404(Round.objects.select_related("reserve"), uuid=uuid)
    units = units_for(request, row.reserve)
    now = timezone.now()
    context: dict[str, Any] = {"row": row, "past": row.day < clock.local(now, row.reserve.zone).date()}
    try:
        planned = round_papers.planned_of(row)
        wish = round_papers.wish_of(row)
    except WrongInput as trouble:
        return render(request, "trod/rounds/round.html", {**context, "problem": str(trouble)})
    slugs = [v.stop.key for t in planned.plan.trips for v in t.visits]
    system = system_of(units)
    context |= {
        "planned": planned,
        "plan": planned.plan,
        "wish": wish,
        "trips": pages.trips(planned, units),
        "data": pages.map_data(row.reserve, planned),
        "own": planned.plan.searcher == "own" and not planned.by_hand,
        "sensitive": round_papers.fit_of(row).hides,
        "said": told.sentence(planned.plan, system),
        "cautions": kit.cautions(planned.cautions),
        "doubts": [told.doubt(x, system) for x in planned.doubts],
        "rests": [
            f"Ways: {ways.how(planned.plan.ways, system)}.",
            *ways.supposed(planned.supposed, planned.plan.ways, system),
        ],
        "left": [(x.stop, told.left_out(x, system)) for x in planned.plan.left_out],
        "shut": told.is_shut(planned.plan),
        "brought": field_notes.brought(row, slugs),
        "visit_min": VISIT_MIN,
        "missed": not_visited.listed(not_visited.of_round(row)),
        "takes": round_papers.may_still_hand_in(row, now),
    }
    answer = render(request, "trod/rounds/round.html", context)
    if context["sensitive"]:
        answer.headers["Cache-Control"] = "no-store"
    return answer


@require_POST
def order(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Move a stop, take one out, put one in, or take over an order that was drawn; timed anew."""
    row = get_object_or_404(Round.objects.select_related("reserve"), uuid=uuid)
    said, key = request.POST.get("do", ""), request.POST.get("stop", "")[:64]
    now = timezone.now()
    pressed = DONE_WORDS.get(said, "another order")
    seen.check(request, row, only=PLANNED, mine=pressed)
    try:
        planned, wish = round_papers.planned_of(row), round_papers.wish_of(row)
        asked = planning.order_of(planned)
        if said in ("earlier", "later"):
            asked = planning.moved(planned, key, -1 if said == "earlier" else 1)
        elif said == "out":
            wish = wish.taking_out(key)
            asked = [(d, p, [k for k in keys if k != key]) for d, p, keys in asked]
        elif said == "in":
            wish = wish.putting_in(key)
            if not asked:
                asked = [(wish.first, wish.parties()[0][0], [])]
            asked[-1][2].append(key)
        elif said == "drawn":
            keys = [part.split(",") if part else [] for part in request.POST.get("keys", "")[:20_000].split("|")]
            had = sorted(k for _, _, p in asked for k in p)
            if len(keys) != len(asked) or sorted(k for p in keys for k in p) != had:
                raise WrongInput("order", got="other stops than the round has", needed="the same stops in another order")
            asked = [(d, p, new) for (d, p, _), new in zip(asked, keys, strict=True)]
        else:
            raise WrongInput("order", got=said, needed="earlier, later, out, in or drawn")
        made = planning.in_order(row.reserve, wish, asked, now)
        _keep(request, row.reserve, wish, made, row, pressed)
    except TrodError as trouble:
        messages.error(request, str(trouble))
    else:
        messages.success(request, "The times are worked out anew.", extra_tags="undo")
    return redirect(f"{row.get_absolute_url()}#order")


@form_methods
def delete(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Delete a round with its stops; can be undone."""
    row = get_object_or_404(Round, uuid=uuid)
    if request.method == "POST":
        seen.check(request, row, only=PLANNED, mine=f"delete {row.name}")
        stops = list(row.stops.all())
        before = [copy(one) for one in (row, *stops)]
        with transaction.atomic():
            for stop in stops:
                stop.delete()
            row.delete()
        offer_undo(request, "Put the round back", row.get_absolute_url(), before=before, gone=True)
        messages.success(request, f"The round {row.name} is deleted. Visits noted on it stay.", extra_tags="undo")
        return redirect("rounds:rounds")
    context = {"row": row, "name": f"the round {row.name}", "held_by": "", "alone": True, "back": row.get_absolute_url()}
    return render(request, "trod/parts/delete_page.html", context)


# To take along ----------------------------------------------------------------------------------------------

KINDS = {
    "sheet.pdf": "application/pdf",
    "table.csv": "text/csv; charset=utf-8",
    "round.gpx": "application/gpx+xml",
    "round.ics": "text/calendar; charset=utf-8",
    "field-form.html": "text/html; charset=utf-8",
}


@require_GET
def paper(request: HttpRequest, uuid: UUID, what: str) -> HttpResponse:
    """The round as a file. Sensitive places are in it only where `?places=true` asks for them."""
    row = get_object_or_404(Round.objects.select_related("reserve"), uuid=uuid)
    if what not in KINDS:
        raise Http404("There is no such paper of a round.")
    units = units_for(request, row.reserve)
    true_places = request.GET.get("places") == "true"
    now = timezone.now()
    made: str | bytes
    try:
        if what == "field-form.html":
            data = round_papers.field_form_of(
                row, units=units, now=now, addresses=addresses(request), true_places=true_places
            )
            made = field_form_html(data)
        elif what == "round.gpx":
            made = round_papers.gpx_of(row, true_places=true_places)
        elif what == "round.ics":
            made = round_papers.calendar_of(row, true_places=true_places, now=now)
        else:
            size = request.GET.get("paper", "")[:20]
            sheet = round_papers.sheet(row, units=units, paper=size, true_places=true_places)
            made = round_sheet.round_sheet_pdf(sheet) if what == "sheet.pdf" else round_sheet.round_sheet_csv(sheet)
    except WrongInput as trouble:
        messages.error(request, f"Not made: {trouble}")
        return redirect(row.get_absolute_url())
    body = made.encode("utf-8") if isinstance(made, str) else made
    answer = HttpResponse(body, content_type=KINDS[what])
    way = "inline" if what == "sheet.pdf" else "attachment"
    fit = round_papers.fit_of(row, true_places=true_places)
    stem, ending = round_papers.file_stem(fit, slug_from(row.name, "round")), what.rpartition(".")[2]
    answer.headers["Content-Disposition"] = f'{way}; filename="{stem}.{ending}"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cache-Control"] = "no-store"
    if what == "field-form.html":
        # The page brings its own policy; ours beside it would stop its script. Two policies both bind.
        answer.headers["Content-Security-Policy"] = "frame-ancestors 'none'; object-src 'none'"
    return answer


def addresses(request: HttpRequest) -> tuple[str, ...]:
    """Where a phone may find this house: the name it was called by, unless that is this machine alone."""
    from trod.web.server import is_loopback

    host = request.get_host()
    name = host.rpartition(":")[0] if host.rpartition(":")[2].isdigit() else host
    return () if is_loopback(name) else (f"{request.scheme}://{host}",)

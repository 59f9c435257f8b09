"""Identified records on the pages: looked at with what would come of them, imported, undone."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from trod.archive.names import printable
from trod.catalogue import jobs
from trod.catalogue.line import Silent
from trod.catalogue.models import RecordImport, Species
from trod.catalogue.records import bring, plan
from trod.catalogue.records.plan import Choices
from trod.errors import TrodError, WrongInput
from trod.exchange import records_source
from trod.exchange.records_source import MEANINGS, Source
from trod.web.access import person
from trod.web.cards import places

SHOWN = 50  # rows that are left out, and sites, on the page
NEW = "+"  # chosen for a kind that becomes one of its own


@require_GET
def records(request: HttpRequest) -> HttpResponse:
    """The imports of records there are, and where to begin another."""
    rows = [(row, bring.cargo(row)) for row in RecordImport.objects.all()[:200]]
    return render(request, "trod/records.html", {"rows": rows, "may_browse": places.may_browse(request)})


@require_GET
def look(request: HttpRequest) -> HttpResponse:
    """What would come of it. Writes nothing."""
    path, trouble = _path(request, request.GET)
    if trouble:
        messages.error(request, trouble)
        return redirect("cards:records")
    choices = _choices(request.GET)
    context: dict[str, Any] = {"path": str(path), "shown": printable(str(path)), "choices": choices, "new": NEW}
    try:
        source = records_source.look(path, choices.columns)
        context |= {"source": source, "columns": _columns(source), "lacking": records_source.lacking(source)}
        if not context["lacking"]:
            _, found = bring.preview(path, choices, Silent())
            context |= _found(found, choices)
    except WrongInput as problem:
        context["problem"] = f"This cannot be imported: it is {problem.got}. Needed: {problem.needed}."
    except TrodError as problem:
        context["problem"] = str(problem)
    context["zone"] = choices.zone or plan.zone_of(choices)
    context["hidden"] = [(name, value) for name, value in _plain(choices).items() if value]
    return render(request, "trod/records_look.html", context, status=422 if "problem" in context else 200)


@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Put the import into the queue."""
    path, trouble = _path(request, request.POST)
    if trouble:
        messages.error(request, trouble)
        return redirect("cards:records")
    choices = _choices(request.POST)
    args = {
        "path": str(path),
        "columns": dict(choices.columns),
        "species": dict(choices.species),
        "effort": choices.effort,
        "machine": choices.machine,
        "zone": choices.zone,
    }
    return redirect("cards:job", pk=jobs.ask("records", args, by=person(request)).pk)


@require_POST
def undo(request: HttpRequest, uuid: str) -> HttpResponse:
    """Take a whole import away."""
    row = get_object_or_404(RecordImport, uuid=uuid)
    if row.undone_at is not None:
        messages.info(request, "It is undone already.")
        return redirect("cards:records")
    return redirect("cards:job", pk=jobs.ask("records-undo", {"uuid": str(row.uuid)}, by=person(request)).pk)


def _path(request: HttpRequest, given: QueryDict) -> tuple[Path, str]:
    """The path that was given, and why it cannot be looked at."""
    text = given.get("path", "").strip().strip("\"'").replace("\0", "")
    path = Path(text or ".").expanduser()
    if not places.may_browse(request):
        return path, "Records can be imported only from the machine itself. There, trod import does the same."
    if not path.is_absolute():
        return path, "Give the whole path of a folder or a CSV file, such as /home/you/records-2019."
    try:
        there = path.exists()
    except OSError:
        there = False
    return path, "" if there else f"{printable(str(path))} is not there, or cannot be read."


def _choices(given: QueryDict) -> Choices:
    said = {name: str(value) for name, value in given.items()}
    columns = {m: "" if said[f"column-{m}"] == NEW else said[f"column-{m}"] for m in MEANINGS if said.get(f"column-{m}")}
    species = {}
    for name, value in said.items():
        called = said.get(f"called-{name.removeprefix('species-')}", "")
        if name.startswith("species-") and value and called:
            species[called] = "" if value == NEW else value
    effort = said.get("effort", "")
    return Choices(
        columns=columns,
        species=species,
        effort=effort if effort in RecordImport.Effort.values else RecordImport.Effort.STATED,
        machine=said.get("machine") == "1",
        zone=said.get("zone", "")[:64],
    )


def _plain(choices: Choices) -> dict[str, str]:
    """The choices as fields of a form."""
    out = {f"column-{m}": c or NEW for m, c in choices.columns.items()}
    for number, (called, slug) in enumerate(choices.species.items()):
        out |= {f"called-{number}": called, f"species-{number}": slug or NEW}
    machine = {"machine": "1"} if choices.machine else {}
    return {**out, "effort": str(choices.effort), "zone": choices.zone, **machine}


def _columns(source: Source) -> list[dict[str, Any]]:
    if not source.flat:
        return []
    return [{"name": m, "words": words, "head": source.columns.get(m, "")} for m, (words, _) in MEANINGS.items()]


def _found(found: plan.Plan, choices: Choices) -> Mapping[str, Any]:
    sites = {d.stated.place: (d.site.name if d.site is not None else "") for d in found.new_deployments}
    return {
        "plan": found,
        "kinds": list(enumerate(found.kinds)),
        "every": Species.objects.order_by("name"),
        "chosen_new": {called for called, slug in choices.species.items() if not slug},
        "sites": sorted(sites.items())[:SHOWN],
        "more_sites": max(0, len(sites) - SHOWN),
        "skipped": found.skipped[:SHOWN],
        "more_skipped": max(0, len(found.skipped) - SHOWN),
    }

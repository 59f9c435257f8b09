"""Long work that was asked for on the Cards pages: its bar, and the wishes to pause, go on or cancel."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from trod.catalogue import jobs
from trod.catalogue.models import Job
from trod.web.access import person
from trod.web.cards import places

LABELS = {
    "import": "Importing",
    "place": "Placing an import",
    "records": "Importing records",
    "records-undo": "Undoing an import of records",
    "facts": "Reading pictures",
    "thumbnails": "Making thumbnails",
    "verify": "Verifying the archive",
    "backup": "Backing up",
}


@require_POST
def verify(request: HttpRequest) -> HttpResponse:
    job = jobs.ask("verify", {"quick": request.POST.get("quick") == "1"}, by=person(request))
    return redirect("cards:job", pk=job.pk)


@require_POST
def backup(request: HttpRequest) -> HttpResponse:
    to = request.POST.get("to", "").strip()
    if not places.may_browse(request):
        messages.error(request, "A backup can be asked for only from the machine itself.")
    elif not to.startswith(("/", "~")) and ":" not in to[:3]:
        messages.error(request, "Give the whole path of a folder on another disk, such as /media/you/backup.")
    else:
        return redirect("cards:job", pk=jobs.ask("backup", {"to": to}, by=person(request)).pk)
    return redirect("cards:cards")


def _back(job: Job) -> str:
    if job.kind in ("import", "place"):
        return reverse("cards:card_import", args=[job.args["card_import"]])
    return reverse("cards:job", args=[job.pk])


@require_GET
def job(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Job, pk=pk)
    if row.kind in ("import", "place"):
        return redirect(_back(row))
    context = {"job": row, "label": LABELS.get(row.kind, row.kind)}
    if isinstance(row.result, dict):
        kinds = ("missing", "changed", "unreadable", "unexpected")
        context["lists"] = [(kind.capitalize(), (row.result.get(kind) or [])[:200]) for kind in kinds]
    return render(request, "trod/cards_work.html", context)


@require_GET
def bar(request: HttpRequest, pk: int) -> HttpResponse:
    """The live bar alone. When the work is at an end, the page around it is fetched anew."""
    row = get_object_or_404(Job, pk=pk)
    answer = render(request, "trod/cards_bar.html", {"job": row, "label": LABELS.get(row.kind, row.kind)})
    if row.state not in (Job.State.WAITING, Job.State.RUNNING):
        answer.headers["HX-Refresh"] = "true"
    return answer


@require_POST
def wish(request: HttpRequest, pk: int, what: str) -> HttpResponse:
    row = get_object_or_404(Job, pk=pk)
    if what == "cancel" and row.state == Job.State.FAILED:
        Job.objects.filter(pk=row.pk, state=Job.State.FAILED).update(state=Job.State.CANCELLED)
    elif what in ("pause", "cancel"):
        jobs.wish(row, what)
    elif what == "resume":
        jobs.resume(row)
    return redirect(_back(row))

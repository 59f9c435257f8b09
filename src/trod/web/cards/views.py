"""Cards: what is plugged in, where it comes from, taking it in, and what came."""

from __future__ import annotations

from pathlib import Path

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from trod.archive.card import scan
from trod.archive.names import printable
from trod.catalogue import home, jobs
from trod.catalogue.imports import clocks, import_card, moving, propose, records
from trod.catalogue.models import Card, Deployment, Import, Job
from trod.errors import TrodError
from trod.web import seen
from trod.web.access import person
from trod.web.cards import pages, places
from trod.web.forms.common import units_for
from trod.web.forms.records import the_reserve


@require_GET
def cards(request: HttpRequest) -> HttpResponse:
    page = pages.gather(places.plugged_in(), request.GET.get("page", "1"))
    context = {"page": page, "may_browse": places.may_browse(request), "home": str(Path.home())}
    return render(request, "trod/cards.html", context)


@require_GET
def folder(request: HttpRequest) -> HttpResponse:
    """The folders of this machine, for whoever sits at it."""
    if not places.may_browse(request):
        messages.error(request, "Folders of this machine can be looked through only from the machine itself.")
        return redirect("cards:cards")
    asked = _path(request.GET.get("path") or str(Path.home()))
    return render(request, "trod/cards_folder.html", {"found": places.browse(asked)})


@require_GET
def source(request: HttpRequest) -> HttpResponse:
    """Where does this come from? The proposal, with its reasons. Reads some headers; changes nothing."""
    place = _path(request.GET.get("path", ""))
    trouble = _refused(request, place)
    if trouble:
        messages.error(request, trouble)
        return redirect("cards:cards")
    broken = import_card.broken_off(place, look_only=True)
    try:
        found = propose.propose(scan(place, inside=False), now=timezone.now())
    except TrodError as problem:
        messages.error(request, str(problem))
        return redirect("cards:cards")
    deployments = Deployment.objects.select_related("site", "camera").order_by("site__name", "-start")[:400]
    context = {
        "found": found,
        "shown": printable(str(place)),
        "broken": broken,
        "deployments": deployments,
        "cards": Card.objects.all()[:400],
        "serial": next(iter(found.marks.serials), ""),
        "before": Import.objects.filter(source=str(place.resolve()), state=Import.State.WHOLE).first(),
    }
    return render(request, "trod/cards_from.html", context)


@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """Put the import into the queue."""
    place = _path(request.POST.get("path", ""))
    trouble = _refused(request, place)
    if trouble:
        messages.error(request, trouble)
        return redirect("cards:cards")
    try:
        row = import_card.broken_off(place) if request.POST.get("goes_on") else None
        if row is None:
            row = _new_card_import(request, place)
    except TrodError as problem:
        messages.error(request, str(problem))
        return redirect(f"{_url('cards:from')}?{_query(path=str(place))}")
    _queue(row, person(request))
    return redirect("cards:card_import", name=row.name)


def _new_card_import(request: HttpRequest, place: Path) -> Import:
    said = request.POST.get("deployment", "")
    deployment, card = None, None
    if said == "new":
        marks = propose.read_marks(scan(place, inside=False))
        deployment, told = records.make(
            serial=request.POST.get("camera", "").strip(),
            site_name=request.POST.get("site", "").strip(),
            marks=marks,
            now=timezone.now(),
            by=person(request),
        )
        for sentence in told:
            messages.info(request, sentence)
    elif said and said != "unplaced":
        deployment = get_object_or_404(Deployment, slug=request.POST.get("other") if said == "other" else said)
    if request.POST.get("card"):
        card = Card.objects.filter(label=request.POST["card"]).first()
    asked = import_card.Asked(place, deployment, card, person(request), request.POST.get("read_back") == "1")
    return import_card.begin(asked, now=timezone.now())


def _queue(row: Import, by: str, *, accept_changes: bool = False) -> Job:
    """The job that does an import; one that waits or runs already is left as it is."""
    job = pages.job_of(row.name)
    if job is not None and job.state in (Job.State.WAITING, Job.State.RUNNING):
        return job
    if job is not None and job.kind == "import" and job.state != Job.State.DONE and not accept_changes:
        jobs.resume(job)
        return job
    return jobs.ask("import", {"card_import": row.name, "accept_changes": accept_changes}, by=by)


@require_GET
def card_import(request: HttpRequest, name: str) -> HttpResponse:
    row = get_object_or_404(
        Import.objects.select_related("deployment__site__reserve", "deployment__camera", "card"), name=name
    )
    page = pages.card_import_page(row, request.GET.get("page"), system=units_for(request, the_reserve()))
    return render(request, "trod/cards_import.html", {"page": page, "card_import": row, "job": page.job})


@require_POST
def again(request: HttpRequest, name: str) -> HttpResponse:
    """Go on with an import that was broken off, also when its card changed meanwhile."""
    row = get_object_or_404(Import, name=name)
    _queue(row, person(request), accept_changes=request.POST.get("accept_changes") == "1")
    return redirect("cards:card_import", name=name)


@require_POST
def place(request: HttpRequest, name: str) -> HttpResponse:
    """Say where an import comes from, move it to another place, lay it aside as unplaced, or take the last move back."""
    row = get_object_or_404(Import.objects.select_related("deployment__site"), name=name)
    said = request.POST.get("deployment", "")
    if request.POST.get("back"):
        can, target = moving.back_to(row)
        if not can:
            messages.error(request, "That place is not there any more. Choose another.")
            return redirect("cards:card_import", name=name)
    else:
        target = None if said == "unplaced" else get_object_or_404(Deployment, slug=said)
    mine = f"it comes from {target}" if target else "nobody knows yet where it comes from"
    seen.check(request, row, only=("deployment",), mine=mine)
    if target == row.deployment:
        messages.info(request, "It lies there already.")
        return redirect("cards:card_import", name=name)
    slug = target.slug if target else None
    jobs.ask("place", {"card_import": row.name, "deployment": slug}, by=person(request))
    return redirect("cards:card_import", name=name)


@require_POST
def accept(request: HttpRequest, name: str) -> HttpResponse:
    """A person says of the damaged files that they may go with the card, or takes that back."""
    row = get_object_or_404(Import.objects.select_related("card"), name=name)
    words = "the damaged files may stay" if request.POST.get("what") == "take-back" else "the damaged files may go"
    seen.check(request, row, only=("accepted_at", "accepted_by"), mine=words)
    if request.POST.get("what") == "take-back":
        import_card.take_back_acceptance(row)
    elif row.verdict.has_damage:
        import_card.accept_damage(row, by=person(request), now=timezone.now())
    return redirect("cards:card_import", name=name)


@require_POST
def clock(request: HttpRequest, name: str) -> HttpResponse:
    """Accept a proposed correction of the camera's clock."""
    row = get_object_or_404(Import.objects.select_related("deployment__site", "deployment__camera"), name=name)
    wanted = request.POST.get("to", "")
    proposals = [(of, one) for of in [row.deployment] if of for one in clocks.proposals(of)]
    for deployment, one in proposals:
        if one.to_raw.isoformat() == wanted:
            try:
                _, told = clocks.correct(
                    deployment,
                    shift_s=one.shift_s,
                    drift_s_per_day=one.drift_s_per_day,
                    from_raw=one.from_raw,
                    to_raw=one.to_raw,
                    reason=one.reason,
                    by=person(request),
                    now=timezone.now(),
                )
            except TrodError as problem:
                messages.error(request, str(problem))
            else:
                messages.success(request, f"Corrected. {one.sentence} Times and sequences follow.")
                for sentence in told:
                    messages.info(request, sentence)
            break
    else:
        messages.info(request, "That correction is made already.")
    return redirect("cards:card_import", name=name)


def _path(text: str) -> Path:
    """What a person pasted, as a path: without quotes and blanks round it."""
    clean = text.strip().strip("\"'").replace("\0", "")
    return Path(clean.removeprefix("file://") or ".").expanduser()


def _refused(request: HttpRequest, path: Path) -> str:
    """Why a folder cannot be a source, in a sentence; empty when it can."""
    if not path.is_absolute():
        return "Give the whole path of a folder, such as /media/you/CARD."
    try:
        there = path.is_dir()
    except OSError:
        there = False
    if not places.allowed(request, path):
        return "From another machine only a plugged-in card can be imported."
    if not there:
        return f"{printable(str(path))} is not a folder that can be read. Put the card in, or look at the path again."
    archive, place = home.archive_root(), path.resolve()
    if place == archive or archive in place.parents or place in archive.parents:
        return "A card is a folder neither in nor around the archive itself. Choose the folder of the card."
    return ""


def _url(name: str) -> str:
    from django.urls import reverse

    return reverse(name)


def _query(**values: str) -> str:
    from urllib.parse import urlencode

    return urlencode(values)

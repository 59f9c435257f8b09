"""What comes home: a field form handed in over the Wi-Fi, a file brought in, a conflict settled, a photo shown."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.http.multipartparser import MultiPartParserError
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from trod.archive import fieldnotes as files
from trod.catalogue import home
from trod.catalogue.models import Reserve, Site
from trod.catalogue.rounds import field_door, field_notes, round_papers, upload
from trod.errors import TrodError, WrongInput
from trod.field.form import read_field_form
from trod.field.form.bounds import TOKEN_HEADER
from trod.field.form.reading import MOST_BYTES
from trod.limits import HAND_IN_BYTES
from trod.web.access import person
from trod.web.rounds.forms import HomeForm
from trod.web.shared import seeing as people
from trod.web.shared.withheld import withheld

MOST_HANDED_IN = HAND_IN_BYTES  # one visit can weigh 55 MB
TOO_BIG = f"at most {MOST_HANDED_IN // 1_000_000} MB at once."


# The phone's door -------------------------------------------------------------------------------------------


def _doors(request: HttpRequest, answer: HttpResponse) -> HttpResponse:
    """A page that was opened from a file has the origin null; the token alone opens this door."""
    answer.headers["Access-Control-Allow-Origin"] = "*"
    answer.headers["Access-Control-Allow-Methods"] = "POST"
    answer.headers["Access-Control-Allow-Headers"] = f"content-type, {TOKEN_HEADER.lower()}"
    if request.headers.get("Access-Control-Request-Private-Network") == "true":
        answer.headers["Access-Control-Allow-Private-Network"] = "true"
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _refused(request: HttpRequest, status: int, words: str) -> HttpResponse:
    return _doors(request, JsonResponse({"error": words}, status=status))


@csrf_exempt
@require_http_methods(["POST", "OPTIONS"])
def hand_in(request: HttpRequest) -> HttpResponse:
    """Take visits from a field form; see docs/fieldform.md. The answer is a promise: what it names is on the disk."""
    if request.method == "OPTIONS":
        return _doors(request, HttpResponse(status=204))
    token = request.headers.get(TOKEN_HEADER, "")
    if not token:
        return _refused(request, 401, "No token came with it. Hand the visits in from the field form's own page.")
    # Whose it is comes first: nothing of a stranger's is read.
    row = round_papers.round_of(token, timezone.now())
    if row is None:
        return _refused(
            request, 403, "The token is not known here. Make the file and bring it in by hand, under Rounds."
        )
    now = timezone.now()
    try:
        field_door.check_open(row, now)
    except field_door.Refused as shut:
        return _refused(request, shut.status, str(shut))
    try:
        length = int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        length = 0
    if length > MOST_HANDED_IN:
        return _refused(request, 413, f"{length // 1_000_000} MB came; {TOO_BIG}")
    data = request.read(MOST_HANDED_IN + 1)
    if len(data) > MOST_HANDED_IN:
        return _refused(request, 413, f"More came than fits; {TOO_BIG}")
    try:
        found = read_field_form(data, now=now, at_once=True)
        if found.field_form_id != str(row.uuid):
            return _refused(
                request, 403, "The token belongs to another field form. Take the field form of this round anew."
            )
        taken = field_door.hand_in(row, found.visits, size=len(data), now=now)
    except field_door.Refused as shut:
        return _refused(request, shut.status, str(shut))
    except WrongInput as trouble:
        return _refused(request, 422, str(trouble))
    except TrodError as trouble:
        return _refused(request, 507, str(trouble))
    return _doors(
        request,
        JsonResponse(
            {
                "accepted": [*taken.new, *taken.changed],
                "already": taken.same,
                "conflicts": [{"uuid": uid, "words": words} for uid, words in taken.held.items()],
                "doubts": list(found.doubts),
            }
        ),
    )


# By hand ----------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
def bring(request: HttpRequest) -> HttpResponse:
    """Bring a file home, and settle what is held."""
    problem = ""
    taken: field_notes.Taken | None = None
    doubts: tuple[str, ...] = ()
    form = HomeForm()
    if request.method == "POST":
        try:
            form = HomeForm(request.POST, request.FILES)
            if form.is_valid():
                taken, doubts = _bring(request, form.cleaned_data["file"])
        except (TrodError, MultiPartParserError) as trouble:
            problem = str(trouble)
    reserve = Reserve.objects.order_by("id").first()
    context = {
        "form": form,
        "problem": problem,
        "taken": taken,
        "doubts": doubts,
        "held": _held_lines(reserve),
    }
    bad = bool(problem or form.errors)
    return render(request, "trod/rounds/home.html", context, status=422 if request.method == "POST" and bad else 200)


def _held_lines(reserve: Reserve | None) -> list[dict[str, Any]]:
    zone = reserve.zone if reserve else "UTC"
    names = dict(Site.objects.values_list("slug", "name"))
    return [
        {"note": h, "heading": h.heading(names.get(h.other.site, h.other.site), zone), "rows": h.rows(zone)}
        for h in field_notes.open_held()
    ]


def _bring(request: HttpRequest, file: Any) -> tuple[field_notes.Taken, tuple[str, ...]]:
    data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise WrongInput("file", got=f"{file.size // 1_000_000} MB", needed=f"at most {MOST_BYTES // 1_000_000} MB")
    return upload.take_file(data, file.name or "", by=person(request), now=timezone.now())


@require_POST
def decide(request: HttpRequest, name: str) -> HttpResponse:
    """Settle one held note."""
    try:
        taken = field_notes.decide(name, request.POST.get("keep", ""), by=person(request), now=timezone.now())
    except TrodError as trouble:
        messages.error(request, str(trouble))
    else:
        messages.success(request, " ".join(["Settled; both sides stay in the archive.", *taken.told]))
    return redirect("rounds:home")


@require_GET
def photo(request: HttpRequest, sha256: str) -> HttpResponseBase:
    """A photo that was taken on a visit. Nobody reviews those, so they are for whoever may see people."""
    path = files.photo_path(home.archive_root(), sha256)
    if path is None:
        raise Http404("There is no such photo.")
    if not people.may_see(request):
        return withheld("not reviewed")
    answer = FileResponse(path.open("rb"), content_type="image/jpeg")
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Content-Security-Policy"] = "default-src 'none'"
    answer.headers["Cache-Control"] = "private, no-cache"
    return answer

"""One picture or clip, by its SHA-256, as thumbnail, in viewing size or as it came from the camera.

Named by its hash, a picture never changes, so a browser may keep it for a year. Two things are held back
from that: the drawing that stands for a person, and pictures nobody has reviewed yet, which may become such.
"""

from __future__ import annotations

import re
from pathlib import Path

from django.http import (
    FileResponse,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseNotModified,
)
from django.shortcuts import redirect
from django.utils.http import content_disposition_header, url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from trod.catalogue.models import Picture
from trod.errors import DiskFull
from trod.web.pictures import cache
from trod.web.pictures.piece import Piece
from trod.web.shared import seeing as hiding
from trod.web.shared.withheld import DRAWN, MISSING, drawn, guarded, withheld

YEAR_S = 365 * 24 * 3600
# What a browser may show by itself. Anything else is only ever handed over as a file.
SHOWABLE = {
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".png": "image/png",
    ".gif": "image/gif",
    ".webp": "image/webp",
    ".mp4": "video/mp4",
    ".m4v": "video/mp4",
    ".mov": "video/quicktime",
    ".webm": "video/webm",
    ".avi": "video/x-msvideo",
}
_ONE_RANGE = re.compile(r"bytes=(\d{0,18})-(\d{0,18})", re.ASCII)


@require_safe
def picture(request: HttpRequest, sha256: str, kind: str) -> HttpResponseBase:
    row = (
        hiding.with_people(Picture.objects.filter(sha256=sha256))
        .values("path", "sequence__identification", "person_said", "person_guessed", "person_alone")
        .first()
    )
    if row is None:
        return HttpResponse("No picture of that name is in the catalogue.", status=404, content_type="text/plain")
    may = hiding.may_see(request)
    chosen = may and request.GET.get("shown") == "1" and hiding.chose(request)
    found = hiding.of_row(row, may=may, chosen=chosen)
    if found in DRAWN:
        return withheld(found)
    tag = f'"{sha256}-{kind}"'
    keep = f"private, max-age={YEAR_S}, immutable" if found == "open" else "private, no-cache"
    if tag in request.headers.get("If-None-Match", ""):
        answer: HttpResponseBase = HttpResponseNotModified()
    elif kind == "original":
        file = cache.original(row["path"])
        if file is None:
            return HttpResponse(
                "The catalogue knows this picture, but its file is not in the archive. Run: trod verify",
                status=404,
                content_type="text/plain",
            )
        answer = _original(request, file, row["path"], tag)
    else:
        try:
            small = cache.ensure(kind, sha256, row["path"])
        except (DiskFull, OSError):  # a full disk must not hide what can still be shown
            small = cache.original(row["path"])
            small = small if small and small.suffix.lower() in (".jpg", ".jpeg") else None
        if small is None:
            return drawn(MISSING)
        answer = FileResponse(small.open("rb"), content_type="image/jpeg")
    answer.headers["ETag"] = tag
    answer.headers["Cache-Control"] = keep
    return guarded(answer)


@require_POST
def people(request: HttpRequest) -> HttpResponse:
    """Show or hide people in this browser; to show them takes the right."""
    if request.POST.get("show") == "1" and hiding.may_see(request):
        request.session[hiding.SESSION] = True
    else:
        request.session.pop(hiding.SESSION, None)
    back = request.POST.get("back", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = "/"
    return redirect(back)


def _original(request: HttpRequest, file: Path, path: str, tag: str) -> HttpResponseBase:
    kind = SHOWABLE.get(file.suffix.lower())
    size = file.stat().st_size
    asked = _ONE_RANGE.fullmatch(request.headers.get("Range", "").strip()) if request.method == "GET" else None
    if asked and request.headers.get("If-Range", tag) != tag:
        asked = None  # the browser holds part of another file: send the whole
    answer: HttpResponseBase
    if asked and asked.groups() != ("", ""):
        first, last = _bounds(asked[1], asked[2], size)
        if first > last or first >= size:
            answer = HttpResponse(status=416)
            answer.headers["Content-Range"] = f"bytes */{size}"
            return answer
        answer = FileResponse(Piece(file, first, last - first + 1), status=206)
        answer.headers["Content-Range"] = f"bytes {first}-{last}/{size}"
        answer.headers["Content-Length"] = str(last - first + 1)
    else:
        answer = FileResponse(file.open("rb"))
        answer.headers["Content-Length"] = str(size)
    answer.headers["Content-Type"] = kind or "application/octet-stream"
    name = path.rsplit("/", 1)[-1]
    answer.headers["Content-Disposition"] = content_disposition_header(kind is None, name) or "inline"
    answer.headers["Accept-Ranges"] = "bytes"
    return answer


def _bounds(first: str, last: str, size: int) -> tuple[int, int]:
    """First and last byte of a range (RFC 9110, 14.1.2): `5-9`, `5-` or `-3`, the last three."""
    if not first:
        return max(0, size - int(last)), size - 1 if int(last) else -1
    return int(first), min(int(last), size - 1) if last else size - 1

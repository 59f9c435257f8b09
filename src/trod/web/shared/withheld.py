"""The drawings that stand for a picture which is not shown, and the headers every picture leaves with."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase

from trod.web.shared import seeing as hiding

_DRAWN = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 480" role="img" aria-label="{words}">'
    '<rect width="640" height="480" fill="#d9d0ba"/>'
    '<path d="M0 0 640 480M640 0 0 480" stroke="#8f8468" stroke-width="3" opacity=".25"/>{figure}'
    '<text x="320" y="{low}" font-family="Georgia,serif" font-size="30" text-anchor="middle" '
    'fill="#4a4334">{words}</text></svg>'
)
_FIGURE = (
    '<g fill="#d9d0ba" stroke="#8f8468" stroke-width="3"><path d="M236 330c0-58 36-92 84-92s84 34 84 92z"/>'
    '<circle cx="320" cy="180" r="42"/></g>'
)
DRAWN = {
    "hidden": _DRAWN.format(words="A person or vehicle: hidden", figure=_FIGURE, low=390).encode(),
    "people": _DRAWN.format(words="A person or vehicle: withheld", figure=_FIGURE, low=390).encode(),
    "not reviewed": _DRAWN.format(words="Not reviewed yet: withheld", figure=_FIGURE, low=390).encode(),
}
MISSING = _DRAWN.format(words="No picture to be seen", figure="", low=250).encode()


def guarded(answer: HttpResponseBase) -> HttpResponseBase:
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
    answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    return answer


def withheld(why: hiding.Verdict) -> HttpResponseBase:
    """The drawing that stands for a picture which this caller does not see."""
    return drawn(DRAWN[why])


def drawn(svg: bytes) -> HttpResponseBase:
    answer = HttpResponse(svg, content_type="image/svg+xml")
    answer.headers["Cache-Control"] = "no-store"
    return guarded(answer)

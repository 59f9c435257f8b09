"""The drawings that stand for a picture which is not shown, and the headers every picture leaves with."""

from __future__ import annotations

from django.http import HttpResponse, HttpResponseBase

from trod.drawing.pen import Pen
from trod.web.shared import seeing as hiding


def _instead(words: str, *, figure: bool = True) -> bytes:
    """Words on crossed-out ground, with a person's outline. SVG."""
    pen = Pen("light", font="Georgia, serif")
    pen.rect(0, 0, 640, 480, fill="ruled")
    pen.path("M0 0L640 480M640 0L0 480", ink="edge", wide=3, stroke_opacity=0.25)
    if figure:
        pen.path("M236 330c0-58 36-92 84-92s84 34 84 92z", fill="ruled", ink="edge", wide=3)
        pen.circle(320, 180, 42, fill="ruled", ink="edge", wide=3)
    pen.text(320, 390 if figure else 250, words, size=30, anchor="middle")
    return pen.done(640, 480, words).encode()


DRAWN = {
    "hidden": _instead("A person or vehicle: hidden"),
    "people": _instead("A person or vehicle: withheld"),
    "not reviewed": _instead("Not reviewed yet: withheld"),
}
MISSING = _instead("No picture to be seen", figure=False)


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

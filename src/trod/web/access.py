"""Who may come in, and what a browser may do with our pages.

On loopback alone the person at the machine needs no account. As soon as the server listens on any other
address (`trod serve --host …` sets TROD_DEMAND_ACCOUNTS), every page demands one, also from the machine itself.
An account may do everything, but for the rights of `trod.web.shared.rights`, which somebody must give it.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from contextlib import AbstractContextManager

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from trod.catalogue import who

Answer = Callable[[HttpRequest], HttpResponse]
OPEN_PATHS = ("/people/login/", "/static/", "/fieldform/visits/")  # a field form brings a token of its own

POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self'",
        "style-src 'self' 'unsafe-inline'",  # charts set inline styles on their SVG
        "img-src 'self' data: blob:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)


def from_this_machine(request: HttpRequest) -> bool:
    """True for a direct caller on loopback; a forwarded call is somebody else's."""
    if any(name in request.META for name in ("HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED", "HTTP_X_REAL_IP")):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


def person(request: HttpRequest) -> str:
    """The name that is written beside what this caller says."""
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        return user.get_full_name() or user.get_username()
    return request.session.get("person") or who.machine_person()


def asked_by(request: HttpRequest) -> AbstractContextManager[None]:
    """What is done inside is done for this caller."""
    return who.asked_by(lambda: person(request))


class DoorMiddleware:
    """Let in: anybody on loopback when the server listens there alone; else people with an account."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # PostgreSQL takes no NUL, and no address of ours has one.
        if "%00" in request.META.get("QUERY_STRING", ""):
            request.META["QUERY_STRING"] = request.META["QUERY_STRING"].replace("%00", "")
        at_home = settings.TROD_OPEN_ON_LOOPBACK and from_this_machine(request)
        if not (at_home or request.user.is_authenticated or request.path.startswith(OPEN_PATHS)):
            if request.headers.get("HX-Request"):
                return HttpResponse("Please log in again.", status=401)
            return redirect(f"{settings.LOGIN_URL}?next={request.path}")
        return self.get_response(request)


class HeadersMiddleware:
    """Scripts from ourselves alone, no framing, nothing cached that shows people or places, unless a view says so."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", "camera=(), microphone=(), geolocation=(self)")
        response.headers.setdefault("Cache-Control", "no-store" if request.path.startswith("/people/") else "no-cache")
        return response

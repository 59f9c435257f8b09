"""Guessing at passwords is slowed, also by many at once and over many processes.

A try is booked *before* the password is looked at, in one step of the database; so however many come at the same
moment, no more are looked at than the limit says. A good password gives its try back.

Counted are tries of one address at one name, of one address at any name, and at one name from anywhere. So that a
stranger's guesses never keep a person out, a browser that came in once as somebody holds a signed cookie and is
counted by itself, apart from all others (device cookies, as OWASP describes them). Each count begins anew WAIT_S after
its first try: nobody waits longer. At home on loopback nobody logs in, and nothing is counted.
"""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core import signing
from django.db import transaction
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.crypto import salted_hmac

from trod import limits
from trod.catalogue.models import LoginTries

WAIT_S = limits.WRONG_PASSWORDS_WAIT_S
# How many wrong passwords until one waits. Common practice; NIST SP 800-63B (2017), 5.2.2, allows 100 for one account.
MOST_OF_PAIR = limits.WRONG_PASSWORDS_OF_PAIR
MOST_OF_ADDRESS = limits.WRONG_PASSWORDS_OF_ADDRESS
MOST_OF_NAME = limits.WRONG_PASSWORDS_OF_NAME
COOKIE = "came-in"
COOKIE_S = 365 * 24 * 3600


@dataclass(frozen=True)
class Counter:
    """One count: its key in the database and how many it allows."""

    key: str
    most: int


def _hashed(kind: str, *parts: str) -> str:
    return salted_hmac("trod.web.tries", "\0".join((kind, *parts)), algorithm="sha256").hexdigest()


def _place(address: str) -> str:
    """The address, or for IPv6 the /64 that one household or company holds."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:64]
    if isinstance(found, ipaddress.IPv6Address) and found.ipv4_mapped is None:
        return str(ipaddress.ip_network((found, 64), strict=False))
    return str(getattr(found, "ipv4_mapped", None) or found)


def counters(request: HttpRequest, name: str) -> Sequence[Counter]:
    """What a try of this caller at this name is counted under, the narrowest first."""
    folded = name.strip().casefold()[:150]
    known = _known(request, folded)
    if known:
        return (Counter(_hashed("browser", known, folded), MOST_OF_PAIR),)
    place = _place(request.META.get("REMOTE_ADDR", ""))
    return (
        Counter(_hashed("pair", place, folded), MOST_OF_PAIR),
        Counter(_hashed("address", place), MOST_OF_ADDRESS),
        Counter(_hashed("name", folded), MOST_OF_NAME),
    )


def book(counted: Sequence[Counter], *, now: datetime | None = None) -> int:
    """Book one try. Returns 0, or the seconds to wait when one of the counts is full; then nothing is booked."""
    at = now or timezone.now()
    with transaction.atomic():
        LoginTries.objects.filter(since__lte=at - timedelta(seconds=WAIT_S)).delete()
        LoginTries.objects.bulk_create([LoginTries(key=c.key, since=at) for c in counted], ignore_conflicts=True)
        # In one order of keys for all, so that two who book at once never wait for each other.
        rows = LoginTries.objects.select_for_update().filter(key__in=[c.key for c in counted]).order_by("key")
        held = {row.key: row for row in rows}
        full = [held[c.key] for c in counted if held[c.key].count >= c.most]
        if full:
            # Names that nobody looked at leave no row behind: a flood of them fills no table.
            LoginTries.objects.filter(key__in=list(held), count=0).delete()
            last = max(row.since for row in full)
            return max(1, round((last + timedelta(seconds=WAIT_S) - at).total_seconds()))
        LoginTries.objects.filter(key__in=list(held)).update(count=F("count") + 1)
    return 0


def give_back(counted: Sequence[Counter]) -> None:
    """The password was right: the try is given back, and the narrowest count is forgotten."""
    narrow, *wide = counted
    with transaction.atomic():
        LoginTries.objects.filter(key=narrow.key).delete()
        LoginTries.objects.filter(key__in=[c.key for c in wide], count__gt=0).update(count=F("count") - 1)


def _known(request: HttpRequest, folded: str) -> str:
    """The mark of a browser that came in before under this name, or nothing."""
    held = request.COOKIES.get(COOKIE, "")
    if not held or len(held) > 400:
        return ""
    try:
        said = signing.loads(held, salt=COOKIE, max_age=COOKIE_S)
    except signing.BadSignature:
        return ""
    good = isinstance(said, list) and len(said) == 2 and said[1] == _hashed("mark", folded)
    return str(said[0]) if good else ""


def remember(answer: HttpResponse, name: str, *, secure: bool) -> None:
    """Give the browser its mark."""
    folded = name.strip().casefold()[:150]
    value = signing.dumps([secrets.token_urlsafe(12), _hashed("mark", folded)], salt=COOKIE)
    at = "/people/login/"
    answer.set_cookie(COOKIE, value, max_age=COOKIE_S, httponly=True, samesite="Lax", secure=secure, path=at)

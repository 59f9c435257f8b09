"""Who may see the numbers of locks.

A key's number or a combination opens a box on the reserve. It is shown to few, masked until it is asked for, and
stands in no report, export, packet or CSV; in the archive it has a file of its own, `private.json`.

The person at the machine may see numbers while Trod listens on that machine alone. With accounts, those may whom
somebody with the right has given it; nobody has it from the start.
"""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractUser, Permission
from django.db.models import QuerySet
from django.http import HttpRequest

from trod.web.access import from_this_machine

RIGHT = "see_lock_numbers"


def may_see(request: HttpRequest) -> bool:
    """Whether this caller may see and write numbers of locks."""
    if request.user.is_authenticated:
        return request.user.has_perm(f"trod.{RIGHT}")
    return bool(settings.TROD_OPEN_ON_LOOPBACK) and from_this_machine(request)


def right() -> Permission:
    """The right as Django keeps it."""
    return Permission.objects.get(content_type__app_label="trod", codename=RIGHT)


def holders() -> list[tuple[AbstractUser, bool]]:
    """Every account, and whether it may see numbers."""
    given = set(right().user_set.values_list("pk", flat=True))
    return [(user, user.is_superuser or user.pk in given) for user in _people()]


def give(chosen: set[int]) -> None:
    """Give the right to these accounts, and to no others."""
    right().user_set.set([user for user in _people() if user.pk in chosen])


def _people() -> QuerySet[AbstractUser]:
    return get_user_model().objects.filter(is_active=True).order_by("username")

"""What only few may: who holds such a right, who gives it, and that somebody is always left who holds it.

A right is a permission that a record of ours declares, such as to see numbers of locks. The person at the machine
holds each of them while Trod listens on that machine alone; of the accounts, those to whom somebody with the right has
given it. Nobody has one from the start.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.apps import apps
from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractUser, Permission
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpRequest

from trod.errors import TrodError
from trod.web.access import from_this_machine
from trod.web.addresses import whole


class LastHolder(TrodError):
    """Nobody would be left who holds a right, or who could log in at all.

    name : of the account, or nothing for a choice of accounts. right : in words, or nothing for logging in.
    """

    def __init__(self, name: str, right: str) -> None:
        super().__init__(name, right)
        self.name, self.right = name, right

    def __str__(self) -> str:
        if not self.right:
            return f"{self.name} is the last account: nobody could log in any more. Make another one first."
        who = f"{self.name} is the last" if self.name else "There would be no account left"
        return (
            f"{who} that {self.right}. Give that right to another account first, or do this at the machine itself "
            "(trod serve without --host)."
        )


def at_the_machine(request: HttpRequest) -> bool:
    """Whether the caller sits at the machine while Trod listens there alone."""
    return bool(settings.TROD_OPEN_ON_LOOPBACK) and from_this_machine(request)


def may(request: HttpRequest, codename: str) -> bool:
    """Whether this caller holds a right."""
    if request.user.is_authenticated:
        return bool(request.user.has_perm(f"trod.{codename}"))
    return at_the_machine(request)


def declared() -> dict[str, str]:
    """{codename: in words} of every right there is."""
    return {code: words for model in apps.get_app_config("trod").get_models() for code, words in model._meta.permissions}


def right(codename: str) -> Permission:
    """A right as Django keeps it."""
    return Permission.objects.get(content_type__app_label="trod", codename=codename)


def people() -> QuerySet[AbstractUser]:
    """Every account that can log in."""
    return get_user_model().objects.filter(is_active=True).order_by("username")


def holders(codename: str) -> list[tuple[AbstractUser, bool]]:
    """Every account, and whether it holds the right."""
    given = _given(codename)
    return [(user, user.pk in given) for user in people()]


def _given(codename: str, but: Iterable[int] = ()) -> set[int]:
    everything = set(people().filter(is_superuser=True).values_list("pk", flat=True))
    return (everything | set(right(codename).user_set.filter(is_active=True).values_list("pk", flat=True))) - set(but)


def _hold_still() -> None:
    """Let nobody else change rights or accounts until this transaction ends.

    Two that are each the last but one would otherwise both go. SQLite has locked at the transaction's beginning
    already.
    """
    list(get_user_model().objects.select_for_update().order_by("pk").values_list("pk", flat=True))


def _words(codename: str) -> str:
    return declared()[codename].replace("Can ", "can ", 1)


def give(codename: str, chosen: set[int], *, at_machine: bool, shown: set[int] | None = None) -> None:
    """Give a right to these accounts, and to no others.

    shown : who held it on the page that was chosen on; what others gave or took meanwhile then stays so.
    Raises LastHolder where none would hold it any more; the person at the machine still does, so not there.
    """
    with transaction.atomic():
        _hold_still()
        before = _given(codename)
        if shown is not None:
            chosen = (before | (chosen - shown)) - (shown - chosen)
        right(codename).user_set.set([user.pk for user in people() if user.pk in chosen])
        if before and not _given(codename) and not at_machine:
            raise LastHolder("", _words(codename))


def give_by(request: HttpRequest, codename: str, chosen: set[int]) -> None:
    """As `give`, by somebody who holds it; nobody takes the right from themselves by a set-up sheet.

    The page says in `shown` who held it as it was made.
    """
    shown = None
    if "shown" in request.POST:
        shown = {n for said in request.POST.getlist("shown") if (n := whole(said)) is not None}
    if request.user.is_authenticated and not request.user.is_superuser:
        chosen = chosen | {request.user.pk}
    give(codename, chosen, at_machine=at_the_machine(request), shown=shown)


def close(user: AbstractUser, *, at_machine: bool) -> None:
    """Close an account. Raises LastHolder as `give` does."""
    with transaction.atomic():
        _hold_still()
        if not at_machine:
            for codename in declared():
                if user.pk in _given(codename) and not _given(codename, but=[user.pk]):
                    raise LastHolder(user.get_username(), _words(codename))
            if not people().exclude(pk=user.pk).exists():
                raise LastHolder(user.get_username(), "")
        get_user_model().objects.filter(pk=user.pk).update(is_active=False)

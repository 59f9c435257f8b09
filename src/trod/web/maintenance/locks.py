"""Who may see the numbers of locks.

A key's number or a combination opens a box on the reserve. It is shown to few, masked until it is asked for, and
stands in no report, export, field form or CSV; in the archive it has a file of its own, `private.json`.

The person at the machine may see numbers while Trod listens on that machine alone. With accounts, those may whom
somebody with the right has given it; nobody has it from the start.
"""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.http import HttpRequest

from trod.web.shared import rights

RIGHT = "see_lock_numbers"


def may_see(request: HttpRequest) -> bool:
    """Whether this caller may see and write numbers of locks."""
    return rights.may(request, RIGHT)


def holders() -> list[tuple[AbstractUser, bool]]:
    """Every account, and whether it may see numbers."""
    return rights.holders(RIGHT)

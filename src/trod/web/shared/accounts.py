"""Accounts: a name and a password. Each may do everything, but for the rights of `trod.web.shared.rights`."""

from __future__ import annotations

import re
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from trod.errors import WrongInput

LEAST_REST = 8  # as many characters as the shortest password has


class NotTheNameValidator:
    """The name, or the name turned round, is worth nothing in a password: what is left must do without it."""

    def validate(self, password: str, user: Any = None) -> None:
        name = str(getattr(user, "username", "") or "").casefold()
        rest = password.casefold()
        for part in {name, name[::-1], *(p for p in re.split(r"[^\w]+|_", name) if len(p) > 2)}:
            rest = rest.replace(part, "") if part else rest
        if len(rest) < LEAST_REST and len(rest) < len(password):
            raise ValidationError(
                f"The password is too like the name: without it, {len(rest)} characters are left, and "
                f"{LEAST_REST} are needed.",
                code="password_like_name",
            )

    def get_help_text(self) -> str:
        return f"Your password needs {LEAST_REST} characters beside your name."


def any_exists() -> bool:
    """Whether anybody could log in."""
    return get_user_model().objects.filter(is_active=True).exists()


def make(name: str, password: str) -> None:
    """Make an account. Raises WrongInput for a name that is taken or unfit, or a password that is too weak."""
    users = get_user_model()
    user = users(username=users.normalize_username(name.strip()))  # as the login page takes names
    try:
        validate_password(password, user)
    except ValidationError as trouble:
        raise WrongInput("password", got="one that is too weak", needed=" ".join(trouble.messages)) from trouble
    user.set_password(password)
    try:
        user.full_clean()
    except ValidationError as trouble:
        raise WrongInput("name", got=name, needed=" ".join(trouble.messages)) from trouble
    user.save()

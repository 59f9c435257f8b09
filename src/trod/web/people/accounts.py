"""Accounts: a name and a password. Roles come later; until then each may do everything."""

from __future__ import annotations

from django.contrib.auth import get_user_model
from django.contrib.auth.password_validation import validate_password
from django.core.cache import cache
from django.core.exceptions import ValidationError

from trod.errors import WrongInput

# After so many wrong passwords from one address for one name, that pair waits. Common practice.
MOST_TRIES = 8
WAIT_S = 300


def any_exists() -> bool:
    """Whether anybody could log in."""
    return get_user_model().objects.filter(is_active=True).exists()


def make(name: str, password: str) -> None:
    """Make an account. Raises WrongInput for a name that is taken or unfit, or a password that "
    "is too weak."""
    users = get_user_model()
    user = users(username=name.strip())
    try:
        validate_password(password, user)
    except ValidationError as trouble:
        raise WrongInput(
            "password", got="one that is too weak", needed=" ".join(trouble.messages)
        ) from trouble
    user.set_password(password)
    try:
        user.full_clean()
    except ValidationError as trouble:
        raise WrongInput("name", got=name, needed=" ".join(trouble.messages)) from trouble
    user.save()


def _key(address: str, name: str) -> str:
    return f"tries:{address}:{name.casefold()[:80]!r}".replace(" ", "_")


def must_wait(address: str, name: str) -> bool:
    """True when this address has guessed at this name too often lately."""
    return int(cache.get(_key(address, name), 0)) >= MOST_TRIES


def note_failure(address: str, name: str) -> None:
    """Count one wrong password."""
    key = _key(address, name)
    cache.set(key, int(cache.get(key, 0)) + 1, WAIT_S)

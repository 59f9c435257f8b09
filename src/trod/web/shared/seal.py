"""Numbers of locks sealed with a pass phrase: at rest in the catalogue and the archive nobody reads them without it.

A number is encrypted (AES-256-GCM, bound to its lock and its field) under a key made of the phrase by scrypt
(RFC 7914). What is kept is the salt, the cost and a known word sealed with the key, which tells a wrong phrase. A
rebuilt catalogue takes sealed numbers as they are and needs no phrase.

The key of an opened session lies in the memory of this server alone: not in the session's row, which is on the disk. It
is forgotten with logging out, after OPEN_S, and when the server ends. Where several processes serve the pages, each
asks for the phrase itself.
"""

from __future__ import annotations

import base64
import contextlib
import secrets
import threading
import time
import unicodedata
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from django.contrib.sessions.models import Session
from django.db import OperationalError, connection, transaction
from django.http import HttpRequest
from django.utils import timezone

from trod.archive import papers
from trod.catalogue import home
from trod.catalogue.models import Lock, LockSeal
from trod.errors import TrodError, WrongInput
from trod.web.sessions import SessionStore, stored_key

HEAD = "sealed:1:"
FIELDS = ("key_number", "combination")
LOG2_N, R, P = 16, 8, 1  # 64 MB and a fifth of a second; RFC 7914 names r = 8 and p = 1
MOST_LOG2_N = 20
SALT_BYTES, NONCE_BYTES, KEY_BYTES = 16, 12, 32
LEAST_CHARACTERS, MOST_CHARACTERS = 10, 200
OPEN_S = 8 * 3600
MOST_VACUUMED = 300_000_000  # a larger catalogue is not written anew for this; what is overwritten is wiped all the same
WORD = "numbers of locks"


class WrongPhrase(TrodError):
    """The pass phrase is not the one that the numbers are sealed with."""

    def __str__(self) -> str:
        return "That is not the pass phrase. Nothing is changed."


class Shut(TrodError):
    """A number is sealed, and nobody has said the phrase in this session."""

    def __str__(self) -> str:
        return "The numbers of locks are sealed. Say the pass phrase first."


class OtherPhrase(TrodError):
    """A number was sealed with another phrase than the one that holds now."""

    def __str__(self) -> str:
        return "sealed with an earlier pass phrase; put the number in anew"


# The key and what it seals ----------------------------------------------------------------------------------

_deriving = threading.Lock()  # each takes 64 MB


def _key(phrase: str, salt: bytes, log2_n: int) -> bytes:
    if not 1 <= log2_n <= MOST_LOG2_N:
        raise WrongInput("cost of scrypt", got=log2_n, needed=f"a power of two from 1 to {MOST_LOG2_N}")
    text = unicodedata.normalize("NFKC", phrase.strip()).encode("utf-8", "surrogatepass")
    with _deriving:
        return bytes(Scrypt(salt=salt, length=KEY_BYTES, n=2**log2_n, r=R, p=P).derive(text))


def seal(key: bytes, text: str, *, place: str) -> str:
    """A text sealed. place : what it belongs to; it opens nowhere else."""
    nonce = secrets.token_bytes(NONCE_BYTES)
    made = AESGCM(key).encrypt(nonce, text.encode("utf-8", "surrogatepass"), place.encode())
    return HEAD + base64.b64encode(nonce + made).decode("ascii")


def unseal(key: bytes, text: str, *, place: str) -> str:
    """A sealed text opened. Raises OtherPhrase when this key, or this place, is not its own."""
    try:
        data = base64.b64decode(text.removeprefix(HEAD), validate=True)
        made = AESGCM(key).decrypt(data[:NONCE_BYTES], data[NONCE_BYTES:], place.encode())
        return made.decode("utf-8", "surrogatepass")
    except (InvalidTag, ValueError) as trouble:
        raise OtherPhrase from trouble


def is_sealed(text: str) -> bool:
    return text.startswith(HEAD)


def _place(row: Lock, name: str) -> str:
    return f"{row.uuid}:{name}"


# Opened sessions --------------------------------------------------------------------------------------------


@dataclass
class _Open:
    key: bytes
    until: float
    seal: str


_open: dict[str, _Open] = {}
_guard = threading.Lock()


def current() -> LockSeal | None:
    """The seal that holds, or None while the numbers lie open."""
    return LockSeal.objects.first()


def key_of(request: HttpRequest) -> bytes | None:
    """The key of this session, if its phrase was said and the seal is still the same."""
    held, now = current(), time.monotonic()
    with _guard:
        for name in [name for name, one in _open.items() if one.until < now]:
            del _open[name]
        found = _open.get(stored_key(request.session.session_key or ""))
    return found.key if found and held and found.seal == str(held.uuid) else None


def _remember(request: HttpRequest, key: bytes, held: LockSeal) -> None:
    if not request.session.session_key:
        request.session.create()
    with _guard:
        _open[stored_key(request.session.session_key or "")] = _Open(key, time.monotonic() + OPEN_S, str(held.uuid))


def cover(request: HttpRequest) -> None:
    """Forget this session's key."""
    with _guard:
        _open.pop(stored_key(request.session.session_key or ""), None)


def open_with(request: HttpRequest, phrase: str) -> None:
    """Open the numbers for this session. Raises WrongPhrase."""
    held = current()
    if held is not None:
        _remember(request, _verified(held, phrase), held)


def _verified(held: LockSeal, phrase: str) -> bytes:
    key = _key(phrase, base64.b64decode(held.salt), held.log2_n)
    try:
        unseal(key, held.check_text, place=str(held.uuid))
    except OtherPhrase as trouble:
        raise WrongPhrase from trouble
    return key


# Setting, changing, forgetting ------------------------------------------------------------------------------


def change(request: HttpRequest, *, old: str, new: str, by: str) -> int:
    """Seal the numbers with a phrase, seal them with another, or (new empty) lay them open. How many.

    Raises WrongPhrase for an old one that is not it, WrongInput for a new one that is too short. A number that an
    earlier phrase sealed stays as it is.
    """
    if new and not LEAST_CHARACTERS <= len(new.strip()) <= MOST_CHARACTERS:
        needed = f"{LEAST_CHARACTERS} to {MOST_CHARACTERS} characters; a few words that nobody else would put together"
        raise WrongInput("pass phrase", got=f"{len(new.strip())} characters", needed=needed)
    with transaction.atomic():
        held = LockSeal.objects.select_for_update().first()
        before = _verified(held, old) if held is not None else None
        salt = secrets.token_bytes(SALT_BYTES)
        after = _key(new, salt, LOG2_N) if new else None
        _shred()
        number = 0
        for row in Lock.objects.select_for_update():
            number += _rewrite(row, before, after)
        LockSeal.objects.all().delete()
        made = None
        if after is not None:
            made = LockSeal(salt=base64.b64encode(salt).decode("ascii"), log2_n=LOG2_N, by=by[:80], at=timezone.now())
            made.check_text = seal(after, WORD, place=str(made.uuid))
            made.save()
    with _guard:
        _open.clear()
    if made is not None and after is not None:
        _remember(request, after, made)
    _clean_up()
    return number


def throw_away() -> int:
    """The phrase is lost: take the sealed numbers and the seal away. Locks stay, without numbers. How many."""
    number = 0
    with transaction.atomic():
        for row in Lock.objects.select_for_update():
            gone = [name for name in FIELDS if is_sealed(getattr(row, name))]
            for name in gone:
                setattr(row, name, "")
            if gone:
                row.save(update_fields=gone)
                number += len(gone)
        LockSeal.objects.all().delete()
    with _guard:
        _open.clear()
    return number


def _rewrite(row: Lock, before: bytes | None, after: bytes | None) -> int:
    done = []
    for name in FIELDS:
        text = getattr(row, name)
        if is_sealed(text):
            try:
                text = unseal(before, text, place=_place(row, name)) if before else None
            except OtherPhrase:
                text = None
        if not text:
            continue
        setattr(row, name, seal(after, text, place=_place(row, name)) if after else text)
        done.append(name)
    if done:
        row.save(update_fields=done)
    return len(done)


def _shred() -> None:
    """See that what SQLite overwrites is gone from its file, too. Holds for this connection from now on."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA secure_delete = ON")


def _clean_up() -> None:
    """Take away what else lies about in clear: earlier states of private.json, what could be undone, SQLite's log."""
    root = home.archive_root()
    if root.exists():
        papers.forget_kept(root, papers.PRIVATE)
    for session in Session.objects.iterator():
        held = SessionStore().decode(session.session_data)
        if "trod.lock" in str((held.get("undo") or {}).get("rows", "")):
            del held["undo"]
            session.session_data = SessionStore().encode(held)
            session.save(update_fields=["session_data"])
    if connection.in_atomic_block:
        return
    with connection.cursor() as cursor, contextlib.suppress(OperationalError):  # others are reading just now
        if connection.vendor == "postgresql":
            cursor.execute(f"VACUUM FULL {Lock._meta.db_table}, {Session._meta.db_table}")
        elif connection.vendor == "sqlite":
            cursor.execute("SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()")
            if cursor.fetchone()[0] <= MOST_VACUUMED:
                cursor.execute("VACUUM")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


# One lock's numbers -----------------------------------------------------------------------------------------


def number(row: Lock, name: str, key: bytes | None) -> str:
    """A number in clear. Raises Shut without the key, OtherPhrase for one that it does not open."""
    text = str(getattr(row, name))
    if not is_sealed(text):
        return text
    if key is None:
        raise Shut
    return unseal(key, text, place=_place(row, name))


def put(row: Lock, name: str, text: str, key: bytes | None) -> None:
    """Put a number on a lock, sealed where a seal holds. Raises Shut without its key. Does not save."""
    if text and current() is not None:
        if key is None:
            raise Shut
        text = seal(key, text, place=_place(row, name))
    setattr(row, name, text)


def shown(row: Lock, key: bytes | None) -> dict[str, Any]:
    """Both numbers for a page, each in clear or with the reason why not. Raises Shut."""
    told = {}
    for name in FIELDS:
        try:
            told[name] = number(row, name, key)
        except OtherPhrase as trouble:
            told[name] = f"({trouble})"
    return told

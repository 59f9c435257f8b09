"""Numbers of locks sealed with a pass phrase: nowhere in clear at rest, and opened by it alone."""

from __future__ import annotations

import json
import stat
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt
from django.contrib.auth import get_user_model
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client

from trod.archive import backup, papers, sidecar
from trod.archive import verify as core_verify
from trod.catalogue import home
from trod.catalogue import models as m
from trod.catalogue.line import Silent
from trod.catalogue.papers import ledger
from trod.catalogue.work.rebuild import empty_all, rebuild
from trod.errors import WrongInput
from trod.web import sessions
from trod.web.shared import rights, seal, tries

KEY, CODE = "KEY-88341", "CODE-7319"
PHRASE, OTHER = "seven larks on a gate", "an owl in the larch"
LOCKS = "/cameras/maintenance/locks/"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A cheap scrypt: what it costs is tried once, below."""
    monkeypatch.setattr(seal, "LOG2_N", 4)
    seal._open.clear()


@pytest.fixture
def lock(cast: Any) -> m.Lock:
    return m.Lock.objects.create(label="blue", kind="key", camera=cast.red, key_number=KEY, combination=CODE)


def set_phrase(client: Client, new: str = PHRASE, old: str = "", **more: str) -> Any:
    said = {"new": new, "again": new, "do": "seal", **({"old": old} if old else {}), **more}
    return client.post(f"{LOCKS}phrase/", said)


def numbers(client: Client, lock: m.Lock, **said: str) -> str:
    return client.post(f"{LOCKS}{lock.uuid}/numbers/", said).content.decode()


def lies_in_clear(*folders: Path) -> list[str]:
    """The files below these folders in which a number can be read."""
    return [
        str(path)
        for folder in folders
        for path in folder.rglob("*")
        if path.is_file() and any(number.encode() in path.read_bytes() for number in (KEY, CODE))
    ]


@pytest.mark.django_db(transaction=True)
def test_sealed_numbers_lie_nowhere_in_clear_in_the_archive_and_its_kept_states(client, lock, tmp_path):
    root = home.archive_root()
    ledger.catch_up()
    lock.note = "x"
    lock.save()  # so that an earlier state with the numbers is kept
    assert len(lies_in_clear(root)) >= 2
    assert set_phrase(client).status_code == 302

    assert lies_in_clear(root) == []
    private = root / sidecar.PRIVATE
    assert stat.S_IMODE(private.stat().st_mode) == 0o600
    told = json.loads(private.read_text())
    assert told["locks"][0]["combination"].startswith("sealed:1:") and len(told["lock_seals"]) == 1
    assert told["locks"][0]["label"] == "blue"
    assert PHRASE not in private.read_text()
    assert core_verify.verify(root).ok, core_verify.verify(root)
    backup.backup(root, tmp_path / "copy", now=datetime(2026, 7, 1, tzinfo=UTC))
    assert lies_in_clear(tmp_path / "copy") == []


@pytest.mark.django_db(transaction=True)
def test_sealed_numbers_are_wiped_from_the_catalogues_own_file(client, lock):
    if connection.vendor != "sqlite":
        pytest.skip("a file of SQLite's")
    for n in range(30):
        m.Lock.objects.create(label=f"n{n}", key_number=KEY, combination=CODE)
    m.Lock.objects.filter(label="n3").delete()
    client.post(f"{LOCKS}{m.Lock.objects.get(label='n4').uuid}/delete/")  # lies in the session, to be undone
    assert any("trod.lock" in str(sessions.SessionStore().decode(s.session_data)) for s in Session.objects.all())
    set_phrase(client)

    dump = connection.connection.serialize() if hasattr(connection.connection, "serialize") else b""
    assert dump and KEY.encode() not in dump and CODE.encode() not in dump
    assert not any("trod.lock" in str(sessions.SessionStore().decode(s.session_data)) for s in Session.objects.all())


@pytest.mark.django_db(transaction=True)
def test_the_phrase_is_asked_for_once_a_session_and_a_wrong_one_is_told(client, lock):
    set_phrase(client)
    other = Client()
    asked = numbers(other, lock)
    assert "The pass phrase" in asked and KEY not in asked
    wrong = other.post(f"{LOCKS}{lock.uuid}/numbers/", {"phrase": "seven larks on a fence"})
    assert wrong.status_code == 422 and "That is not the pass phrase." in wrong.content.decode()
    assert KEY in numbers(other, lock, phrase=f"  {PHRASE} ")
    assert CODE in numbers(other, lock), "and then no more"
    other.post(f"{LOCKS}cover/")
    assert KEY not in numbers(other, lock)
    assert KEY in numbers(client, lock), "whoever set it need not say it again"


@pytest.mark.django_db(transaction=True)
def test_the_key_is_in_no_row_of_the_database_and_is_forgotten_in_time(client, lock, monkeypatch):
    set_phrase(client)
    (held,) = seal._open.values()
    rows = " ".join(str(sessions.SessionStore().decode(s.session_data)) for s in Session.objects.all())
    assert held.key.hex() not in rows and PHRASE not in rows
    monkeypatch.setattr(seal.time, "monotonic", lambda: held.until + 1)

    assert KEY not in numbers(client, lock)
    assert not seal._open


@pytest.mark.django_db(transaction=True)
def test_logging_out_forgets_it(client, lock, settings):
    user = get_user_model().objects.create_user("tobin", password="x")
    user.user_permissions.add(rights.right("see_lock_numbers"))
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(user)
    set_phrase(client)
    assert seal._open
    client.post("/people/logout/")

    assert not seal._open


@pytest.mark.django_db(transaction=True)
def test_a_changed_phrase_opens_and_the_old_one_does_not(client, lock):
    set_phrase(client)
    before = m.Lock.objects.get().combination
    refused = set_phrase(client, OTHER, old="wrong wrong wrong")
    assert refused.status_code == 422 and "That is not the pass phrase." in refused.content.decode()
    assert m.Lock.objects.get().combination == before
    assert set_phrase(client, OTHER, old=PHRASE).status_code == 302

    fresh = Client()
    assert KEY not in numbers(fresh, lock, phrase=PHRASE)
    assert KEY in numbers(fresh, lock, phrase=OTHER)


@pytest.mark.django_db(transaction=True)
def test_taken_off_with_the_phrase_the_numbers_lie_open_again(client, lock):
    set_phrase(client)
    assert set_phrase(client, "", old="no", do="open").status_code == 422
    assert set_phrase(client, "", old=PHRASE, do="open").status_code == 302

    lock.refresh_from_db()
    assert (lock.key_number, lock.combination) == (KEY, CODE)
    assert seal.current() is None and sidecar.read_private(home.archive_root())["lock_seals"] == []


@pytest.mark.django_db(transaction=True)
def test_a_lost_phrase_takes_the_numbers_with_it_once_the_person_is_sure(client, lock):
    set_phrase(client)
    client.post(f"{LOCKS}phrase/", {"do": "lost"})
    assert seal.is_sealed(m.Lock.objects.get().combination)
    client.post(f"{LOCKS}phrase/", {"do": "lost", "sure": "yes"})

    row = m.Lock.objects.get()
    assert (row.label, row.key_number, row.combination) == ("blue", "", "")
    assert seal.current() is None


@pytest.mark.django_db(transaction=True)
def test_a_rebuild_without_the_phrase_keeps_sealed_numbers_and_the_phrase_opens_them_after(client, lock):
    set_phrase(client)
    before = sidecar.read_private(home.archive_root())
    with ledger.quiet():
        empty_all()
    assert not m.LockSeal.objects.exists()
    assert rebuild(Silent()).trouble == []

    assert sidecar.read_private(home.archive_root()) == before
    ledger.catch_up()
    assert sidecar.read_private(home.archive_root()) == before
    fresh = Client()
    assert KEY not in numbers(fresh, lock)
    assert KEY in numbers(fresh, lock, phrase=PHRASE)


@pytest.mark.django_db(transaction=True)
def test_new_numbers_are_sealed_and_without_the_phrase_none_can_be_put_in(client, lock):
    set_phrase(client)
    said = {"label": "blue", "kind": "key", "note": ""}
    client.post(f"{LOCKS}{lock.uuid}/", {**said, "new_combination": "5555"})
    kept = m.Lock.objects.get().combination
    assert seal.is_sealed(kept) and "5555" in numbers(client, lock)
    fresh = Client()
    page = fresh.get(f"{LOCKS}{lock.uuid}/").content.decode()
    assert "The numbers are sealed." in page and "new_combination" not in page
    fresh.post(f"{LOCKS}{lock.uuid}/", {**said, "label": "azure", "new_combination": "6666"})

    row = m.Lock.objects.get()
    assert (row.label, row.combination) == ("azure", kept)


@pytest.mark.django_db(transaction=True)
def test_a_number_sealed_with_an_earlier_phrase_or_moved_to_another_lock_is_told_as_such(client, lock):
    set_phrase(client)
    taken = m.Lock.objects.get().combination
    other = m.Lock.objects.create(label="red", combination=taken)
    assert "sealed with an earlier pass phrase" in numbers(client, other)
    set_phrase(client, OTHER, old=PHRASE)

    assert m.Lock.objects.get(label="red").combination == taken, "left as it is"
    assert CODE in numbers(client, lock)


@pytest.mark.django_db
def test_a_number_that_looks_sealed_is_not_taken(client, lock):
    answer = client.post(f"{LOCKS}{lock.uuid}/", {"label": "blue", "kind": "key", "new_combination": "sealed:1:x"})

    assert answer.status_code == 422


@pytest.mark.django_db
@pytest.mark.parametrize("phrase", ["short", "x" * 201, "          "])
def test_a_phrase_too_short_or_too_long_is_refused(client, lock, phrase):
    assert set_phrase(client, phrase).status_code == 422
    assert not m.LockSeal.objects.exists()


@pytest.mark.django_db
def test_only_who_may_see_numbers_may_seal_them(client, lock, settings):
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(get_user_model().objects.create_user("tobin", password="x"))

    for answer in (set_phrase(client), client.get(f"{LOCKS}phrase/"), client.post(f"{LOCKS}phrase/", {"do": "lost"})):
        assert answer.status_code == 403
    assert not m.LockSeal.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_guesses_at_the_phrase_from_afar_are_counted(client, lock, settings):
    set_phrase(client)
    user = get_user_model().objects.create_user("tobin", password="x")
    user.user_permissions.add(rights.right("see_lock_numbers"))
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(user)
    for _ in range(tries.MOST_OF_PAIR):
        assert "not the pass phrase" in numbers(client, lock, phrase="a wrong phrase")

    assert "Too many wrong pass phrases" in numbers(client, lock, phrase=PHRASE)
    assert "Too many wrong pass phrases" in set_phrase(client, OTHER, old=PHRASE).content.decode()


def test_the_key_is_scrypts_as_its_standard_prints_it():
    """RFC 7914, section 12: the third vector, with N = 16384, r = 8, p = 1."""
    wanted = "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    assert Scrypt(salt=b"SodiumChloride", length=32, n=16384, r=8, p=1).derive(b"pleaseletmein").hex() == wanted
    assert seal._key("pleaseletmein", b"SodiumChloride", 14).hex() == wanted
    with pytest.raises(WrongInput):
        seal._key("x", b"y", 40)


def test_what_is_sealed_twice_differs_and_a_flipped_bit_does_not_open():
    key = bytes(range(32))
    one, two = (seal.seal(key, "0000", place="a") for _ in range(2))
    assert one != two and seal.unseal(key, one, place="a") == "0000"
    body = one.removeprefix(seal.HEAD)
    for n in range(0, len(body), 5):
        changed = body[:n] + ("A" if body[n] != "A" else "B") + body[n + 1 :]
        with pytest.raises(seal.OtherPhrase):
            seal.unseal(key, seal.HEAD + changed, place="a")
    with pytest.raises(seal.OtherPhrase):
        seal.unseal(key, one, place="b")


@pytest.mark.django_db(transaction=True)
def test_kept_states_of_a_paper_are_taken_away_and_the_register_agrees(lock):
    root = home.archive_root()
    for n in range(3):
        lock.note = str(n)
        lock.save()
    assert papers.forget_kept(root, sidecar.PRIVATE) >= 2
    assert papers.forget_kept(root, sidecar.PRIVATE) == 0

    assert not list((root / ".papers").rglob("private.json.kept/*"))
    assert core_verify.verify(root).ok
    papers.forget()
    lock.note = "again"
    lock.save()
    assert core_verify.verify(root).ok

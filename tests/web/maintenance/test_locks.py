"""Numbers of locks: for few eyes, masked until asked for, in a file of their own and nowhere else."""

from __future__ import annotations

import json
import stat
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import get_user_model

from trod.archive import backup as core
from trod.archive import sidecar
from trod.archive import verify as core_verify
from trod.catalogue import home
from trod.catalogue import models as m
from trod.catalogue.line import Silent
from trod.catalogue.papers import ledger
from trod.catalogue.work.rebuild import empty_all, rebuild

KEY, CODE = "KEY-88341", "CODE-7319"
LOCKS = "/cameras/maintenance/locks/"


@pytest.fixture
def lock(cast: Any) -> m.Lock:
    return m.Lock.objects.create(label="blue", kind="key", camera=cast.red, key_number=KEY, combination=CODE)


@pytest.fixture
def demand(settings: Any) -> None:
    settings.TROD_OPEN_ON_LOOPBACK = False


def account(client: Any, name: str = "tobin") -> Any:
    user = get_user_model().objects.create_user(name, password="a long enough one")
    client.force_login(user)
    return user


@pytest.mark.django_db
def test_a_number_is_in_no_page_until_it_is_pressed_for(client, lock):
    for page in (LOCKS, f"{LOCKS}{lock.uuid}/", "/cameras/maintenance/", "/cameras/", lock.camera.get_absolute_url()):
        text = client.get(page).content.decode()
        assert KEY not in text and CODE not in text, page
    assert client.get(f"{LOCKS}{lock.uuid}/numbers/").status_code == 405, "an address alone shows nothing"
    answer = client.post(f"{LOCKS}{lock.uuid}/numbers/")

    assert KEY in answer.content.decode() and CODE in answer.content.decode()
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.django_db
def test_an_account_sees_no_number_until_somebody_gives_it_the_right(client, lock, demand):
    user = account(client)
    for act in (
        lambda: client.post(f"{LOCKS}{lock.uuid}/numbers/"),
        lambda: client.get(f"{LOCKS}{lock.uuid}/"),
        lambda: client.post(f"{LOCKS}{lock.uuid}/delete/"),
        lambda: client.post(f"{LOCKS}who/", {"who": [user.pk]}),
        lambda: client.get(f"{LOCKS}new/"),
    ):
        answer = act()
        assert answer.status_code == 403
        assert KEY not in answer.content.decode()
    page = client.get(LOCKS).content.decode()
    assert "You may not see the numbers." in page and "Show" not in page


@pytest.mark.django_db
def test_the_person_at_the_machine_gives_the_right_and_takes_it(client, lock, settings):
    user = get_user_model().objects.create_user("tobin", password="a long enough one")
    client.post(f"{LOCKS}who/", {"who": [user.pk]})
    assert get_user_model().objects.get(pk=user.pk).has_perm("trod.see_lock_numbers")
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(user)
    assert KEY in client.post(f"{LOCKS}{lock.uuid}/numbers/").content.decode()
    client.logout()
    settings.TROD_OPEN_ON_LOOPBACK = True
    client.post(f"{LOCKS}who/", {})
    assert not get_user_model().objects.get(pk=user.pk).has_perm("trod.see_lock_numbers")


@pytest.mark.django_db
def test_a_forwarded_call_is_not_the_person_at_the_machine(client, lock):
    answer = client.post(f"{LOCKS}{lock.uuid}/numbers/", HTTP_X_FORWARDED_FOR="10.0.0.9")

    assert answer.status_code in (302, 403) and KEY not in answer.content.decode()


@pytest.mark.django_db
def test_an_empty_box_leaves_the_number_and_forgetting_is_said(client, lock):
    said = {"label": "blue", "kind": "key", "note": ""}
    client.post(f"{LOCKS}{lock.uuid}/", {**said, "new_combination": "0000"})
    lock.refresh_from_db()
    assert (lock.key_number, lock.combination) == (KEY, "0000")
    both = client.post(f"{LOCKS}{lock.uuid}/", {**said, "new_combination": "1", "forget": "on"})
    assert dict(both.context["form"].errors) == {"forget": ["either forget the numbers, or type new ones"]}
    client.post(f"{LOCKS}{lock.uuid}/", {**said, "forget": "on"})
    lock.refresh_from_db()
    assert (lock.key_number, lock.combination) == ("", "")


@pytest.mark.django_db(transaction=True)
def test_numbers_stand_in_the_private_file_alone_which_only_its_owner_reads(lock):
    root = home.archive_root()
    private = root / sidecar.PRIVATE
    ledger.catch_up()

    assert KEY in private.read_text() and stat.S_IMODE(private.stat().st_mode) == 0o600
    assert json.loads(private.read_text())["locks"][0]["camera"] == "R-1"
    for path in root.rglob("*"):
        if path.is_file() and path != private:
            assert KEY.encode() not in path.read_bytes() and CODE.encode() not in path.read_bytes(), path


@pytest.mark.django_db(transaction=True)
def test_without_a_lock_there_is_no_private_file(cast):
    ledger.catch_up()

    assert not (home.archive_root() / sidecar.PRIVATE).exists()


@pytest.mark.django_db(transaction=True)
def test_the_private_file_follows_a_renamed_camera_and_a_deleted_lock(cast, lock):
    cast.red.serial = "R-1b"
    cast.red.save()
    kept = sidecar.read_private(home.archive_root())
    assert kept is not None and kept["locks"][0]["camera"] == "R-1b"
    key = str(lock.uuid)
    lock.delete()
    kept = sidecar.read_private(home.archive_root())
    assert kept is not None and kept["locks"] == []
    assert [(row["kind"], row["key"]) for row in kept["deleted"]] == [("locks", key)]
    assert KEY not in (home.archive_root() / sidecar.PRIVATE).read_text()


@pytest.mark.django_db(transaction=True)
def test_a_rebuild_and_a_backup_bring_locks_back(cast, lock, tmp_path: Path):
    before = list(m.Lock.objects.values("uuid", "label", "kind", "key_number", "combination", "camera__serial"))
    ledger.catch_up()
    core.backup(home.archive_root(), tmp_path / "copy", now=datetime(2026, 7, 1, tzinfo=UTC))
    copy = tmp_path / "copy" / sidecar.PRIVATE
    assert KEY in copy.read_text() and stat.S_IMODE(copy.stat().st_mode) == 0o600
    with ledger.quiet():
        empty_all()
    made = rebuild(Silent())

    assert made.trouble == []
    assert list(m.Lock.objects.values(*before[0])) == before


@pytest.mark.django_db(transaction=True)
def test_an_export_and_the_tables_hold_no_number(client, lock, tmp_path: Path):
    from click.testing import CliRunner

    from trod.commands import main

    out = tmp_path / "out"
    done = CliRunner().invoke(main, ["export", str(out)])
    assert done.exit_code == 0, done.output
    pages = [client.get(f"/cameras/maintenance/costs/{y}/costs.csv").content for y in (2025, 2026)]
    files = [p.read_bytes() for p in out.rglob("*") if p.is_file()]
    assert len(files) > 3
    for data in (*pages, *files):
        assert KEY.encode() not in data and CODE.encode() not in data


@pytest.mark.django_db(transaction=True)
def test_the_private_file_is_no_stranger_in_the_archive_and_a_torn_one_is_told(cast, lock):
    ledger.catch_up()
    place = home.archive_root() / sidecar.PRIVATE
    whole = core_verify.verify(home.archive_root())
    assert (whole.unexpected, whole.torn) == ((), ())
    place.write_text(place.read_text()[:40])
    (words,) = core_verify.verify(home.archive_root()).torn
    assert "is not a private as Trod writes it" in words and words.endswith("Take it from your backup.")


@pytest.mark.django_db
def test_a_deleted_lock_can_be_put_back(client, lock):
    client.post(f"{LOCKS}{lock.uuid}/delete/")
    assert not m.Lock.objects.exists()
    client.post("/people/undo/")

    assert m.Lock.objects.get().combination == CODE

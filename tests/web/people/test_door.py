"""The door: sessions that a copied database does not open, guessing slowed, names in passwords, last holders."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from trod.catalogue.models import LoginTries
from trod.errors import WrongInput
from trod.web.shared import accounts, rights, tries

PASSWORD = "owl-in-the-larch"
ROOT = Path(__file__).resolve().parents[3]
LOGIN = "/people/login/"


@pytest.fixture
def abroad(cast: Any, settings: Any) -> None:
    settings.TROD_OPEN_ON_LOOPBACK = False
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # many tries, soon over


def account(name: str, *held: str) -> Any:
    user = get_user_model().objects.create_user(name, password=PASSWORD)
    user.user_permissions.set([rights.right(codename) for codename in held])
    return user


def log_in(client: Client, name: str, password: str = PASSWORD, **more: Any) -> bool:
    return bool(client.post(LOGIN, {"username": name, "password": password}, **more).status_code == 302)


def together(home: Path, code: str, processes: int) -> list[str]:
    """What these processes print that run the same code on one data folder at the same time."""
    head = "from trod.catalogue.start import ready; ready()\n"
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    env |= {"TROD_HOME": str(home), "PYTHONPATH": str(ROOT / "src"), "DJANGO_SETTINGS_MODULE": "trod.web.settings"}
    subprocess.run([sys.executable, "-c", head], env=env, check=True, timeout=120)
    running = [
        subprocess.Popen([sys.executable, "-c", head + code, str(n)], env=env, stdout=subprocess.PIPE, text=True)
        for n in range(processes)
    ]
    return [process.communicate(timeout=120)[0].strip() for process in running]


# Sessions ---------------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_what_stands_in_the_database_of_a_session_opens_no_door(client, abroad):
    account("suri")
    assert log_in(client, "suri")
    assert client.get("/map/").status_code == 200
    stored = list(Session.objects.values_list("session_key", flat=True))

    assert stored and client.cookies["sessionid"].value not in stored
    for key in stored:
        thief = Client()
        thief.cookies["sessionid"] = key
        assert thief.get("/map/").status_code == 302


@pytest.mark.django_db
def test_a_session_outlives_a_change_and_ends_with_logging_out(client, abroad):
    account("suri")
    log_in(client, "suri")
    first = client.cookies["sessionid"].value
    client.post("/people/settings/", {"person": "Suri of Hollin"})
    assert client.cookies["sessionid"].value == first and Session.objects.count() == 1
    client.post("/people/logout/")

    assert not Session.objects.exists()
    client.cookies["sessionid"] = first
    assert client.get("/map/").status_code == 302


# Guessing ---------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_however_many_try_at_once_no_more_passwords_are_looked_at(tmp_path):
    code = """
import sys
from threading import Thread
from django.db import connection
from django.test import RequestFactory
from trod.web.shared import tries
request = RequestFactory().post("/people/login/", REMOTE_ADDR="192.0.2.7")
passed = []
def go():
    for _ in range(5):
        if not tries.book(tries.counters(request, "suri")):
            passed.append(1)
    connection.close()
threads = [Thread(target=go) for _ in range(4)]
[t.start() for t in threads]
[t.join() for t in threads]
print(len(passed))
"""
    assert sum(int(said) for said in together(tmp_path, code, 4)) == tries.MOST_OF_PAIR


@pytest.mark.django_db
def test_one_address_that_guesses_at_many_names_waits_too(client, abroad):
    account("suri")
    for n in range(tries.MOST_OF_ADDRESS):
        assert not log_in(client, f"name{n}", "wrong")

    assert not log_in(client, "suri")
    assert log_in(client, "suri", REMOTE_ADDR="192.0.2.9")


@pytest.mark.django_db
def test_many_addresses_that_guess_at_one_name_wait_but_its_own_browser_comes_in(client, abroad):
    account("suri")
    known = Client()
    assert log_in(known, "suri", REMOTE_ADDR="192.0.2.9")
    known.post("/people/logout/")
    for n in range(tries.MOST_OF_NAME):
        assert not log_in(Client(), "suri", "wrong", REMOTE_ADDR=f"198.51.100.{n}")
    assert not log_in(Client(), "suri", REMOTE_ADDR="203.0.113.5")

    assert log_in(known, "suri", REMOTE_ADDR="192.0.2.9"), "the mark of a browser that came in before"


@pytest.mark.django_db
def test_a_marked_browser_has_no_more_tries_than_another_and_its_mark_is_for_one_name(client, abroad):
    account("suri")
    account("tobin")
    assert log_in(client, "suri")
    for _ in range(tries.MOST_OF_PAIR):
        assert not log_in(client, "suri", "wrong")
    assert not log_in(client, "suri")
    for _ in range(tries.MOST_OF_PAIR):
        assert not log_in(client, "tobin", "wrong")
    assert not log_in(client, "tobin")
    client.cookies[tries.COOKIE] = "forged"
    assert len(tries.counters(client.get(LOGIN).wsgi_request, "suri")) == 3


@pytest.mark.django_db
def test_the_wait_ends_by_itself_and_says_how_long_it_is(client, abroad):
    account("suri")
    for _ in range(tries.MOST_OF_PAIR):
        log_in(client, "suri", "wrong")
    assert "Wait 5 minutes" in client.post(LOGIN, {"username": "suri", "password": PASSWORD}).content.decode()
    LoginTries.objects.update(since=timezone.now() - timedelta(seconds=tries.WAIT_S - 50))
    assert "Wait 1 minute," in client.post(LOGIN, {"username": "suri", "password": PASSWORD}).content.decode()
    LoginTries.objects.update(since=timezone.now() - timedelta(seconds=tries.WAIT_S + 1))

    assert log_in(client, "suri")


@pytest.mark.django_db
def test_good_passwords_cost_an_address_nothing(client, abroad):
    account("suri")
    for _ in range(tries.MOST_OF_ADDRESS + 5):
        assert log_in(Client(), "suri")


@pytest.mark.django_db
def test_a_flood_of_invented_names_leaves_few_rows(abroad):
    for n in range(3 * tries.MOST_OF_ADDRESS):
        log_in(Client(), f"invented-{n}", "wrong", REMOTE_ADDR=f"2001:db8:0:7::{n + 1:x}")

    assert LoginTries.objects.count() <= 2 * tries.MOST_OF_ADDRESS + 1, "a /64 counts as one address"


@pytest.mark.django_db
def test_at_home_on_loopback_nothing_is_counted(client, cast):
    for page in ("/", "/map/", LOGIN):
        assert client.get(page).status_code == 200

    assert not LoginTries.objects.exists()


# Passwords --------------------------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "password"),
    [
        ("marlowe-oakes", "marlowe-oakes"),
        ("marlowe-oakes", "MarloweOakes1"),
        ("suri", "suri1234"),
        ("suri", "irusirus9"),
        ("marlowe-oakes", "12marlowe34"),
        ("marlowe", "Marlowe-marlowe"),
    ],
)
def test_a_password_like_the_name_makes_no_account(client, cast, name, password):
    with pytest.raises(WrongInput):
        accounts.make(name, password)
    said = {"username": name, "password": password, "again": password}
    answer = client.post("/people/accounts/new/", said)

    assert answer.status_code == 422 and answer.context["form"].errors["password"]
    assert not accounts.any_exists()


@pytest.mark.django_db
def test_a_long_password_that_holds_the_name_among_much_else_is_taken(cast):
    accounts.make("suri", "suri counts owls in the larch")

    assert accounts.any_exists()


def test_the_command_refuses_such_a_password_too(tmp_path):
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    env |= {"TROD_HOME": str(tmp_path / "home"), "PYTHONPATH": str(ROOT / "src")}
    said = subprocess.run(
        [sys.executable, "-m", "trod", "serve", "--make-account", "marlowe"],
        env=env, input="marlowe99\nmarlowe99\n", text=True, capture_output=True, timeout=60,
    )  # fmt: skip

    assert said.returncode == 3
    assert "too like the name" in said.stderr


@pytest.mark.django_db
def test_a_name_in_another_spelling_of_unicode_can_log_in(client, abroad):
    accounts.make("ﬁnn", PASSWORD)  # a ligature, which the login page takes apart

    assert log_in(client, "finn")


# Last holders -----------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_the_last_that_may_see_numbers_cannot_be_closed_from_afar(client, abroad):
    one, two = account("suri", "see_lock_numbers"), account("tobin")
    client.force_login(two)
    answer = client.post(f"/people/accounts/{one.pk}/close/")

    assert answer.status_code == 409
    assert "suri is the last that can see key numbers" in answer.content.decode()
    assert get_user_model().objects.get(pk=one.pk).is_active
    two.user_permissions.set([rights.right("see_lock_numbers")])
    assert client.post(f"/people/accounts/{one.pk}/close/").status_code == 302


@pytest.mark.django_db
def test_the_last_account_cannot_be_closed_from_afar_but_at_the_machine(client, abroad, settings):
    one = account("suri")
    client.force_login(one)
    answer = client.post(f"/people/accounts/{one.pk}/close/")
    assert answer.status_code == 409 and "the last account" in answer.content.decode()
    settings.TROD_OPEN_ON_LOOPBACK = True

    assert client.post(f"/people/accounts/{one.pk}/close/").status_code == 302


@pytest.mark.django_db
def test_a_closed_account_is_no_holder_that_is_left(abroad):
    one, two = account("suri", "see_lock_numbers"), account("tobin", "see_lock_numbers")
    rights.close(two, at_machine=False)

    with pytest.raises(rights.LastHolder):
        rights.close(one, at_machine=False)


@pytest.mark.django_db
def test_a_right_cannot_be_taken_from_its_last_holder_from_afar(abroad):
    one = account("suri", "see_lock_numbers")
    with pytest.raises(rights.LastHolder) as told:
        rights.give("see_lock_numbers", set(), at_machine=False)
    assert "no account left that can see key numbers" in str(told.value)
    assert rights.holders("see_lock_numbers") == [(one, True)]
    rights.give("see_lock_numbers", set(), at_machine=True)

    assert rights.holders("see_lock_numbers") == [(one, False)]


@pytest.mark.long
def test_two_last_holders_closed_at_the_same_moment_leave_one(tmp_path):
    code = """
import sys, time
from django.contrib.auth import get_user_model
from trod.web.shared import rights
users = get_user_model().objects
names = ["suri", "tobin"]
for name in names:
    user, _ = users.get_or_create(username=name)
    user.user_permissions.add(rights.right("see_lock_numbers"))
time.sleep(1.0)
try:
    rights.close(users.get(username=names[int(sys.argv[1])]), at_machine=False)
    print("closed")
except rights.LastHolder:
    print("last")
"""
    assert sorted(together(tmp_path, code, 2)) == ["closed", "last"]

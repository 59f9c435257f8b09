"""Who may come in, and what a browser may do with our pages."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse

import trod.web
from trod.web import pages
from trod.web.shared import tries

pytestmark = pytest.mark.django_db
PASSWORD = "owl-in-the-larch"


@pytest.fixture
def suri(cast):
    return get_user_model().objects.create_user("suri", password=PASSWORD)


def test_on_loopback_nobody_needs_an_account(client, cast):
    assert client.get("/").status_code == 200


@pytest.mark.parametrize("address", ["192.168.1.7", "2001:db8::7", "", "not an address"])
def test_another_machine_has_to_log_in(client, cast, address):
    answer = client.get("/map/", REMOTE_ADDR=address)

    assert answer.status_code == 302
    assert answer.url.startswith("/people/login/?next=")


@pytest.mark.parametrize("header", ["HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED", "HTTP_X_REAL_IP"])
def test_a_forwarded_call_is_somebody_elses_even_from_loopback(client, cast, header):
    assert client.get("/", **{header: "10.0.0.9"}).status_code == 302


def test_when_the_server_listens_abroad_the_machine_itself_has_to_log_in_too(client, cast, settings):
    settings.TROD_OPEN_ON_LOOPBACK = False

    assert client.get("/").status_code == 302


def test_with_an_account_every_page_opens(client, suri, settings):
    settings.TROD_OPEN_ON_LOOPBACK = False
    assert client.post("/people/login/?next=/map/", {"username": "suri", "password": PASSWORD}).status_code == 302

    for door in pages.NAV:
        assert client.get(reverse(door.url_name)).status_code == 200


# A phone in the field has no account: it shows the token that its field form was made with.
TOKEN_DOORS = {"/fieldform/visits/"}


def test_no_page_but_the_door_and_static_files_is_open_to_strangers(client, cast, settings):
    """Walks every address there is, so that a later page is covered too."""
    settings.TROD_OPEN_ON_LOOPBACK = False

    def walk(patterns, head=""):
        for entry in patterns:
            path = head + str(entry.pattern)
            yield from [path] if isinstance(entry, URLPattern) else walk(entry.url_patterns, path)

    seen, skipped = 0, []
    for path in walk(get_resolver().url_patterns):
        plain = "/" + path
        for mark, example in (
            ("<int:pk>", "1"),
            ("<slug:slug>", "a"),
            ("<slug:sha256>", "0" * 64),
            ("<slug:what>", "sites"),
            ("<str:name>", "a"),
            ("<slug:token>", "a"),
            ("<str:what>", "field-form.html"),
            ("<uuid:uuid>", "00000000-0000-4000-8000-000000000000"),
            ("<int:year>", "2026"),
            ("<int:number>", "0"),
            ("<slug:door>", "compare"),
        ):
            plain = plain.replace(mark, example)
        if "<" in plain or "(" in plain or plain.startswith("/people/login"):
            skipped.append(plain)
            continue
        if plain in TOKEN_DOORS:
            assert client.post(plain, b"{}", content_type="application/json").status_code == 401, plain
            continue
        for send in (client.get, client.post):
            answer = send(plain)
            assert answer.status_code == 302 and answer.url.startswith("/people/login/"), plain
        seen += 1
    assert seen > 90
    assert len(skipped) < 11, skipped


def test_a_page_asked_for_by_script_says_log_in(client, cast, settings):
    settings.TROD_OPEN_ON_LOOPBACK = False

    assert client.get("/", headers={"HX-Request": "true"}).status_code == 401


def test_after_eight_wrong_passwords_that_name_waits_from_there(client, suri):
    for _ in range(tries.MOST_OF_PAIR):
        client.post("/people/login/", {"username": "suri", "password": "wrong"})
    answer = client.post("/people/login/", {"username": "suri", "password": PASSWORD})

    assert "Wait 5 minutes" in answer.content.decode()
    assert (
        client.post("/people/login/", {"username": "suri", "password": PASSWORD}, REMOTE_ADDR="192.168.1.9").status_code
        == 302
    )


def test_a_closed_account_cannot_log_in(client, suri):
    suri.is_active = False
    suri.save()

    assert client.post("/people/login/", {"username": "suri", "password": PASSWORD}).status_code == 200


def test_a_form_from_another_site_is_refused(cast):
    strict = Client(enforce_csrf_checks=True)

    assert strict.post("/people/settings/", {"person": "x"}).status_code == 403


def test_only_our_own_names_are_answered(client, cast):
    """A page of another name that points to this machine (DNS rebinding) gets nothing."""
    assert client.get("/", headers={"host": "evil.example"}).status_code == 400
    assert client.get("/", headers={"host": "localhost:8000"}).status_code == 200


def test_every_answer_forbids_scripts_from_elsewhere_and_frames(client, cast):
    headers = client.get("/").headers

    assert "script-src 'self';" in headers["Content-Security-Policy"]
    assert "unsafe-inline" not in headers["Content-Security-Policy"].split("style-src")[0]
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_our_templates_hold_no_script_of_their_own():
    """The policy forbids it, so such a script would silently not run."""
    for template in (Path(trod.web.__file__).parent / "templates").rglob("*.html"):
        text = template.read_text("utf-8")
        for tag in re.findall(r"<script\b[^>]*>", text):
            assert "src=" in tag or "application/json" in tag, f"{template}: {tag}"
        assert not re.search(r"\son[a-z]+=[\"']", text), f"{template}: a sequence attribute"


@pytest.mark.parametrize(
    "address",
    [
        "/map/sign/new/?site=mea%00dow",
        "/cameras/visits/new/?deployment=%00",
        "/cameras/deployments/new/?site=%00",
    ],
)
def test_a_nul_in_an_address_is_passed_over_before_a_database_sees_it(client, cast, address):
    answer = client.get(address)

    assert answer.status_code == 200
    assert "\0" not in str(answer.wsgi_request.GET)

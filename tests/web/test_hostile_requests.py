"""Requests that mean harm: told with their status, never with a traceback."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from django.http import FileResponse
from django.test import Client

from trod import limits
from trod.catalogue import home
from trod.catalogue import models as m

pytestmark = pytest.mark.django_db


@pytest.fixture
def plain(cast: Any) -> Client:
    """A client that raises no exception of ours: it gets the status that a browser gets."""
    client = Client(raise_request_exception=False)
    return client


@pytest.fixture
def picture(cast: Any) -> m.Picture:
    data = bytes(range(256)) * 40
    sha = hashlib.sha256(data).hexdigest()
    card_import = m.Import.objects.create(
        name="in-1", folder="x/y/in-1", deployment=cast.deployment, state="whole", source="t", started_at=cast.now
    )
    path = home.archive_root() / "x/y/in-1/data/a.jpg"
    path.parent.mkdir(parents=True)
    path.write_bytes(data)
    return m.Picture.objects.create(
        sha256=sha, path="x/y/in-1/data/a.jpg", card_import=card_import, deployment=cast.deployment, size_bytes=len(data)
    )


@pytest.mark.parametrize(
    "asked",
    [
        "bytes=" + "9" * 5000 + "-", "bytes=0-" + "9" * 5000, "bytes=-" + "9" * 5000, "bytes=-0", "bytes=9-1",
        "bytes=999999999999999999-", "bytes=--", "bytes=٣-", "bytes=0-1,2-3" + ",4-5" * 2000, "lines=0-1", "\x00",
    ],
)  # fmt: skip
def test_a_range_that_is_none_or_too_far_is_no_fault(plain, picture, asked):
    answer = plain.get(f"/pictures/{picture.sha256}/original", headers={"Range": asked})

    assert answer.status_code in (200, 206, 416)
    if answer.status_code != 416:
        assert len(answer.getvalue()) == int(answer.headers["Content-Length"])


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [("0-0", 0, 0), ("5-9", 5, 9), ("-3", 10237, 10239), ("10230-", 10230, 10239)],
)
def test_a_part_is_sent_as_a_file_and_is_just_that_part(plain, picture, asked, first, last):
    answer = plain.get(f"/pictures/{picture.sha256}/original", headers={"Range": f"bytes={asked}"})

    assert answer.status_code == 206
    assert answer.headers["Content-Range"] == f"bytes {first}-{last}/10240"
    assert answer.headers["Content-Length"] == str(last - first + 1)
    assert isinstance(answer, FileResponse), "the server sends it without holding it in memory"
    assert answer.getvalue() == (bytes(range(256)) * 40)[first : last + 1]


PART = b"--x\r\nContent-Disposition: form-data; name=%s\r\n\r\n1\r\n--x--"
POSTS = [
    "/people/settings/", "/people/reserve/", "/map/sites/of/ford/change/", "/review/act", "/people/login/",
    "/questions/keep", "/rounds/new/", "/map/sites/of/ford/planner/keep/", "/map/sites/of/ford/planner/answer/",
    "/cameras/maintenance/stock/visits/", "/cameras/import/sites/", "/cards/begin/", "/reports/make", "/rounds/home/",
]  # fmt: skip


@pytest.mark.parametrize("address", POSTS)
def test_too_many_fields_too_long_a_form_and_odd_bytes_are_told(plain, address):
    many = "&".join(f"a{n}=1" for n in range(limits.FORM_FIELDS + 1))
    long = "person=" + "x" * (limits.FORM_BYTES + 1)
    plainly = "application/x-www-form-urlencoded"
    for body in (many, long):
        assert plain.post(address, body, content_type=plainly).status_code in (400, 413), address
    for body, kind in (
        (b"\xff\xfe=%ff%00%", plainly),
        (b"a" * 100, "multipart/form-data; boundary=" + "x" * 5000),
        (PART % (b"\xff" * 9000), "multipart/form-data; boundary=x"),
        (b"{", "application/json"),
        (("[" * 100_000).encode(), "application/json"),
        (json.dumps({"a": 1}).encode(), "application/json; charset=none-such"),
    ):
        assert plain.generic("POST", address, body, content_type=kind).status_code < 500, (address, kind)


def test_too_many_files_are_told(plain):
    from django.core.files.uploadedfile import SimpleUploadedFile

    files = [SimpleUploadedFile(f"{n}.jpg", b"x") for n in range(limits.FORM_FILES + 1)]

    assert plain.post("/rounds/home/", {"file": files}).status_code in (400, 413, 422)


@pytest.mark.parametrize(
    "address", ["/", "/map/", "/cameras/", "/review/", "/questions/what-comes", "/reports/", "/rounds/"]
)
@pytest.mark.parametrize(
    "query",
    [
        "days=" + "9" * 6000, "month=" + "9" * 6000, "from=" + "9" * 6000, "&".join(f"site={n}" for n in range(4900)),
        "species=" + "x" * 30_000, "next=" + "/" * 20_000, "from=0000-00-00&to=9999-99-99", "%ff%fe=%c3%28",
    ],
)  # fmt: skip
def test_long_and_odd_questions_in_an_address_are_no_fault(plain, address, query):
    assert plain.get(f"{address}?{query}").status_code < 500


@pytest.mark.parametrize("token", ["x", "x" * 20_000, "\x00", "é" * 500])
def test_notes_handed_in_with_a_wrong_token_or_a_deep_body_are_told(plain, token):
    shown = {"X-Trod-Field-Form": token.encode("utf-8").decode("latin-1")}
    for body in (b"[" * 200_000, b'{"a":' * 50_000, b"\xff" * 1000, b""):
        answer = plain.post("/fieldform/visits/", body, content_type="application/json", headers=shown)
        assert 400 <= answer.status_code < 500


@pytest.mark.parametrize("cookie", ["x" * 4000, "\x7f" * 50, "metric\x00"])
def test_odd_cookies_open_the_page_all_the_same(plain, cookie):
    for name in ("sessionid", "csrftoken", "theme", "units", "came-in", "messages"):
        plain.cookies[name] = cookie
    assert plain.get("/").status_code == 200
    assert plain.get("/people/login/").status_code == 200

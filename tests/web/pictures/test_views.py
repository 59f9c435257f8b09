"""Pictures on their way to the browser: what is served, what is hidden, what may be kept."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import sequenced
from PIL import Image

from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.models import Picture, Sequence, Suggestion
from trod.web.pictures import cache

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    made = sequenced.ground()
    sequenced.sequence(made, 0, root=home.archive_root(), size=(400, 300))
    sequenced.sequence(made, 1, root=home.archive_root(), size=(400, 300), ending="html")
    return made


def first(sequence: Sequence) -> Picture:
    return sequence.pictures.order_by("taken_at").first()


def url(picture: Picture, kind: str = "view", query: str = "") -> str:
    return f"/pictures/{picture.sha256}/{kind}{query}"


def body(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def say(sequence: Sequence, *lines: Line) -> None:
    identifications.say(sequence, lines, by="Ilka Marwood", at=NOON)


@pytest.mark.parametrize(("kind", "wide"), [("thumb", 320), ("view", 400)])
def test_thumbnail_and_view_are_made_when_they_are_missing(
    client: Any, ground: sequenced.Ground, kind: str, wide: int
) -> None:
    picture = first(ground.sequences[0])
    made = cache.place(kind, picture.sha256)
    assert not made.exists()

    answer = client.get(url(picture, kind))

    data = body(answer)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert made.read_bytes() == data
    with Image.open(made) as image:
        assert image.width == wide


def test_the_original_is_what_the_camera_wrote(client: Any, ground: sequenced.Ground) -> None:
    picture = first(ground.sequences[0])
    answer = client.get(url(picture, "original"))
    assert body(answer) == (home.archive_root() / picture.path).read_bytes()
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Content-Disposition"] == 'inline; filename="INVE000000.JPG"'


def test_a_file_that_calls_itself_a_page_is_only_handed_over_as_a_file(client: Any, ground: sequenced.Ground) -> None:
    answer = client.get(url(first(ground.sequences[1]), "original"))
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment")
    assert "sandbox" in answer["Content-Security-Policy"]


def test_a_picture_that_was_looked_at_may_be_kept_for_a_year(client: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    picture = first(sequence)
    assert client.get(url(picture))["Cache-Control"] == "private, no-cache"

    say(sequence, Line(what="animal", species="jay"))

    answer = client.get(url(picture))
    assert answer["Cache-Control"] == "private, max-age=31536000, immutable"
    again = client.get(url(picture), headers={"If-None-Match": answer["ETag"]})
    assert (again.status_code, body(again), again["ETag"]) == (304, b"", answer["ETag"])


@pytest.mark.parametrize("kind", ["thumb", "view", "original"])
def test_people_are_hidden_until_somebody_chooses_to_see_them(client: Any, ground: sequenced.Ground, kind: str) -> None:
    sequence = ground.sequences[0]
    picture = first(sequence)
    seen = client.get(url(picture, kind))
    say(sequence, Line(what="human"))

    for query in ("", "?shown=1"):
        answer = client.get(url(picture, kind, query), headers={"If-None-Match": seen["ETag"]})
        assert answer.status_code == 200
        assert b"A person or vehicle: hidden" in answer.content
        assert answer["Cache-Control"] == "no-store"
        assert "ETag" not in answer

    client.post("/pictures/people/", {"show": "1", "back": "/review/"})
    shown = client.get(url(picture, kind, "?shown=1"))
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Cache-Control"] == "private, no-cache"
    assert b"A person or vehicle: hidden" in client.get(url(picture, kind)).content

    client.post("/pictures/people/", {"show": "0"})
    assert b"A person or vehicle: hidden" in client.get(url(picture, kind, "?shown=1")).content


def test_a_suggestion_of_a_person_hides_until_somebody_has_looked(client: Any, ground: sequenced.Ground) -> None:
    sequence = ground.sequences[0]
    one, other = sequence.pictures.order_by("taken_at")[:2]
    Suggestion.objects.create(picture=other, what="human", score=0.6, by="test", at=NOON)
    assert b"A person or vehicle: hidden" in client.get(url(one)).content

    say(sequence, Line(what="animal", species="jay"))
    assert client.get(url(one))["Content-Type"] == "image/jpeg"


def test_the_way_back_after_choosing_stays_in_the_house(client: Any, ground: sequenced.Ground) -> None:
    assert client.post("/pictures/people/", {"show": "1", "back": "https://elsewhere.example/"}).url == "/"
    assert client.post("/pictures/people/", {"show": "1", "back": "/review/1"}).url == "/review/1"


@pytest.mark.parametrize(
    ("asked", "status", "piece", "told"),
    [
        ("bytes=0-9", 206, slice(0, 10), "bytes 0-9/{n}"),
        ("bytes=100-", 206, slice(100, None), "bytes 100-{last}/{n}"),
        ("bytes=-7", 206, slice(-7, None), "bytes {minus7}-{last}/{n}"),
        ("bytes=5-99999999", 206, slice(5, None), "bytes 5-{last}/{n}"),
        ("bytes=-99999999", 206, slice(0, None), "bytes 0-{last}/{n}"),
        ("bytes=99999999-", 416, None, "bytes */{n}"),
        ("bytes=9-3", 416, None, "bytes */{n}"),
        ("bytes=-0", 416, None, "bytes */{n}"),
        ("bytes=0-1,4-5", 200, slice(None), None),
        ("bytes=-", 200, slice(None), None),
        ("lines=1-2", 200, slice(None), None),
    ],
)
def test_a_range_of_a_clip_can_be_asked_for(
    client: Any, ground: sequenced.Ground, asked: str, status: int, piece: slice | None, told: str | None
) -> None:
    """Single ranges as RFC 9110, section 14, has them; several at once are answered with the whole."""
    picture = first(ground.sequences[0])
    data = (home.archive_root() / picture.path).read_bytes()
    n = len(data)

    answer = client.get(url(picture, "original"), headers={"Range": asked})

    assert answer.status_code == status
    if told:
        assert answer["Content-Range"] == told.format(n=n, last=n - 1, minus7=n - 7)
    if piece:
        assert body(answer) == data[piece]
        assert answer["Content-Length"] == str(len(data[piece]))
        assert answer["Accept-Ranges"] == "bytes"


def test_a_range_of_another_file_is_answered_with_the_whole(client: Any, ground: sequenced.Ground) -> None:
    picture = first(ground.sequences[0])
    answer = client.get(url(picture, "original"), headers={"Range": "bytes=0-4", "If-Range": '"other"'})
    assert answer.status_code == 200


@pytest.mark.parametrize("path", ["../secret-key", "/etc/hostname", "a/../../secret-key", "link.jpg", "bad\0name", "."])
def test_no_path_of_the_catalogue_leads_out_of_the_archive(client: Any, ground: sequenced.Ground, path: str) -> None:
    root = home.archive_root()
    (root.parent / "secret-key").write_text("secret")
    (root / "link.jpg").symlink_to(root.parent / "secret-key")
    assert cache.original(path) is None
    if "\0" not in path:
        picture = first(ground.sequences[0])
        Picture.objects.filter(pk=picture.pk).update(path=path)
        answer = client.get(url(picture, "original"))
        assert answer.status_code == 404
        assert b"trod verify" in answer.content


def test_a_spoilt_picture_is_shown_as_such(client: Any, ground: sequenced.Ground) -> None:
    picture = first(ground.sequences[0])
    (home.archive_root() / picture.path).write_bytes(b"no picture at all")
    answer = client.get(url(picture))
    assert b"No picture to be seen" in answer.content
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", [f"{'0' * 64}/view", "x/view", f"{'A' * 64}/view", f"{'0' * 64}/secret", ""])
def test_an_unknown_picture_is_not_found(client: Any, ground: sequenced.Ground, path: str) -> None:
    assert client.get(f"/pictures/{path}").status_code == 404


def test_a_picture_takes_one_question_to_the_database(
    client: Any, ground: sequenced.Ground, django_assert_num_queries: Any
) -> None:
    picture = first(ground.sequences[0])
    client.get(url(picture))
    with django_assert_num_queries(1):
        client.get(url(picture))


def test_pictures_demand_an_account_when_the_house_does(client: Any, ground: sequenced.Ground, settings: Any) -> None:
    settings.TROD_OPEN_ON_LOOPBACK = False
    assert client.get(url(first(ground.sequences[0]))).status_code == 302

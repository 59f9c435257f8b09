"""The Cards pages: from a card in the reader to a verdict, and who may look where."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pulled
import pytest
from django.test import Client

import trod.catalogue.work.handlers  # noqa: F401  (registers the kinds of work)
from trod.archive import disk
from trod.catalogue import home, jobs
from trod.catalogue.identifications import identifications
from trod.catalogue.models import Deployment, Import, Job, Picture, Sequence, Visit
from trod.web.cards import pages

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)
NASTY = '<b>x</b> & "q" \' {{ 7 }} %41 é ☃'


@pytest.fixture
def client() -> Client:
    return Client()


def text(answer: Any) -> str:
    assert answer.status_code == 200, answer
    return answer.content.decode()


def begin(client: Client, card: pulled.Pulled, deployment: str, **more: str) -> Any:
    return client.post(
        "/cards/begin/",
        {"path": str(card.folder), "deployment": deployment, "read_back": "1", **more},
        follow=True,
    )


def test_an_empty_house_says_what_to_do(small: Any, client: Client) -> None:
    page = text(client.get("/cards/"))
    assert "Nothing has been imported yet." in page
    assert "No backup is known of." in page


def test_from_the_reader_to_safe_to_format(small: Any, client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    card = small.card()
    card.bursts(pulled.days(4))
    monkeypatch.setenv("TROD_CARD_ROOTS", str(card.folder))
    assert "ESK-01-A" in text(client.get("/cards/"))

    proposal = text(client.get("/cards/from/", {"path": str(card.folder)}))
    assert "From Alder Track, camera ESK 01." in proposal
    assert "bear its camera&#x27;s serial, INV-001" in proposal
    assert 'value="alder-track-2026" checked' in proposal
    assert Import.objects.count() == 0, "looking changes nothing"

    page = text(begin(client, card, "alder-track-2026"))
    assert "waiting its turn" in page and "Safe to format" not in page
    job = jobs.work_once("worker")
    assert job is not None and job.state == "done"
    page = text(client.get(f"/cards/import/{Import.objects.get().name}/"))
    assert "Safe to format, in the camera." in page
    assert "All 12 files of the card are in the archive: 12 new, 0 kept before." in page
    assert "4 sequences nobody has looked at yet" in page
    assert "Nothing that Trod can see." in page
    assert "verified" in text(client.get("/cards/"))


def test_the_bar_stops_asking_when_the_work_is_at_an_end(small: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    begin(client, card, "alder-track-2026")
    bar = f"/cards/work/{Job.objects.get().pk}/bar/"
    assert 'hx-trigger="every 1s"' in text(client.get(bar))
    jobs.work_once("worker")
    answer = client.get(bar)
    assert answer.headers["HX-Refresh"] == "true" and "hx-trigger" not in text(answer)


def test_an_card_import_is_paused_and_goes_on_from_the_page(small: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    begin(client, card, "alder-track-2026")
    job = Job.objects.get()
    page = text(client.post(f"/cards/work/{job.pk}/pause/", follow=True))
    assert "paused; what is done is kept" in page and "Go on" in page
    assert jobs.work_once("worker") is None
    client.post(f"/cards/work/{job.pk}/resume/")
    assert jobs.work_once("worker").state == "done"


def test_an_unknown_camera_and_site_are_made_from_the_page(small: Any, client: Client) -> None:
    card = small.card(serial="NEW-7")
    card.bursts(pulled.days(2))
    page = text(begin(client, card, "new", camera="NEW-7", site="Heron Pool"))
    assert "Made the site Heron Pool" in page and "Made the camera NEW-7." in page
    assert jobs.work_once("worker").state == "done"
    assert Deployment.objects.get(camera__serial="NEW-7").site.name == "Heron Pool"


def test_a_camera_that_stands_elsewhere_is_refused_in_words(small: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    page = text(begin(client, card, "new", camera="INV-001", site="Grey Lick"))
    assert "INV-001, which stands at Alder Track" in page and "end its other deployment first" in page
    assert Import.objects.count() == 0


def test_what_nobody_knows_is_put_aside_and_placed_later(small: Any, client: Client) -> None:
    card = small.card(serial="")
    card.bursts(pulled.days(2))
    begin(client, card, "unplaced")
    jobs.work_once("worker")
    row = Import.objects.get()
    assert "A card nobody has placed" in text(client.get(f"/cards/import/{row.name}/"))
    assert "1 unplaced" in text(client.get("/cards/"))
    client.post(f"/cards/import/{row.name}/place/", {"deployment": "grey-lick-2026"})
    assert jobs.work_once("worker").state == "done"
    assert "Card from Grey Lick" in text(client.get(f"/cards/import/{row.name}/"))


def test_a_card_at_the_wrong_site_is_moved_on_the_page_and_back(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(4))
    row = take(card.folder, small.alder)
    identifications.say(
        Sequence.objects.first(), [identifications.Line(what="animal", species="red-fox")], by="Ilka", at=NOON
    )
    address = f"/cards/import/{row.name}/"
    page = text(client.get(address))
    assert "12 pictures, 4 sequences and 1 identification move along." in page
    client.post(f"{address}place/", {"deployment": "grey-lick-2026"})
    page = text(client.get(address))
    assert "waiting its turn" in page
    assert jobs.work_once("worker").state == "done"
    page = text(client.get(address))
    assert "Card from Grey Lick" in page and "Moved from Alder Track to Grey Lick" in page
    assert Sequence.objects.exclude(identification=None).get().deployment == small.lick
    client.post(f"{address}place/", {"back": "1"})
    assert jobs.work_once("worker").state == "done"
    page = text(client.get(address))
    assert "Card from Alder Track" in page and "Moved from Grey Lick to Alder Track" in page
    client.post(f"{address}place/", {"deployment": "unplaced"})
    assert jobs.work_once("worker").state == "done"
    page = text(client.get(address))
    assert "A card nobody has placed" in page and "Moved from Alder Track to unplaced" in page
    client.post(f"{address}place/", {"back": "1"})
    assert jobs.work_once("worker").state == "done"
    assert "1 identification move along" in text(client.get(address))
    assert "It lies there already." in text(
        client.post(f"{address}place/", {"deployment": "alder-track-2026"}, follow=True)
    )
    assert client.post(f"{address}place/", {"deployment": "nowhere"}).status_code == 404


def test_a_clock_that_was_ahead_is_put_right_by_one_button(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    row = take(card.folder, small.alder)
    at = datetime(2026, 5, 10, 9, tzinfo=UTC)
    Visit.objects.create(
        site=small.alder.site,
        deployment=small.alder,
        at=at,
        by="Suri",
        clock_shown=at + timedelta(hours=2),
        clock_true=at,
    )
    page = text(client.get(f"/cards/import/{row.name}/"))
    assert "The clock was 1 h fast." in page
    to = page.partition('name="to" value="')[2].partition('"')[0]
    page = text(client.post(f"/cards/import/{row.name}/clock/", {"to": to}, follow=True))
    assert "Corrected. The clock was 1 h fast." in page and "Correct these times" not in page
    assert Picture.objects.order_by("file_order").first().taken_at == datetime(2026, 5, 1, 4, tzinfo=UTC)


def test_a_clock_that_went_back_is_shown_beside_the_pictures(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts([*pulled.days(2), *pulled.days(2, datetime(2023, 1, 1))])
    row = take(card.folder, small.alder)
    page = text(client.get(f"/cards/import/{row.name}/"))
    assert "The clock fell back to a factory date" in page or "cannot be from then" in page
    assert "The clock went back from 2026-05-02 06:00" in page, "among the notes"
    assert "The clock was right" in page, "what a person may say of it"


def test_damage_another_cameras_files_and_a_false_run_are_shown(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    files = card.bursts(pulled.days(6))
    files[0].write_bytes(b"")
    files[1].write_bytes(files[1].read_bytes()[:-30])
    card.shoot(datetime(2024, 1, 1), serial="STRANGER-9")
    for k in range(60):
        card.shoot(datetime(2026, 5, 9, 13) + timedelta(seconds=40 * k))
    row = take(card.folder, small.alder)
    page = text(client.get(f"/cards/import/{row.name}/"))
    assert "holds no bytes at all" in page and "the end of the picture is missing" in page
    assert "STRANGER-9" in page
    assert "60 pictures between" in page and "Perhaps wind" in page


def test_a_herd_that_comes_every_day_is_no_false_run() -> None:
    hours = [pages.Hour(24 * k, 40, 0, 86400.0 * k, 86400.0 * k + 900, 3, 3) for k in range(9)]
    assert pages.false_runs(hours, None) == []


def test_hours_side_by_side_are_one_false_run_and_far_ones_two() -> None:
    quiet = [pages.Hour(24 * k, 3, 3, 86400.0 * k, 86400.0 * k + 9, 1, 1) for k in range(9)]
    false_running = [pages.Hour(n, 60, 0, 3600.0 * n, 3600.0 * n + 3500, 9, 9) for n in (300, 301, 400)]
    found = pages.false_runs([*quiet, *false_running], None)
    assert [(false_run.pictures, false_run.daylight) for false_run in found] == [(120, True), (60, True)]


def test_a_card_with_a_lost_file_is_not_to_be_formatted(
    small: Any, take: Any, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    honest = disk.open_source

    def failing(path: Path) -> int:
        if path.name == "LANT0003.JPG":
            raise OSError(5, "Input/output error")
        return honest(path)

    monkeypatch.setattr(disk, "open_source", failing)
    row = take(card.folder, small.alder)
    page = text(client.get(f"/cards/import/{row.name}/"))
    assert "Do not format this card." in page and "Safe to format" not in page
    assert "1 file could not be read (DCIM/100TARNB/LANT0003.JPG)" in page
    assert "Import the card again, or copy what is left by hand." in page
    assert "The damaged files may go" not in page
    assert "do not format" in text(client.get("/cards/"))


def test_damaged_files_may_go_when_a_person_says_so_and_that_can_be_taken_back(
    small: Any, take: Any, client: Client
) -> None:
    card = small.card()
    files = card.bursts(pulled.days(2))
    files[1].write_bytes(files[1].read_bytes()[:-30])
    row = take(card.folder, small.alder)
    address = f"/cards/import/{row.name}/"
    page = text(client.get(address))
    assert "Do not format this card." in page
    assert "1 file breaks off before its end (DCIM/100TARNB/LANT0002.JPG)" in page
    assert "more of it can perhaps be recovered from the card" in page
    page = text(client.post(f"{address}accept/", {"what": "accept"}, follow=True))
    assert "Safe to format, in the camera." in page and "that the damaged files may go." in page
    assert "do not format" not in text(client.get("/cards/"))
    page = text(client.post(f"{address}accept/", {"what": "take-back"}, follow=True))
    assert "Do not format this card." in page
    assert client.get(f"{address}accept/").status_code == 405


def test_a_known_card_is_not_called_unplaced(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    take(card.folder, small.alder)
    row = take(card.folder)
    page = text(client.get(f"/cards/import/{row.name}/"))
    assert "A card that was known already" in page
    assert "nobody has placed" not in page and "Where does it come from?" not in page
    assert "unplaced" not in text(client.get("/cards/"))


def test_every_file_is_shown_a_leaf_at_a_time(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(25))
    row = take(card.folder, small.alder)
    page = text(client.get(f"/cards/import/{row.name}/", {"page": "2"}))
    assert "Leaf 2 of 2" in page and "LANT0075.JPG" in page and 'alt="LANT0075.JPG' not in page


# Names that mean harm


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_hostile_names_are_shown_and_break_no_page(small: Any, client: Client, tmp_path: Path) -> None:
    folder = tmp_path / "".join(c for c in NASTY if c != "/")
    card = pulled.Pulled(folder)
    files = card.bursts(pulled.days(2))
    (files[0].parent / "<img src=x onerror=alert(1)>.jpg").write_bytes(pulled.jpeg("n", pulled.FIRST))
    for address in (f"/cards/folder/?path={quote(str(tmp_path))}", f"/cards/from/?path={quote(str(folder))}"):
        page = text(client.get(address))
        assert "<b>x</b>" not in page and "{{ 7 }}" in page and "☃" in page
    page = text(begin(client, card, "alder-track-2026"))
    jobs.work_once("worker")
    row = Import.objects.get()
    page = text(client.get(f"/cards/import/{row.name}/", {"page": "1"}))
    assert "<img src=x" not in page and "<b>x</b>" not in page
    assert row.name.isascii()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_a_folder_whose_name_is_no_text_is_counted_and_not_linked(small: Any, client: Client, tmp_path: Path) -> None:
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/bad\xff")).mkdir()
    assert "1 folder with a name that is no text is not shown" in text(
        client.get("/cards/folder/", {"path": str(tmp_path)})
    )


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("", "Give the whole path"), ("DCIM", "Give the whole path"), ("../../etc", "Give the whole path"),
        ("\0", "Give the whole path"), ("/no/such/folder", "is not a folder that can be read"),
        ("/dev/null", "is not a folder that can be read"),
    ],
)  # fmt: skip
def test_a_path_that_is_no_folder_is_refused_in_words(small: Any, client: Client, path: str, words: str) -> None:
    assert words in text(client.get("/cards/from/", {"path": path}, follow=True))


def test_a_pasted_path_may_stand_in_quotes(small: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(1))
    assert "From Alder Track" in text(client.get("/cards/from/", {"path": f'  "{card.folder}" '}))


def test_the_archive_itself_is_no_card(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(1))
    take(card.folder, small.alder)
    for place in (home.archive_root() / "alder-track", home.home()):
        page = text(client.get("/cards/from/", {"path": str(place)}, follow=True))
        assert "neither in nor around the archive itself" in page


# Who may


def test_folders_are_shown_only_to_whoever_sits_at_the_machine(
    small: Any, client: Client, settings: Any, django_user_model: Any, tmp_path: Path
) -> None:
    settings.TROD_OPEN_ON_LOOPBACK = False
    client.force_login(django_user_model.objects.create_user("ilka", password="a-long-password"))
    card = small.card()
    card.bursts(pulled.days(1))
    far = {"REMOTE_ADDR": "192.0.2.7"}
    assert "Look through folders" not in text(client.get("/cards/", **far))
    assert "only from the machine itself" in text(client.get("/cards/folder/", {"path": "/"}, follow=True, **far))
    said = {"path": str(card.folder), "deployment": "unplaced"}
    for call in (
        client.get("/cards/from/", said, follow=True, **far),
        client.post("/cards/begin/", said, follow=True, **far),
    ):
        assert "From another machine only a plugged-in card can be imported." in text(call)
    text(client.post("/cards/work/backup/", {"to": str(tmp_path / "b")}, follow=True, **far))
    assert Import.objects.count() == 0 and Job.objects.count() == 0


def test_a_stranger_from_elsewhere_sees_nothing(small: Any, client: Client, settings: Any) -> None:
    settings.TROD_OPEN_ON_LOOPBACK = False
    for address in ("/cards/", "/cards/folder/?path=/", "/cards/from/?path=/", "/cards/work/1/"):
        assert client.get(address).status_code == 302


@pytest.mark.parametrize("address", ["/cards/begin/", "/cards/work/verify/", "/cards/work/backup/"])
def test_what_changes_things_is_never_a_plain_link(small: Any, client: Client, address: str) -> None:
    assert client.get(address).status_code == 405


def test_another_sites_form_is_refused(small: Any) -> None:
    assert Client(enforce_csrf_checks=True).post("/cards/work/verify/").status_code == 403


# Verify and back up


def test_verify_from_the_page_tells_what_is_missing(small: Any, take: Any, client: Client) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    take(card.folder, small.alder)
    (home.archive_root() / Picture.objects.first().path).unlink()
    client.post("/cards/work/verify/")
    jobs.work_once("worker")
    page = text(client.get(f"/cards/work/{Job.objects.get().pk}/"))
    assert "1 missing, 0 changed" in page and "missing. Look for it in your backup." in page


def test_a_backup_from_the_page_is_remembered(small: Any, take: Any, client: Client, tmp_path: Path) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    row = take(card.folder, small.alder, now=datetime.now(UTC) - timedelta(hours=1))
    assert "back it up" in text(client.get(f"/cards/import/{row.name}/"))
    client.post("/cards/work/backup/", {"to": str(tmp_path / "second disk")})
    assert jobs.work_once("worker").state == "done"
    assert "Last whole backup" in text(client.get("/cards/"))
    assert "back it up" not in text(client.get(f"/cards/import/{row.name}/"))


# Many


def test_the_number_of_queries_does_not_grow_with_the_catalogue(
    small: Any, take: Any, client: Client, django_assert_max_num_queries: Any
) -> None:
    for k in range(3):
        card = small.card(f"card {k}", number=1 + 100 * k)
        card.bursts(pulled.days(2, pulled.FIRST + timedelta(days=3 * k)))
        row = take(card.folder, small.alder, now=NOON + timedelta(minutes=k))
    identifications.say(Sequence.objects.first(), [identifications.Line(what="blank")], by="Ilka", at=NOON)
    with django_assert_max_num_queries(16):
        client.get("/cards/")
    with django_assert_max_num_queries(30):
        client.get(f"/cards/import/{row.name}/?page=1")

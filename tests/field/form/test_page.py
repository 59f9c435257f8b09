"""The field form in a browser without network: noted, closed, killed, opened again, brought home."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from trod.field.form import KnownVisit, field_form_html, merge, read_field_form

pytestmark = pytest.mark.browser
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@dataclass
class Phone:
    """A browser with its own data folder, cut off from the network."""

    context: Any
    asked: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def open(self, file: Path, at: str = "") -> Any:
        page = self.context.new_page()
        page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: self.complaints.append(f"fault: {error}"))
        page.goto(file.as_uri() + at)
        page.wait_for_selector("html[data-ready]")
        return page


@pytest.fixture(scope="module")
def play() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        yield started


@pytest.fixture
def phone(play: Any, chromium: str, tmp_path: Path) -> Iterator[Callable[..., Phone]]:
    """phone() opens the browser on its folder; phone.context.close() closes it, phone() opens it again."""
    opened: list[Any] = []

    def start(*, offline: bool = True, init: str = "", name: str = "phone", **more: Any) -> Phone:
        context = play.chromium.launch_persistent_context(
            str(tmp_path / name),
            executable_path=chromium,
            args=ARGS,
            viewport={"width": 360, "height": 740},
            accept_downloads=True,
            timezone_id="Europe/Vienna",
            **more,
        )
        opened.append(context)
        context.set_offline(offline)
        if init:
            context.add_init_script(init)
        made = Phone(context)
        context.on("request", lambda request: made.asked.append(request.url))
        return made

    yield start
    for context in opened:
        context.close()


@pytest.fixture
def field_form_file(made: Any, tmp_path: Path) -> Path:
    file = tmp_path / "west side.html"
    file.write_text(field_form_html(made.field_form()), "utf-8")
    return file


def snapshot(tmp_path: Path, size: tuple[int, int] = (3000, 2000)) -> Path:
    """A picture as a phone takes it, with a place in its EXIF that must not travel."""
    from PIL import ExifTags

    picture = Image.linear_gradient("L").resize(size).convert("RGB")
    exif = Image.Exif()
    exif[ExifTags.Base.GPSInfo] = {1: "N", 2: (54.0, 6.0, 36.0)}
    file = tmp_path / "snapshot.jpg"
    picture.save(file, "JPEG", exif=exif)
    return file


def until(page: Any, told: str) -> None:
    """Wait for a condition in the page. Playwright's own waiting needs eval, which the page's policy forbids."""
    for _ in range(150):
        if page.evaluate(told):
            return
        time.sleep(0.1)
    raise AssertionError(f"never came true: {told}")


def kept(page: Any) -> None:
    """Wait until the page says that what was noted is on the phone."""
    until(page, "[...document.querySelectorAll('[data-saved]')].every(p => p.textContent.startsWith('Kept'))")


def export(page: Any, tmp_path: Path) -> tuple[str, str]:
    """(file name, its text)."""
    page.click("#go-home")
    with page.expect_download() as waiting:
        page.click("#make-file")
    target = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(target)
    return target.name, target.read_text("utf-8")


def note_a_visit(page: Any, tmp_path: Path) -> None:
    page.click("text=Alder Ford")
    page.click("#stop-1 [data-do=visited]")
    visit = page.locator("#stop-1 .visit")
    visit.get_by_role("button", name="Tom Fell").click()
    visit.get_by_label("moved or knocked").check()
    visit.get_by_label("Theft or damage").check()
    visit.get_by_label("What is missing or broken?").fill("Strap cut.")
    visit.get_by_label("Left, in percent").fill("37,5")
    visit.get_by_label("Batteries changed").check()
    visit.get_by_label("What went in").fill("8 × FR6")
    visit.get_by_role("button", name="Card C01 came out").click()
    visit.get_by_label("Card in").fill("C12")
    visit.get_by_label("The camera’s day").fill("2026-10-17")
    visit.get_by_label("Its time, with seconds").fill("10.33.12")
    visit.get_by_role("button", name="It shows this now").click()
    visit.get_by_text("Show this phone’s clock, big").click()
    page.click("#clock-done")
    visit.get_by_text("Set otherwise than before").click()
    visit.get_by_label("Tilt below level").fill("-6.5")
    visit.get_by_label("Sensitivity").select_option("high")
    visit.get_by_text("Walk test").click()
    for distance, picture in (("4", "yes"), ("9", "no")):
        visit.get_by_text("Add a pass").click()
        last = visit.locator("[data-list=passes] > li").last
        last.get_by_label("Distance").fill(distance)
        last.get_by_label("Which way").select_option("away")
        last.get_by_label(picture, exact=True).check()
    visit.get_by_label("Work done").fill("Set the strap anew <b>&</b> tight.")
    visit.locator("[data-photo]").first.set_input_files(snapshot(tmp_path))
    visit.locator("[data-list=photos] img").wait_for()
    kept(page)


def test_a_visit_noted_without_network_survives_closing_and_comes_home_once(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path, made: Any
) -> None:
    first = phone()
    page = first.open(field_form_file)
    note_a_visit(page, tmp_path)
    page.click("#go-next")
    page.click("#stop-2 [data-do=not-visited]")
    page.get_by_role("button", name="No way through").locator("visible=true").click()
    kept(page)
    page.close()
    first.context.close()

    second = phone()
    page = second.open(field_form_file)

    assert page.locator("#stop-2").is_visible()  # where one was
    page.click("#go-before")
    visit = page.locator("#stop-1 .visit")
    assert visit.get_by_label("moved or knocked").is_checked()
    assert visit.get_by_label("What is missing or broken?").input_value() == "Strap cut."
    assert visit.get_by_label("Left, in percent").input_value() == "37.5"
    assert visit.locator("[data-list=passes] > li").count() == 2
    assert visit.locator("[data-list=photos] img").evaluate("i => i.decode().then(() => i.naturalWidth)") == 1600

    name, text = export(page, tmp_path)

    assert re.fullmatch(r"trod-visits-2026-10-17-west-side-[0-9a-f]{4}-\d{6}\.json", name)
    came = read_field_form(text)
    assert came.field_form_id == made.field_form_id
    there, not_there = came.visits
    assert (there.outcome, not_there.outcome, not_there.why_not) == ("visited", "not visited", "No way through")
    assert (there.site, there.deployment, there.by) == ("alder-ford", "alder-ford-2026a", "Tom Fell")
    assert (there.arrival, there.harm, there.harm_note) == ("knocked", True, "Strap cut.")
    assert (there.battery_percent, there.batteries_changed, there.batteries) == (37.5, True, "8 × FR6")
    assert (there.card_out, there.card_in) == ("C01", "C12")
    assert there.clock_shown == datetime(2026, 10, 17, 10, 33, 12)
    assert there.clock_true_at and abs(there.clock_true_at - datetime.now(UTC)) < timedelta(minutes=5)
    assert there.clock_photographed_at is not None
    assert (there.changes.tilt_deg, there.changes.sensitivity, there.changes.height_m) == (-6.5, "high", None)
    assert [(p.distance_m, p.way, p.picture) for p in there.walk_passes] == [(4, "away", "yes"), (9, "away", "no")]
    assert there.work == "Set the strap anew <b>&</b> tight."
    (photo,) = there.photos
    assert (photo.width, photo.height) == (1600, 1067)
    assert not Image.open(io.BytesIO(photo.jpeg)).getexif()  # the phone's place does not travel in the photo

    imported = merge([], came.visits)
    assert len(imported.new) == 2 and imported.conflicts == ()
    again = merge([KnownVisit(visit=v) for v in imported.new], read_field_form(export(page, tmp_path)[1]).visits)
    assert len(again.same) == 2 and (again.new, again.changed, again.conflicts) == ((), (), ())

    page.click("#go-stops")
    assert "put into a file" in page.locator("[data-state='1']").inner_text()
    assert {url.split(":")[0] for url in first.asked} >= {"file", "blob"}  # the watching does see what is asked
    assert [url for url in first.asked + second.asked if not url.startswith(("file:", "data:", "blob:"))] == []
    assert first.complaints + second.complaints == []


def test_what_is_noted_after_an_export_comes_as_a_change(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    page = phone().open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)
    first = read_field_form(export(page, tmp_path)[1])
    page.click("#go-stops")
    page.click("text=Alder Ford")
    page.locator("#stop-1").get_by_label("Notes").fill("A sett above.")
    kept(page)
    assert "changed since" in page.locator("#stop-1 [data-saved]").inner_text()

    second = read_field_form(export(page, tmp_path)[1])

    merged = merge([KnownVisit(visit=first.visits[0])], second.visits)
    assert [new.note for _, new in merged.changed] == ["A sett above."] and merged.new == ()


def test_a_killed_browser_loses_nothing_that_the_page_called_kept(
    play: Any, chromium: str, field_form_file: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "killed"

    def start() -> tuple[subprocess.Popen[bytes], Any]:
        port = folder / "DevToolsActivePort"
        port.unlink(missing_ok=True)
        process = subprocess.Popen(
            [chromium, *ARGS, "--headless=new", "--remote-debugging-port=0", f"--user-data-dir={folder}"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        for _ in range(300):
            if port.exists() and port.read_text().count("\n"):
                break
            time.sleep(0.1)
        browser = play.chromium.connect_over_cdp(f"http://127.0.0.1:{port.read_text().split()[0]}")
        page = browser.contexts[0].new_page()
        page.goto(field_form_file.as_uri() + "#stop-1")
        page.wait_for_selector("html[data-ready]")
        return process, page

    process, page = start()
    try:
        page.click("#stop-1 [data-do=visited]")
        page.locator("#stop-1").get_by_label("Notes").press_sequentially("Otter tracks below the ford.")
        kept(page)
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
    for lock in folder.glob("Singleton*"):
        lock.unlink()

    process, page = start()
    try:
        assert page.locator("#stop-1").get_by_label("Notes").input_value() == "Otter tracks below the ford."
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def test_field_forms_side_by_side_do_not_mix(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path, made: Any
) -> None:
    other = tmp_path / "other.html"
    other.write_text(field_form_html(made.field_form(field_form_id="0f7a3c4e-8a55-4d58-9b0a-3c1d2e4f5a6c")), "utf-8")
    one = phone()
    page = one.open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)

    beside = one.open(other)

    assert beside.locator("#progress").inner_text() == "Noted at 0 of 3 stops."
    assert beside.locator(".visit").count() == 0


def test_a_field_form_open_twice_shows_what_the_other_page_kept(
    phone: Callable[..., Phone], field_form_file: Path
) -> None:
    one = phone()
    left = one.open(field_form_file, "#stop-1")
    left.click("#stop-1 [data-do=visited]")
    kept(left)
    right = one.open(field_form_file, "#stop-1")
    right.locator("#stop-1").get_by_label("Notes").fill("Written on the right.")
    kept(right)

    left.locator("#stop-1").get_by_label("Work done").fill("Written on the left.")

    left.wait_for_selector("#trouble:not([hidden])")
    assert "open in two pages" in left.locator("#trouble").inner_text()
    assert left.locator("#stop-1").get_by_label("Notes").input_value() == "Written on the right."


NO_DATABASE = "Object.defineProperty(window, 'indexedDB', {value: {open() { throw new Error('closed') }}});"
NO_STORE = NO_DATABASE + "Object.defineProperty(window, 'localStorage', {get() { throw new Error('private') }});"


def test_without_a_database_the_small_store_keeps_the_notes(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    first = phone(init=NO_DATABASE)
    page = first.open(field_form_file, "#stop-1")
    assert "small store" in page.locator("#trouble").inner_text()
    page.click("#stop-1 [data-do=visited]")
    page.locator("#stop-1").get_by_label("Notes").fill("Kept all the same.")
    page.locator("#stop-1 [data-photo]").first.set_input_files(snapshot(tmp_path, (400, 300)))
    page.locator("#stop-1 [data-list=photos] img").wait_for()
    kept(page)
    first.context.close()

    page = phone(init=NO_DATABASE).open(field_form_file)

    assert page.locator("#stop-1").get_by_label("Notes").input_value() == "Kept all the same."
    assert len(read_field_form(export(page, tmp_path)[1]).visits[0].photos) == 1


def test_where_nothing_can_be_kept_the_page_says_so_and_warns_before_it_closes(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    page = phone(init=NO_STORE).open(field_form_file, "#stop-1")
    assert page.locator("#trouble").inner_text().startswith("This browser keeps nothing here")
    page.click("#stop-1 [data-do=visited]")
    assert page.locator("#stop-1 [data-saved]").inner_text().startswith("NOT kept on this phone")
    page.locator("#stop-1").get_by_label("Notes").fill("Only in memory.")
    assert read_field_form(export(page, tmp_path)[1]).visits[0].note == "Only in memory."

    with page.expect_event("dialog") as waiting:
        page.close(run_before_unload=True)

    assert waiting.value.type == "beforeunload"
    waiting.value.accept()


def test_a_write_that_fails_is_told_tried_again_and_still_exported(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    page = phone().open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)
    page.evaluate(
        "() => { window.put = IDBObjectStore.prototype.put; IDBObjectStore.prototype.put = function (value) {"
        " if (this.name === 'visits') throw new DOMException('disk full', 'QuotaExceededError');"
        " return window.put.call(this, value) } }"
    )
    page.locator("#stop-1").get_by_label("Notes").fill("No room for this.")
    page.wait_for_selector("#stop-1 [data-saved].clay")
    assert page.locator("#stop-1 [data-saved]").inner_text().startswith("NOT kept: ")

    rescued = read_field_form(export(page, tmp_path)[1]).visits[0]
    assert rescued.note == "No room for this."
    page.evaluate("() => { IDBObjectStore.prototype.put = window.put }")
    until(page, "document.querySelector('#stop-1 [data-saved]').textContent.startsWith('Kept')")

    later = read_field_form(export(page, tmp_path)[1]).visits[0]
    assert later.note == "No room for this." and later.revision > rescued.revision


def test_clearing_asks_twice_and_says_what_would_be_lost(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    one = phone()
    page = one.open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)
    page.click("#go-home")
    page.click("#clear-1")
    assert "1 of them has not been brought home" in page.locator("#clear-words").inner_text()
    page.click("#clear-yes")
    assert page.locator(".visit").count() == 1
    assert page.locator("#clear-words").inner_text() == (
        "Asked for the second time: there is no way back. 1 visit will be lost for good."
    )
    page.click("#clear-no")
    assert page.locator(".visit").count() == 1

    page.click("#clear-1")
    page.click("#clear-yes")
    page.click("#clear-yes")

    until(page, "document.getElementById('clear-said').textContent === 'Cleared.'")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert page.locator(".visit").count() == 0


def test_a_struck_visit_stays_in_the_file_and_counts_for_nothing(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    page = phone().open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    page.get_by_role("button", name="Withdraw this visit").click()
    kept(page)

    (visit,) = read_field_form(export(page, tmp_path)[1]).visits

    assert visit.withdrawn and not visit.stands
    assert page.locator("#progress").text_content() == "Noted at 0 of 3 stops."


def test_a_number_that_is_none_is_said_kept_and_left_out_of_the_file(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    page = phone().open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    batteries = page.locator("#stop-1").get_by_label("Left, in percent")
    batteries.fill("about half")
    assert batteries.get_attribute("aria-invalid") == "true"
    fault = page.locator("#stop-1 [data-fault=battery_percent]").inner_text()
    assert fault.endswith("Not taken yet: needs a number from 0 to 100.")
    kept(page)
    page.reload()
    page.wait_for_selector("html[data-ready]")

    assert page.locator("#stop-1").get_by_label("Left, in percent").input_value() == "about half"
    assert read_field_form(export(page, tmp_path)[1]).visits[0].battery_percent is None
    assert "1 number not understood, left out" in page.locator("#home-list").inner_text()


def test_feet_on_the_page_are_metres_in_the_file(phone: Callable[..., Phone], tmp_path: Path, made: Any) -> None:
    file = tmp_path / "feet.html"
    file.write_text(field_form_html(made.field_form(system="us")), "utf-8")
    page = phone().open(file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    page.get_by_text("Set otherwise than before").locator("visible=true").click()
    page.locator("#stop-1").get_by_label("Height (ft)").fill("10")
    kept(page)

    assert read_field_form(export(page, tmp_path)[1]).visits[0].changes.height_m == pytest.approx(3.048)


def test_the_clock_to_be_photographed_shows_this_second_in_utc_and_local_time(
    phone: Callable[..., Phone], field_form_file: Path
) -> None:
    page = phone().open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    page.get_by_text("Show this phone’s clock, big").locator("visible=true").click()
    before = datetime.now(UTC)
    utc, local, day = (page.locator(f"#clock-{name}").inner_text() for name in ("utc", "local", "day"))
    after = datetime.now(UTC)

    seconds = [before - timedelta(seconds=1) + timedelta(seconds=n) for n in range((after - before).seconds + 3)]
    vienna = ZoneInfo("Europe/Vienna")
    assert utc in [f"{second:%H:%M:%S}" for second in seconds]
    assert local in [f"{second.astimezone(vienna):%H:%M:%S}" for second in seconds]
    offset = vienna.utcoffset(before.replace(tzinfo=None))
    assert offset and f"UTC+{offset.seconds // 3600}:00" in day
    wide = page.evaluate("document.getElementById('clock-local').scrollWidth")
    assert 250 < wide <= 360


def test_the_difference_to_the_camera_s_clock_is_told_by_the_offset_it_was_set_to(
    phone: Callable[..., Phone], field_form_file: Path
) -> None:
    """The camera keeps UTC+1 and is typed two minutes and some ahead of it."""
    page = phone().open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    shown = datetime.now(UTC) + timedelta(hours=1, minutes=2, seconds=30)
    page.locator("#stop-1 [data-clock=day]").fill(f"{shown:%Y-%m-%d}")
    page.locator("#stop-1 [data-clock=time]").fill(f"{shown:%H%M%S}")
    page.get_by_role("button", name="It shows this now").locator("visible=true").click()

    words = page.locator("#stop-1 [data-said=clock]").inner_text()

    assert re.search(r"The camera is 2 min (2\d|30|31) s ahead, if it is meant to keep UTC\+1:00\.", words), words


def test_the_phone_s_place_is_asked_for_only_when_the_person_presses(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path
) -> None:
    asked = (
        "window.asked = 0; navigator.geolocation.getCurrentPosition = (yes) => { window.asked += 1;"
        " yes({coords: {latitude: 54.11, longitude: -2.3, accuracy: 6}}) };"
    )
    page = phone(init=asked).open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)
    assert page.evaluate("window.asked") == 0

    page.get_by_role("button", name="Note where this phone is").locator("visible=true").click()
    kept(page)

    place = read_field_form(export(page, tmp_path)[1]).visits[0].place
    assert place is not None and (place.latitude_deg, place.accuracy_m) == (54.11, 6)


def test_hostile_names_are_words_and_nothing_else(phone: Callable[..., Phone], tmp_path: Path, made: Any) -> None:
    evil = '</script><img src=x onerror="window.broken=1"><script>window.broken=1</script>${window.broken=1}'
    stop = made.stop(evil, site_slug="a", card=evil[:60], camera_name=evil, why=(evil,), setup_sheet=((evil, evil),))
    file = tmp_path / "evil.html"
    file.write_text(
        field_form_html(made.field_form(stop, reserve=evil, round_name=evil, people=(evil, "Ida"), cautions=(evil,))),
        "utf-8",
    )
    one = phone()
    page = one.open(file)
    page.click(".contents a")
    page.click("#stop-1 [data-do=visited]")
    page.locator("[data-people] button").first.click()
    page.locator("[data-do=card-out]").click()
    page.locator("#stop-1").get_by_label("Notes").fill(evil)
    kept(page)
    _, text = export(page, tmp_path)

    assert page.evaluate("window.broken") is None
    assert page.locator("#stop-1 h2").text_content() == "Stop 1 of 1" + evil
    assert page.locator("img").count() == 0
    assert read_field_form(text).visits[0].note == evil
    assert [url for url in one.asked if not url.startswith(("file:", "blob:"))] == [] and one.complaints == []


def test_the_night_page_is_a_press_away_and_stays(phone: Callable[..., Phone], field_form_file: Path) -> None:
    page = phone(color_scheme="light").open(field_form_file)
    page.click("#theme")
    until(page, "getComputedStyle(document.documentElement).backgroundColor === 'rgb(23, 20, 15)'")
    time.sleep(0.3)
    page.reload()
    page.wait_for_selector("html[data-ready]")

    assert page.evaluate("document.documentElement.dataset.theme") == "night"
    assert page.locator("#theme").inner_text() == "Day"


def test_a_tap_that_bounces_does_not_note_two_visits(phone: Callable[..., Phone], field_form_file: Path) -> None:
    page = phone().open(field_form_file, "#stop-1")
    page.dblclick("#stop-1 [data-do=visited]")
    kept(page)

    assert page.locator("#stop-1 .visit").count() == 1


# --- handing in over the truck's Wi-Fi -----------------------------------------------------------------


class Home(ThreadingHTTPServer):
    """Stands for `trod serve`: keeps to the contract of docs/fieldform.md, as far as the phone can see it."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Answer)
        self.known: dict[str, KnownVisit] = {}
        self.heard: list[tuple[str, str, str, dict[str, str]]] = []
        self.status = 200
        self.file = b""

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_port}"


class _Answer(BaseHTTPRequestHandler):
    server: Home

    def log_message(self, format: str, *args: Any) -> None:
        pass

    def _send(self, status: int, body: bytes, kind: str) -> None:
        self.send_response(status)
        self.send_header("Access-Control-Allow-Origin", self.headers.get("Origin", "*"))
        self.send_header("Access-Control-Allow-Headers", "content-type, x-trod-field-form")
        self.send_header("Access-Control-Allow-Methods", "POST")
        self.send_header("Access-Control-Allow-Private-Network", "true")
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_OPTIONS(self) -> None:
        self._send(204, b"", "text/plain")

    def do_GET(self) -> None:
        self._send(200 if self.server.file else 404, self.server.file, "text/html; charset=utf-8")

    def do_POST(self) -> None:
        text = self.rfile.read(int(self.headers["Content-Length"])).decode()
        self.server.heard.append(
            (self.path, self.headers.get("X-Trod-Field-Form", ""), self.headers.get("Origin", ""), dict(self.headers))
        )
        if self.server.status != 200:
            self._send(self.server.status, json.dumps({"error": "the round is closed"}).encode(), "application/json")
            return
        merged = merge(self.server.known.values(), read_field_form(text).visits)
        for visit in (*merged.new, *(new for _, new in merged.changed)):
            self.server.known[visit.uuid] = KnownVisit(visit=visit)
        said = {
            "accepted": [v.uuid for v in (*merged.new, *(new for _, new in merged.changed))],
            "already": [v.uuid for v in merged.same],
            "conflicts": [{"uuid": c.other.uuid, "words": c.words} for c in merged.conflicts],
        }
        self._send(200, json.dumps(said).encode(), "application/json")


@pytest.fixture
def home() -> Iterator[Home]:
    server = Home()
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


def hand_in(page: Any, home: Home) -> str:
    page.click("#go-home")
    page.fill("#address", home.address)
    page.click("#upload")
    until(page, "!document.getElementById('upload').disabled")
    return str(page.locator("#upload-said").inner_text())


def test_visits_are_handed_in_from_the_file_and_not_doubled(
    phone: Callable[..., Phone], field_form_file: Path, home: Home, tmp_path: Path
) -> None:
    page = phone(offline=False).open(field_form_file)
    note_a_visit(page, tmp_path)

    assert hand_in(page, home) == "1 visit handed in. Nothing was deleted here."
    assert page.locator("#upload-list li").inner_text().endswith(": accepted")
    hand_in(page, home)

    assert page.locator("#upload-list li").inner_text().endswith(": already there")
    assert len(home.known) == 1
    (known,) = home.known.values()
    assert known.visit.harm_note == "Strap cut." and len(known.visit.photos) == 1
    path, token, origin, headers = home.heard[0]
    assert (path, token, origin) == ("/rounds/fieldform/visits/", "a-token", "null")
    assert "Cookie" not in headers and "Referer" not in headers
    page.click("#go-stops")
    assert "handed in" in page.locator("[data-state='1']").inner_text()


def test_a_field_form_that_was_opened_from_trod_knows_its_way_home(
    phone: Callable[..., Phone], home: Home, made: Any, tmp_path: Path
) -> None:
    home.file = field_form_html(made.field_form()).encode()
    page = phone(offline=False).context.new_page()
    page.goto(home.address + "/field-form")
    page.wait_for_selector("html[data-ready]")
    page.click("text=Alder Ford")
    page.click("#stop-1 [data-do=visited]")
    kept(page)
    page.click("#go-home")

    assert page.locator("#address").input_value() == home.address
    page.click("#upload")
    until(page, "document.getElementById('upload-said').textContent.includes('1 visit handed in')")


def test_what_does_not_arrive_is_told_and_stays_on_the_phone(
    phone: Callable[..., Phone], field_form_file: Path, home: Home, tmp_path: Path, made: Any
) -> None:
    page = phone(offline=False).open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)

    home.status = 403
    assert "(403): the round is closed." in hand_in(page, home)
    home.status = 409
    assert "(409): the round is closed." in hand_in(page, home)
    home.status = 200
    address = home.address
    home.shutdown()
    home.server_close()
    assert hand_in(page, home).startswith(f"That did not work: Nothing answered at {address}/rounds/fieldform/visits/.")

    assert "not brought home" in page.locator("#home-count").inner_text()
    assert len(read_field_form(export(page, tmp_path)[1]).visits) == 1


def test_a_file_that_was_merely_made_is_not_called_home(
    phone: Callable[..., Phone], field_form_file: Path, home: Home, tmp_path: Path
) -> None:
    page = phone(offline=False).open(field_form_file, "#stop-1")
    page.click("#stop-1 [data-do=visited]")
    kept(page)
    export(page, tmp_path)
    said = "document.getElementById('home-count').textContent"
    until(page, f"{said} === '1 visit noted; 1 put into a file, which is home when somebody has read it in.'")
    page.click("#clear-1")
    assert "1 of them is then in the file alone" in page.locator("#clear-words").inner_text()
    page.click("#clear-no")
    hand_in(page, home)
    until(page, f"{said} === '1 visit noted; all handed in since their last change.'")
    page.evaluate("document.getElementById('file-said').textContent = ''")
    export(page, tmp_path)
    until(page, "document.getElementById('file-said').textContent.includes('put into')")
    assert page.evaluate(said) == "1 visit noted; all handed in since their last change.", "it still is"


def test_a_conflict_at_home_is_told_on_the_phone(
    phone: Callable[..., Phone], field_form_file: Path, home: Home, tmp_path: Path
) -> None:
    for name in ("one", "two"):
        page = phone(offline=False, name=name).open(field_form_file, "#stop-1")
        page.click("#stop-1 [data-do=visited]")
        kept(page)
        hand_in(page, home)

    assert "there, and waits for a decision" in page.locator("#upload-list li").inner_text()
    assert "Two phones noted a visit here" in page.locator("#upload-list li").inner_text()
    assert len(home.known) == 1


# --- for every hand and eye -----------------------------------------------------------------------------

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}


@pytest.mark.parametrize(("theme", "width"), [("light", 360), ("night", 360), ("light", 800)])
def test_no_barriers_for_anybody(
    phone: Callable[..., Phone], field_form_file: Path, tmp_path: Path, theme: str, width: int
) -> None:
    """axe-core with the rules of WCAG 2.2 A and AA; nothing wider than the screen, nothing too small for a glove."""
    from axe_playwright_python.sync_playwright import Axe

    one = phone(color_scheme="dark" if theme == "night" else "light")
    page = one.open(field_form_file)
    page.set_viewport_size({"width": width, "height": 740})

    def barriers(where: str) -> list[Any]:
        found = Axe().run(page, options=RULES).response["violations"]
        small = page.evaluate(
            "[...document.querySelectorAll('button, .button, .pick, .tick, select, textarea, summary, nav a,"
            " .contents a, input:not([type=radio], [type=checkbox], [type=file])')].filter(b => b.checkVisibility())"
            ".map(b => [b.outerHTML.slice(0, 80), b.getBoundingClientRect()])"
            ".filter(([, r]) => r.height < 44 || r.width < 44).map(([t]) => t)"
        )
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        return [(where, v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found] + small + [wide] * (wide > 0)

    assert barriers("stops") == []
    note_a_visit(page, tmp_path)
    page.locator("#stop-1").get_by_label("Height").fill("99")
    page.evaluate("document.querySelectorAll('#stop-1 details').forEach(d => { d.open = true })")
    assert barriers("stop") == []
    page.get_by_text("Show this phone’s clock, big").locator("visible=true").click()
    assert barriers("clock") == []
    page.click("#clock-close")
    page.click("#go-home")
    page.click("#clear-1")
    assert barriers("home") == []


def test_a_stop_can_be_noted_with_the_keyboard_alone(phone: Callable[..., Phone], field_form_file: Path) -> None:
    page = phone().open(field_form_file)
    page.locator(".contents a").first.focus()
    page.keyboard.press("Enter")
    until(page, "document.activeElement.id === 's1-h'")
    page.locator("#stop-1 [data-do=visited]").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#stop-1 .visit")
    for _ in range(30):
        if page.evaluate("document.activeElement.dataset.radio") == "arrival":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("ArrowUp")
    kept(page)

    assert page.locator("#stop-1").get_by_label("gone").is_checked()


def test_without_script_the_stops_can_still_be_read(play: Any, chromium: str, field_form_file: Path) -> None:
    browser = play.chromium.launch(executable_path=chromium, args=ARGS)
    page = browser.new_context(java_script_enabled=False, viewport={"width": 360, "height": 740}).new_page()
    page.goto(field_form_file.as_uri())

    assert page.get_by_text("cannot take notes").is_visible()
    assert page.locator("#stop-3 h2").is_visible() and not page.locator("#home").is_visible()
    browser.close()


def test_two_cameras_at_one_site_have_a_form_each(phone: Callable[..., Phone], tmp_path: Path, made: Any) -> None:
    two = (made.camera(), made.camera("by-the-gate", name="Gate 7", card="C02", utc_offset_min=120))
    file = tmp_path / "two.html"
    file.write_text(field_form_html(made.field_form(made.stop(cameras=two), made.stop("Barn Track"))), "utf-8")
    one = phone()
    page = one.open(file, "#stop-1")

    assert page.locator("#stop-1 .camera-h").all_inner_texts() == [
        "Alder 2 · alder-ford-2026a", "Gate 7 · by-the-gate-2026a"
    ]  # fmt: skip
    assert page.locator("#stop-2 .camera-h").count() == 0
    second = page.locator("#stop-1 [data-camera='2']")
    second.locator("[data-do=visited]").click()
    assert second.locator("[data-do=card-out]").inner_text() == "Card C02 came out"
    second.locator("[data-do=card-out]").click()
    kept(page)
    page.click("#go-stops")
    assert "Gate 7 visited" in page.locator("[data-state='1']").inner_text()
    assert "nothing noted yet: Alder 2" in page.locator("[data-state='1']").inner_text()
    assert page.locator("#progress").inner_text() == "Noted at 0 of 2 stops."
    page.click(".contents a >> nth=0")
    page.locator("#stop-1 [data-camera='1'] [data-do=not-visited]").click()
    kept(page)
    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert [page.locator(f"#stop-1 [data-camera='{k}'] .visit").count() for k in (1, 2)] == [1, 1]
    _, text = export(page, tmp_path)
    found = {v.deployment: v for v in read_field_form(text).visits}
    assert {slug: v.outcome for slug, v in found.items()} == {
        "alder-ford-2026a": "not visited", "by-the-gate-2026a": "visited"
    }  # fmt: skip
    assert found["by-the-gate-2026a"].card_out == "C02"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert one.complaints == []

"""A round planned by keyboard, carried on a phone without network, and brought home."""

from __future__ import annotations

import importlib.util
import json
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

FILL = """
from trod.catalogue.start import ready; ready()
from datetime import timedelta
from django.utils import timezone
from trod.catalogue import models as m
now = timezone.now()
r = m.Reserve.objects.create(name="Hollin", slug="hollin", latitude=47.3, longitude=13.9, zone="Europe/Vienna",
    base_latitude=47.295, base_longitude=13.895, boundary={"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"name": "lane", "drive": True}, "geometry": {"type": "LineString",
     "coordinates": [[13.895, 47.295], [13.9, 47.3], [13.91, 47.31]]}}]})
for n, (name, lat, lon) in enumerate((("Meadow", 47.3003, 13.9), ("Ford", 47.3103, 13.91), ("Hide", 47.3053, 13.905))):
    site = m.Site.objects.create(reserve=r, name=name, slug=name.lower(), latitude=lat, longitude=lon,
        access="Past the mill.", safety="Bog.", sensitive=name == "Hide")
    camera = m.Camera.objects.create(serial=f"S-{n}", name=f"Cam {n}")
    card = m.Card.objects.create(label=f"C-{n}", size_gb=32, state="out")
    m.Deployment.objects.create(slug=f"{name.lower()}-1", camera=camera, site=site, start=now - timedelta(days=150),
        utc_offset_min=60, height_m=1.0, card=card, batteries="8 × LR6")
from trod.catalogue.forecasts import forecasts
forecasts.make(r, now)
"""


@pytest.fixture(scope="module")
def reserve(open_house, tmp_path_factory):
    script = tmp_path_factory.mktemp("fill") / "fill.py"
    script.write_text(FILL, "utf-8")
    return open_house(script=script)


def plan(page, url):
    """Plan a round by keyboard alone; the page ends on the round."""
    page.goto(url + "rounds/")
    page.get_by_role("link", name="Plan a round").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    for name, value in (("name", "West side"), ("people", "Ada Holm, Ben Rask")):
        page.locator(f"[name={name}]").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type(value)
    page.locator("[name=which]").focus()
    page.keyboard.press("ArrowDown")  # as many as there is room for
    page.get_by_role("button", name="Plan", exact=True).focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")


def until(page, told):
    """Playwright's own waiting needs eval, which the field form's policy forbids."""
    for _ in range(150):
        if page.evaluate(told):
            return
        time.sleep(0.1)
    raise AssertionError(f"never came true: {told}")


def test_from_who_is_due_to_the_visit_at_home(reserve, visit, browser, tmp_path):
    seen = visit(reserve.url)
    page = seen.page
    plan(page, reserve.url)
    assert page.locator("h1").inner_text() == "West side"
    assert page.locator(".stop").count() == 3
    assert page.locator("#map .stopmark").count() >= 3
    at = page.url

    # An order of one's own, still by keyboard; the focus may go anywhere, the times are new.
    first = page.locator(".stop h3 a").first.inner_text()
    page.locator(".stop").first.locator("button[value=later]").focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator(".stop h3 a").nth(1).inner_text() == first
    assert "worked out anew" in page.locator("#messages").inner_text()

    with page.expect_download() as waiting:
        page.get_by_role("link", name="Field form for a phone").click()
    field_form = tmp_path / "field-form.html"
    waiting.value.save_as(field_form)

    phone = browser.new_context(viewport={"width": 360, "height": 740}, accept_downloads=True)
    phone.set_offline(True)
    wrong: list[str] = []
    there = phone.new_page()
    there.on("console", lambda m: wrong.append(m.text) if m.type in ("error", "warning") else None)
    there.on("pageerror", lambda error: wrong.append(str(error)))
    there.goto(field_form.as_uri() + "#stop-1")
    there.wait_for_selector("html[data-ready]")
    name = there.locator("#stop-1 h2").inner_text().split("\n")[-1]
    there.click("#stop-1 [data-do=visited]")
    box = there.locator("#stop-1 .visit")
    box.get_by_role("button", name="Ada Holm").click()
    box.get_by_label("no power").check()
    box.get_by_label("Batteries changed").check()
    box.get_by_label("What went in").fill("8 × FR6")
    until(there, "[...document.querySelectorAll('[data-saved]')].every(p => p.textContent.startsWith('Kept'))")
    there.close()  # the tab is closed and opened again, still without a network
    there = phone.new_page()
    there.on("console", lambda m: wrong.append(m.text) if m.type in ("error", "warning") else None)
    there.on("pageerror", lambda error: wrong.append(str(error)))
    there.goto(field_form.as_uri() + "#stop-1")
    there.wait_for_selector("html[data-ready]")
    box = there.locator("#stop-1 .visit")
    assert box.get_by_label("no power").is_checked()
    assert box.get_by_label("What went in").input_value() == "8 × FR6"
    there.click("#go-home")
    with there.expect_download() as waiting:
        there.click("#make-file")
    home = tmp_path / waiting.value.suggested_filename
    waiting.value.save_as(home)
    assert wrong == []
    phone.close()
    (noted,) = json.loads(home.read_text("utf-8"))["visits"]

    page.goto(reserve.url + "rounds/home/")
    page.set_input_files("[name=file]", str(home))
    with page.expect_navigation():
        page.get_by_role("button", name="Import it").click()
    assert "Visits: 1 new." in page.locator("main").inner_text()
    page.goto(reserve.url + f"cameras/deployments/of/{noted['deployment']}/")
    told = page.locator("main").inner_text()
    assert "Ada Holm" in told and "no power" in told, name
    page.goto(at)
    assert name in page.locator("#brought ~ *, section[aria-labelledby=brought]").last.inner_text()
    assert seen.foreign == []


@pytest.mark.parametrize(("width", "theme"), [(1280, "light"), (1280, "night"), (360, "light"), (360, "night")])
def test_a_round_can_be_used_by_all(reserve, visit, width, theme):
    found = importlib.util.find_spec("axe_playwright_python")
    assert found and found.origin
    axe = (Path(found.origin).parent / "axe.min.js").read_text("utf-8")
    page = visit(reserve.url, width=width, theme=theme).page
    plan(page, reserve.url)
    page.evaluate(axe)
    result = page.evaluate("rules => axe.run({runOnly: {type: 'tag', values: rules}})", RULES)

    assert [(v["id"], [n["html"][:160] for n in v["nodes"]][:3]) for v in result["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_click_on_the_map_sets_where_rounds_start(reserve, visit):
    page = visit(reserve.url + "rounds/start/").page
    box = page.locator("#map").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 3, box["y"] + box["height"] / 3)

    assert 47 < float(page.input_value("[name=base_latitude]")) < 48
    assert "Chosen" in page.locator("#chosen").inner_text()


def test_a_phone_hands_its_visit_in_over_the_wifi(reserve, visit, browser, tmp_path):
    page = visit(reserve.url).page
    plan(page, reserve.url)
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Field form for a phone").click()
    field_form = tmp_path / "field-form.html"
    waiting.value.save_as(field_form)
    phone = browser.new_context(viewport={"width": 360, "height": 740})
    there = phone.new_page()
    there.goto(field_form.as_uri() + "#stop-3")
    there.wait_for_selector("html[data-ready]")
    there.click("#stop-3 [data-do=visited]")
    there.locator("#stop-3 .visit").get_by_label("working").check()
    there.locator("#stop-3 .visit").get_by_label("Card out").fill("")
    until(there, "[...document.querySelectorAll('[data-saved]')].every(p => p.textContent.startsWith('Kept'))")
    there.click("#go-home")
    there.fill("#address", reserve.url.rstrip("/"))
    there.click("#upload")
    until(there, "document.getElementById('upload-said').innerText.includes('visit')")
    said = there.locator("#upload-said").inner_text()
    phone.close()
    assert "1 visit" in said, said

    with page.expect_navigation():
        page.reload()
    assert page.locator("section[aria-labelledby=brought] tbody tr").count() == 1
    assert "working" in page.locator("section[aria-labelledby=brought] tbody").inner_text()

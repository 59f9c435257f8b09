"""Every page in a real browser: wide and narrow, by day and night, without a complaint, usable by all.

Pages are taken from `pages.NAV` and from benchmarks/pages.py, so a page that is added there is covered here.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import pytest

from trod.web import pages

pytestmark = pytest.mark.browser
ROOT = Path(__file__).resolve().parents[3]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOKS = [(1280, "light"), (1280, "night"), (360, "light"), (360, "night")]

# The detail pages by the names that benchmarks/pages.py gives them.
DETAILS = (
    "a site",
    "a camera",
    "a deployment",
    "change a deployment",
    "how long it lasts",
    "correct a clock",
    "retrieve",
    "delete a deployment",
    "a visit",
    "record a visit",
    "new deployment",
    "new site",
    "a sign",
    "boundary and tracks",
    "camera models",
    "a camera model",
    "change a camera model",
    "what it really resolves",
    "new camera model",
    "which camera for what",
    "bring camera models",
    "settings of a site",
    "where next",
    "the placement planner",
    "ways side by side",
    "specification and field test",
    "hills around",
    "note a walk test",
    "which card is where",
    "a card's way",
    "maintenance",
    "locks and keys",
    "new lock",
    "theft and damage",
    "write an incident down",
    "how long batteries lasted",
    "batteries of a camera",
    "the stock",
    "new on the stock",
    "what a year costs",
    "bring a list",
    "plan a round",
    "bring notes home",
    "where rounds start",
    "cold nights",
    "species",
    "a species",
    "the reserve",
    "a sequence",
)
NAMES = [door.label for door in (*pages.NAV, *pages.FOOT)] + list(DETAILS)


@pytest.fixture(scope="session")
def addresses(house):
    """Page name to address, asked of the house's own catalogue in a process of its own."""
    code = (
        "import sys, json; sys.path.insert(0, 'benchmarks'); from trod.catalogue.start import ready; ready();"
        "import pages; print(json.dumps(dict(pages.addresses())))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env=house.env, cwd=ROOT, capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


@pytest.fixture(scope="session")
def axe():
    """The text of axe-core, to be run inside a page: the policy lets no script in by a tag."""
    found = importlib.util.find_spec("axe_playwright_python")
    assert found and found.origin
    return (Path(found.origin).parent / "axe.min.js").read_text("utf-8")


def violations(page, axe):
    page.evaluate(axe)
    found = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})",
        RULES,
    )
    return [
        f"{broken['id']}: {broken['help']}: {node['target']} {node.get('failureSummary', '')}"
        for broken in found["violations"]
        for node in broken["nodes"]
    ]


@pytest.mark.parametrize(("width", "theme"), LOOKS)
@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_sound_in_every_look(house, visit, addresses, axe, name, width, theme):
    seen = visit(house.url.rstrip("/") + addresses[name], width=width, theme=theme)
    page = seen.page

    assert page.status == 200
    assert seen.complaints == []
    assert seen.foreign == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width, "the page is wider than the window"
    assert page.evaluate("document.documentElement.dataset.theme") == theme
    # Rules look at colours (theme) and targets (width); two of the four looks show each of both.
    if (width, theme) in ((1280, "light"), (360, "night")):
        assert violations(page, axe) == []


@pytest.mark.parametrize("theme", ["light", "night"])
def test_an_empty_trod_is_sound_too(empty_house, visit, axe, theme):
    for path in ("", "map/", "cameras/", "people/settings/", "people/species/", "people/reserve/"):
        seen = visit(empty_house.url + path, width=360, theme=theme)
        assert (seen.page.status, seen.complaints, seen.foreign) == (200, [], [])
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= 360
        assert violations(seen.page, axe) == []


def test_every_open_menu_and_fold_is_sound(house, visit, addresses, axe):
    for name in ("Today", "Map", "a deployment", "new deployment"):
        page = visit(house.url.rstrip("/") + addresses[name], width=360).page
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert violations(page, axe) == []


@pytest.fixture(scope="session")
def empty_house(open_house):
    return open_house()


def test_from_nothing_to_a_standing_camera_by_keyboard_alone(open_house, visit):
    """The first five minutes of a new technician, without a mouse, on a phone's width."""
    own = open_house()
    page = visit(own.url, width=360).page

    def enter():
        with page.expect_navigation():
            page.keyboard.press("Enter")

    def follow(link):
        page.get_by_role("link", name=link).first.focus()
        enter()

    def typed(**fields):
        for name, value in fields.items():
            box = page.locator(f"[name={name}]")
            box.focus()
            if box.evaluate("one => one.tagName") == "SELECT":
                box.select_option(label=value)
            elif box.get_attribute("type") == "datetime-local":
                box.fill(value)
            else:
                page.keyboard.press("Control+A")
                page.keyboard.type(value)

    def keep():
        page.locator("button.act").focus()
        enter()

    follow("The reserve")
    typed(name="Hollin", latitude="47.3", longitude="13.9", zone="Europe/Vienna")
    keep()
    page.goto(own.url)
    follow("New site")
    typed(name="Ford", latitude="47.31", longitude="13.91")
    keep()
    page.goto(own.url)
    follow("New camera")
    typed(serial="R-1", name="Red")
    keep()
    page.goto(own.url)
    follow("New deployment")
    typed(camera="Red", site="Ford", start="2026-06-20T09:00")
    keep()

    assert page.locator("h1").inner_text() == "Red at Ford"
    page.goto(own.url)
    assert page.locator(".steps .done").count() == 4


def test_a_mistake_keeps_what_was_typed_and_leads_to_it(house, visit, addresses):
    page = visit(house.url.rstrip("/") + addresses["new site"]).page
    page.fill("[name=name]", "Nowhere")
    page.fill("[name=latitude]", "99")
    page.click("button.act")

    assert page.input_value("[name=name]") == "Nowhere"
    box = page.locator("[name=latitude]")
    assert box.get_attribute("aria-invalid") == "true"
    told = " ".join(page.locator(f"#{of}").inner_text() for of in box.get_attribute("aria-describedby").split())
    assert "90" in told


def test_the_map_stands_without_tiles_and_a_click_offers_a_site_there(house, visit):
    seen = visit(house.url + "map/")
    page = seen.page

    assert page.locator(".leaflet-marker-icon .mk.camera").count() >= 10
    assert page.locator("path.boundary").count() == 1
    assert page.locator(".leaflet-control-scale-line").first.inner_text()
    page.mouse.click(*(lambda box: (box["x"] + 60, box["y"] + box["height"] / 2))(page.locator("#map").bounding_box()))
    with page.expect_navigation():  # by key: while the map still slides below its popup, a press of the mouse may miss
        page.get_by_role("link", name="New site here").press("Enter")

    assert 47.2 < float(page.input_value("[name=latitude]")) < 47.4
    assert seen.foreign == []


def test_a_marker_is_reached_by_keyboard(house, visit):
    page = visit(house.url + "map/").page
    marker = page.locator(".leaflet-marker-icon[title='Stone Ford']")
    marker.focus()
    page.keyboard.press("Enter")

    assert page.locator(".leaflet-popup-content a").inner_text() == "Stone Ford"


def test_the_pointer_on_a_timeline_says_the_day_and_its_sequences(house, visit):
    page = visit(house.url).page
    strip = page.locator(".timelines .strip").first
    strip.scroll_into_view_if_needed()
    box = strip.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 10)
    told = page.locator("#told.seen").inner_text()

    assert told.startswith("Alder Track, ")
    assert told.endswith(("sequence", "sequences"))


def test_lists_and_forms_work_without_script(browser, house, addresses):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(house.url + "map/")

    assert page.locator(".sites li").count() == 12
    page.goto(house.url.rstrip("/") + addresses["record a visit"])
    assert page.locator("form.record [name=at]").input_value()
    context.close()


def test_the_pointer_beyond_today_says_the_chance_that_it_still_watches(house, visit, addresses):
    """What is foretold is worked out by the worker; here by a process of its own on the same folder."""
    code = (
        "from trod.catalogue.start import ready; ready();"
        "from django.utils import timezone; from trod.catalogue.models import Reserve;"
        "from trod.catalogue.forecasts import forecasts; forecasts.make(Reserve.objects.get(), timezone.now())"
    )
    subprocess.run([sys.executable, "-c", code], env=house.env, cwd=ROOT, check=True)
    page = visit(house.url).page
    strip = page.locator(".timelines .strip[data-ahead]").first
    strip.scroll_into_view_if_needed()
    box = strip.bounding_box()
    page.mouse.move(box["x"] + box["width"] - 4, box["y"] + 10)

    assert " watches with a chance of " in page.locator("#told.seen").inner_text()


def test_how_long_it_lasts_is_drawn_and_told_without_script_too(browser, house, visit, addresses):
    address = house.url.rstrip("/") + addresses["how long it lasts"]
    visit(address).page.close()  # asks the worker
    house.work()
    seen = visit(address)
    seen.page.wait_for_selector(".chart .on-screen svg")

    assert (seen.complaints, seen.foreign) == ([], [])
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    assert page.locator(".sentence").inner_text()
    assert page.locator("#rests").count() == 1
    page.fill("[name=batteries]", "12 FR6")
    page.locator("form:has([name=batteries]) button").click()
    asked = page.url
    page.get_by_role("button", name="Work it out").click()  # without script nobody else asks the worker
    house.work()
    page.goto(asked.partition("#")[0])
    assert "Set otherwise: 12 × FR6" in page.content()
    context.close()

"""Questions and Reports in a real browser."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser
KINDS = ("what-comes", "when", "change")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOKS = [(1280, "light"), (1280, "night"), (360, "light"), (360, "night")]


@pytest.fixture(scope="session")
def axe():
    found = importlib.util.find_spec("axe_playwright_python")
    assert found and found.origin
    return (Path(found.origin).parent / "axe.min.js").read_text("utf-8")


def violations(page, axe):
    page.evaluate(axe)
    found = page.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
    return [f"{one['id']}: {node['target']}" for one in found["violations"] for node in one["nodes"]]


def drawn(page):
    page.wait_for_selector(".chart .on-screen svg", timeout=20_000)
    return page.locator(".chart .on-screen svg")


@pytest.mark.parametrize(("width", "theme"), LOOKS)
@pytest.mark.parametrize("kind", KINDS)
def test_the_chart_is_drawn_within_the_window_and_without_a_complaint(house, visit, axe, kind, width, theme):
    seen = visit(f"{house.url}questions/{kind}", width=width, theme=theme)
    page = seen.page
    box = drawn(page).bounding_box()

    assert page.locator(".chart .on-screen svg path").count() > 5
    assert 200 < box["width"] <= width and box["x"] + box["width"] <= width
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".on-paper svg").is_hidden()
    assert seen.complaints == [] and seen.foreign == []
    assert violations(page, axe) == []


def test_the_chart_takes_the_colours_of_the_night_when_the_theme_changes(house, visit):
    seen = visit(f"{house.url}questions/change")
    drawn(seen.page)

    def inks():
        return set(
            seen.page.evaluate("[...document.querySelectorAll('.on-screen svg text')].map(t => t.getAttribute('fill'))")
        )

    by_day = inks()
    seen.page.evaluate("document.documentElement.dataset.theme = 'night'")
    seen.page.wait_for_function(
        "old => { const t = document.querySelector('.on-screen svg text');"
        " return t && !old.includes(t.getAttribute('fill')); }",
        arg=sorted(filter(None, by_day)),
    )

    assert not by_day & inks()
    assert seen.complaints == []


def test_the_filter_is_filled_in_and_asked_by_keyboard_alone(house, visit, axe):
    page = visit(f"{house.url}questions/what-comes", width=360).page
    page.locator("details.asked > summary").focus()
    page.keyboard.press("Enter")
    species = page.locator("details.choose > summary").first
    species.focus()
    page.keyboard.press("Enter")
    page.get_by_role("checkbox", name="Red fox").focus()
    page.keyboard.press("Space")
    assert species.inner_text().startswith("Red fox")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert violations(page, axe) == []
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Ask", exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/questions/what-comes?species=red-fox")

    assert page.locator(".sentence").inner_text().startswith("Red fox came by")


def test_a_number_opens_its_pictures_and_a_picture_its_sequence(house, visit, axe):
    seen = visit(f"{house.url}questions/what-comes")
    page = seen.page
    page.locator("table.numbers tbody tr").first.locator("td a").first.click()
    page.wait_for_load_state("networkidle")
    assert "detections in" in page.locator(".lead").inner_text()
    assert violations(page, axe) == []
    page.locator(".prints a").first.click()
    page.wait_for_load_state()

    assert "/review/" in page.url


# The light palette's ink; a page printed by night must not bring its pale letters to white paper.
PAPERS_INK = "rgb(29, 27, 22)"


def test_on_paper_the_chart_is_dark_on_white_even_at_night(house, visit):
    page = visit(f"{house.url}questions/change", theme="night").page
    drawn(page)
    page.wait_for_selector(".on-paper svg", state="attached")
    page.emulate_media(media="print")

    assert page.locator(".on-paper svg").is_visible()
    assert page.locator(".chart").is_hidden()
    assert page.evaluate("getComputedStyle(document.querySelector('.sentence')).color") == PAPERS_INK


@pytest.mark.parametrize(("width", "theme"), LOOKS)
def test_reports_and_pictures_are_sound_in_every_look(house, visit, axe, width, theme):
    sides = "from=2026-01-01&to=2026-06-30&against-from=2025-01-01&against-to=2025-06-30"
    for path in (
        "reports/",
        "questions/change/pictures",
        "questions/when?species=badger&from=2040-01-01",
        f"questions/compare?{sides}",
        "questions/first-last",
        "questions/side-by-side?each=season",
        "map/sites/of/stone-ford/year/2026/",
    ):
        seen = visit(house.url + path, width=width, theme=theme)
        assert seen.page.status == 200
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        assert seen.complaints == [] and seen.foreign == []
        assert violations(seen.page, axe) == []


def test_without_script_the_answer_stands_all_the_same(house, visit):
    page = visit(f"{house.url}questions/when", java_script_enabled=False).page

    assert page.locator(".sentence").inner_text()
    assert "the same numbers stand in the table below" in page.locator(".chart").inner_text()
    assert page.locator("table.numbers tbody tr").count() == 3


def test_a_report_is_ordered_made_and_thrown_away_in_the_browser(open_house, visit):
    own = open_house(600, worker=True)
    page = visit(f"{own.url}reports/").page
    page.get_by_role("button", name="Make the report").click()
    page.wait_for_selector(".made li", timeout=90_000)
    assert page.locator(".made li").count() == 1

    page.get_by_role("link", name="Throw away").click()
    page.get_by_role("button", name="Throw it away").click()
    page.wait_for_load_state()
    assert page.locator(".made li").count() == 0


def test_a_kept_question_is_found_again(open_house, visit, axe):
    own = open_house(600)
    page = visit(f"{own.url}questions/change", width=360).page
    page.get_by_label("Keep this question as").fill("Does it change?")
    page.get_by_role("button", name="Keep it with today's answer").click()
    page.wait_for_load_state()
    assert page.locator("h1").inner_text() == "Does it change?"
    assert violations(page, axe) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360

    page.goto(f"{own.url}questions/")
    page.get_by_role("link", name="Does it change?").click()
    page.on("dialog", lambda dialog: dialog.accept())
    page.get_by_role("button", name="Keep it no longer").click()
    page.wait_for_load_state()
    assert page.get_by_role("link", name="Does it change?").count() == 0

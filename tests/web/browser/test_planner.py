"""The placement planner in a real browser: live, by keyboard alone, without script, and on a phone by night."""

from __future__ import annotations

import importlib.util
import time
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]

# The keystroke-level model of S. K. Card, T. P. Moran & A. Newell (1980) Commun. ACM 23:396–410: a key of an
# average typist, and the mental step before a decision. Both values from memory.
KEY_S, MENTAL_S = 0.28, 1.35
THREE_MINUTES_S = 180.0
MOST_TABS = 60


@pytest.fixture(scope="module")
def own(open_house):
    """A Trod of its own, which these tests may change."""
    return open_house(60)


@pytest.fixture(scope="module")
def axe_text():
    found = importlib.util.find_spec("axe_playwright_python")
    assert found and found.origin
    return (Path(found.origin).parent / "axe.min.js").read_text("utf-8")


def violations(page, axe_text):
    page.evaluate(axe_text)
    found = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})", RULES
    )
    return [
        f"{broken['id']}: {node['target']} {node.get('failureSummary', '')}"
        for broken in found["violations"]
        for node in broken["nodes"]
    ]


def refined(page):
    """Wait until the closer answer to the newest question stands."""
    from playwright.sync_api import expect

    expect(page.locator("#planner:not(.closing) [data-part=chances]")).to_contain_text("Refined", timeout=30_000)


def said(page, words, *, no=False):
    """Wait until the sentence has these words, or has them no longer."""
    from playwright.sync_api import expect

    at = page.locator("[data-part=said]")
    if no:
        expect(at).not_to_contain_text(words, timeout=15_000)
    else:
        expect(at).to_contain_text(words, timeout=15_000)


def sentence(page):
    return page.locator("[data-part=said]").inner_text()


class Hand:
    """A person at the keyboard who has nothing else: counts keys and decisions, and the time that Trod takes."""

    def __init__(self, page):
        self.page, self.keys, self.steps, self.waited_s = page, 0, 0, 0.0

    def think(self):
        self.steps += 1

    def press(self, key):
        self.page.keyboard.press(key)
        self.keys += 1

    def type(self, text):
        self.page.keyboard.type(text)
        self.keys += len(text)

    def go(self):
        begun = time.monotonic()
        with self.page.expect_navigation(wait_until="load"):
            self.press("Enter")
        self.waited_s += time.monotonic() - begun

    def skip(self):
        """Past the way round, by the link that stands first; a page that opens at its middle needs none."""
        if self.page.url.endswith("#main"):
            return
        self.press("Tab")
        self.press("Enter")

    def tab_to(self, selector, *, key="Tab"):
        """Tab on until the focus shows on it; one decision."""
        self.think()
        for _ in range(MOST_TABS):
            self.press(key)
            if self.page.evaluate("s => document.activeElement.matches(s)", selector):
                return
        raise AssertionError(f"{selector} is not reached in {MOST_TABS} tabs")

    @property
    def human_s(self):
        return self.keys * KEY_S + self.steps * MENTAL_S + self.waited_s


def test_a_person_who_has_never_seen_it_reaches_a_setup_sheet_for_a_new_site_in_three_minutes(own, visit):
    """From Map: a new site, the placement planner, a bearing and an animal told, the way kept and chosen, the set-up
    sheet.
    """
    seen = visit(own.url + "map/")
    page, begun = seen.page, time.monotonic()
    hand = Hand(page)

    hand.skip()
    hand.tab_to("a[href$='/sites/new/']")
    hand.go()
    hand.skip()
    hand.tab_to("[name=name]")
    hand.type("Ash Bend")
    hand.tab_to("[name=latitude]")
    hand.press("Control+A")
    hand.type("47.3051")
    hand.tab_to("[name=longitude]")
    hand.press("Control+A")
    hand.type("13.9042")
    hand.think()
    hand.go()
    assert page.locator("h1").inner_text() == "Ash Bend"
    hand.skip()
    hand.tab_to("a[href$='/planner/']")
    hand.go()
    hand.skip()
    hand.tab_to("[name=animal]")
    before = sentence(page)
    hand.type("red d")  # a list opens at what is typed
    hand.tab_to("[name=path_bearing_deg]")
    hand.type("120")
    said(page, before, no=True)
    said(page, "true)")
    hand.think()  # reads the answer
    hand.tab_to("[name=name]", key="Shift+Tab")
    hand.type("low")
    hand.go()

    assert "/setup-sheets/" in page.url
    text = page.locator("main").inner_text()
    assert "Ash Bend" in text and "Red deer" in text and "Lens height" in text
    assert seen.complaints == [] and seen.foreign == []
    print(
        f"{hand.keys} keys, {hand.steps} decisions, {hand.waited_s:.1f} s of waiting: {hand.human_s:.0f} s at a "
        f"person's pace; {time.monotonic() - begun:.0f} s here"
    )
    assert hand.human_s < THREE_MINUTES_S
    assert time.monotonic() - begun < THREE_MINUTES_S


PLANNER = "map/sites/of/alder-track/planner/"


def test_a_slider_answers_without_leaving_the_page_and_is_refined_when_the_hand_rests(own, visit):
    seen = visit(own.url + PLANNER)
    page = seen.page
    page.evaluate("window.stayed = true")
    page.select_option("[name=feature]", "trail")
    slide = page.locator("input.slide[data-for=b-height_m]")
    slide.evaluate("one => { one.value = '1.5'; one.dispatchEvent(new Event('input', {bubbles: true})); }")
    said(page, "1.5 m up")
    refined(page)

    assert page.evaluate("window.stayed")
    assert page.input_value("[name=height_m]") == "1.5"
    assert "height_m=1.5" in page.url and "csrf" not in page.url
    assert "±" in page.locator("[data-part=paces]").inner_text()
    page.reload()
    assert page.input_value("[name=height_m]") == "1.5"
    assert seen.complaints == [] and seen.foreign == []


def test_only_the_newest_of_many_quick_moves_stands_in_the_end(own, visit):
    page = visit(own.url + PLANNER).page
    box = page.locator("[name=height_m]")
    for height in range(10, 40):
        box.evaluate(
            "(one, v) => { one.value = v; one.dispatchEvent(new Event('input', {bubbles: true})); }",
            f"{height / 10:.1f}",
        )
    refined(page)

    assert "about 3.9 m up" in sentence(page)
    assert "height_m=3.9" in page.url


def test_a_box_that_is_emptied_is_left_to_the_advice_again(own, visit):
    page = visit(own.url + PLANNER).page
    advised = page.get_attribute("[name=height_m]", "placeholder")
    page.fill("[name=height_m]", "2.5")
    said(page, "2.5 m up")
    page.get_by_role("button", name="Lens height (m): as advised").click()
    said(page, "2.5 m up", no=True)

    assert page.input_value("[name=height_m]") == ""
    assert page.get_attribute("[name=height_m]", "placeholder") == advised


def test_heading_and_angle_follow_each_other(own, visit):
    page = visit(own.url + PLANNER).page
    page.select_option("[name=feature]", "trail")
    page.fill("[name=path_bearing_deg]", "40")
    page.fill("[name=angle_deg]", "60")
    said(page, "about 60° to it")
    page.fill("[name=heading_deg]", "130")
    said(page, "about 90° to it")

    assert page.input_value("[name=angle_deg]") == ""
    assert page.get_attribute("[name=angle_deg]", "placeholder") == "90"


def test_a_wrong_box_is_marked_and_the_last_answer_stays(own, visit):
    page = visit(own.url + PLANNER).page
    before = sentence(page)
    page.fill("[name=height_m]", "99")
    page.wait_for_selector("[data-part=problems] [role=alert]")

    assert "Lens height: got 99" in page.locator("[data-part=problems]").inner_text()
    assert page.get_attribute("[name=height_m]", "aria-invalid") == "true"
    assert sentence(page) == before
    page.fill("[name=height_m]", "1")
    page.wait_for_selector("[data-part=problems] [role=alert]", state="detached")
    assert page.get_attribute("[name=height_m]", "aria-invalid") is None


def test_what_was_unfolded_stays_unfolded_while_answers_come(own, visit):
    page = visit(own.url + PLANNER).page
    refined(page)
    page.locator("details[data-key=a-tilt] summary").click()
    page.fill("[name=height_m]", "1.9")
    said(page, "1.9 m up")

    assert page.locator("details[data-key=a-tilt]").get_attribute("open") is not None


def test_when_trod_has_stopped_the_planner_says_so_and_forgets_nothing(own, visit):
    seen = visit(own.url + PLANNER)
    page = seen.page
    refined(page)
    page.context.set_offline(True)
    page.fill("[name=height_m]", "1.4")
    page.wait_for_selector("[data-part=problems] [role=alert]")

    assert "No answer came" in page.locator("[data-part=problems]").inner_text()
    assert page.input_value("[name=height_m]") == "1.4"
    page.context.set_offline(False)
    page.fill("[name=height_m]", "1.6")
    said(page, "1.6 m up")


def test_the_planner_works_without_script(own, browser):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(own.url + PLANNER)
    page.fill("[name=height_m]", "1.3")
    page.click("button.plainly >> nth=1")

    assert "about 1.3 m up" in page.locator("[data-part=said]").inner_text()
    assert page.locator("[data-part=sun] svg").count() == 1
    page.fill("[name=name]", "plainly")
    page.click("text=Keep it beside others")
    assert "“plainly” is kept" in page.locator("#messages").inner_text()
    context.close()


@pytest.mark.parametrize(("width", "theme"), [(1280, "light"), (360, "night")])
def test_the_planner_and_three_ways_beside_each_other_are_sound_with_all_unfolded(own, visit, axe_text, width, theme):
    planner = own.url + "map/sites/of/hay-stand/planner/"
    page = visit(planner, width=width, theme=theme).page
    for name in ("low", "middle", "high"):
        if page.locator("#over option").count() < 4:
            page.goto(planner)
            page.fill("[name=name]", name)
            page.click("text=Keep it beside others")
            page.wait_for_load_state()
    for address in ("", "beside/", "field/?empty=9&cut=20&whole=40", "walk-test/"):
        seen = visit(planner + address, width=width, theme=theme)
        if not address:
            refined(seen.page)
        seen.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width, address
        assert violations(seen.page, axe_text) == [], address
        assert seen.complaints == [] and seen.foreign == []

"""Camera models compared and measured, sites by season: what only a browser can show."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def test_a_comparison_comes_by_itself_and_is_kept_for_the_next_look(house, visit):
    seen = visit(house.url + "cameras/compare/?use=small", width=360, theme="night")
    page = seen.page
    page.wait_for_selector(".standing > li", timeout=60_000)

    number = page.locator(".ticks-many label").count()
    assert page.locator(".standing > li").count() == number > 1
    assert page.locator(".lead").inner_text().startswith("Small animals: the ")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert (seen.complaints, seen.foreign) == ([], [])

    page.reload()
    assert page.locator(".standing > li").count() == number  # at once, with no bar
    assert page.locator("progress").count() == 0


def test_a_comparison_works_without_script(browser, house):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(house.url + "cameras/compare/?use=herd")
    page.wait_for_selector(".standing > li", timeout=60_000)

    assert page.locator(".lead").inner_text().startswith("A herd at a feeding ground: the ")
    context.close()


def test_the_map_of_where_next_has_the_lists_numbers(house, visit):
    page = visit(house.url + "map/season/?month=6").page
    first = page.locator(".candidates h3 a").first.inner_text()

    assert page.locator(f".leaflet-marker-icon[title='{first}'] .ranked").inner_text() == "1"
    assert page.locator(".mk.ranked").count() >= 12
    page.get_by_role("link", name="December").click()
    assert "Sites in December" in page.locator("#candidates").inner_text()


def test_settings_are_asked_for_and_handed_over_by_keyboard_alone(house, visit):
    page = visit(house.url + "map/sites/of/alder-track/settings/", width=360).page
    page.locator("#id_aim").focus()
    page.locator("#id_aim").select_option(label="what they do")
    page.keyboard.press("Tab")
    with page.expect_navigation():
        page.locator("button.act").first.focus()
        page.keyboard.press("Enter")
    assert "Take clips of 15 s" in page.locator(".lead").inner_text()

    with page.expect_navigation():
        page.get_by_role("link", name="New deployment with these").focus()
        page.keyboard.press("Enter")
    assert page.locator("[name=mode]").input_value() == "clip"
    assert page.locator("[name=site] option:checked").inner_text() == "Alder Track"

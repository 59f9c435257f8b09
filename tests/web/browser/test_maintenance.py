"""Locks in a real browser: covered, shown when pressed for, covered again."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def test_a_locks_number_is_shown_in_its_line_and_covered_again(open_house, visit):
    house = open_house()
    page = visit(house.url + "cameras/maintenance/locks/new/", width=360).page
    page.fill("#id_label", "blue")
    page.fill("#id_new_combination", "4417")
    with page.expect_navigation():
        page.click("button.act")
    assert "4417" not in page.content()

    page.click("text=Show")
    page.wait_for_selector("text=4417")
    assert page.evaluate("document.activeElement.textContent") == "Cover again"
    assert page.url.endswith("/cameras/maintenance/locks/"), "no number in an address"
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Show")
    assert "4417" not in page.content()

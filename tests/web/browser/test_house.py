"""The running house itself."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def test_today_opens_in_a_browser_without_a_complaint(house, visit):
    seen = visit(house.url)

    assert seen.page.status == 200
    assert seen.page.title() == "Today · Trod"
    assert seen.complaints == []
    assert seen.foreign == []

"""A card goes in, in a real browser with a real worker beside the pages; also without script."""

from __future__ import annotations

import importlib.util
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pulled
import pytest

pytestmark = pytest.mark.browser
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
LOOKS = [(1280, "light"), (1280, "night"), (360, "light"), (360, "night")]


@pytest.fixture(scope="session")
def axe_text() -> str:
    """The text of axe-core, to be run inside a page: the policy lets no script in by a tag."""
    found = importlib.util.find_spec("axe_playwright_python")
    assert found and found.origin
    return (Path(found.origin).parent / "axe.min.js").read_text("utf-8")


@pytest.fixture(scope="session")
def card(tmp_path_factory: pytest.TempPathFactory) -> pulled.Pulled:
    """A card with a run of false triggers, a damaged file and another camera's."""
    made = pulled.Pulled(tmp_path_factory.mktemp("cards") / "ESK 01 é")
    files = made.bursts(pulled.days(12))
    files[1].write_bytes(files[1].read_bytes()[:-30])
    for k in range(60):
        made.shoot(datetime(2026, 5, 9, 13) + timedelta(seconds=40 * k))
    made.shoot(datetime(2024, 1, 1), serial="STRANGER-9")
    return made


@pytest.fixture(scope="session")
def taken(open_house: Any, card: pulled.Pulled, browser: Any) -> Any:
    """A house into which the card was taken through the pages. Gives the house and the import's address."""
    house = open_house(worker=True)
    page = browser.new_page()
    page.goto(f"{house.url}cards/from/?path={quote(str(card.folder))}")
    page.get_by_label("Site", exact=True).fill("Alder Track")
    page.get_by_role("button", name="Import it").click()
    page.wait_for_selector(".stages")
    seen_bar = page.locator("progress").count()
    page.wait_for_function("() => document.querySelector('.verdict') && !document.querySelector('.bar')", timeout=90_000)
    address = page.url
    page.close()
    return house, address, seen_bar


def test_the_live_page_ends_in_a_verdict_by_itself(taken: Any, visit: Any) -> None:
    _, address, seen_bar = taken
    page = visit(address).page
    assert seen_bar
    assert "Do not format this card." in page.locator(".verdict").inner_text()
    assert "1 file breaks off before its end" in page.locator(".verdict").inner_text()
    shown = page.locator("main").inner_text()
    assert "60 pictures between" in shown and "STRANGER-9" in shown and "the end of the picture is missing" in shown


@pytest.mark.parametrize(("width", "theme"), LOOKS)
@pytest.mark.parametrize("which", ["cards", "proposal", "folders", "card_import", "every file"])
def test_each_page_of_cards_fits_complains_of_nothing_and_can_be_used_by_all(
    taken: Any, card: pulled.Pulled, visit: Any, axe_text: str, which: str, width: int, theme: str
) -> None:
    house, card_import, _ = taken
    address = {
        "cards": f"{house.url}cards/",
        "proposal": f"{house.url}cards/from/?path={quote(str(card.folder))}",
        "folders": f"{house.url}cards/folder/?path={quote(str(card.folder.parent))}",
        "card_import": card_import,
        "every file": f"{card_import}?page=1",
    }[which]
    watched = visit(address, width=width, theme=theme)
    page = watched.page
    assert page.status == 200
    page.evaluate("document.querySelectorAll('main details').forEach(one => one.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= width, "it scrolls sideways"
    page.evaluate(axe_text)
    found = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})",
        RULES,
    )
    broken = [(v["id"], n["target"], n.get("failureSummary", "")) for v in found["violations"] for n in v["nodes"]]
    assert broken == []
    assert watched.complaints == [] and watched.foreign == []


def test_without_script_a_card_still_comes_in(open_house: Any, browser: Any, card: pulled.Pulled) -> None:
    house = open_house(worker=True)
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{house.url}cards/from/?path={quote(str(card.folder))}")
    page.locator("#site").fill("Alder Track")
    page.get_by_role("button", name="Import it").click()
    for _ in range(60):
        if "not format this card" in page.locator("main").inner_text() and not page.locator(".bar").count():
            break
        page.wait_for_timeout(500)
        page.get_by_role("link", name="Look again").click() if page.get_by_role(
            "link", name="Look again"
        ).count() else page.reload()
    assert "Do not format this card." in page.locator("main").inner_text()
    page.get_by_role("button", name="The damaged files may go").click()
    shown = page.locator("main").inner_text()
    assert "Safe to format, in the camera." in shown and "All 97 files of the card are in the archive" in shown
    page.get_by_role("button", name="Take that back").click()
    assert "Do not format this card." in page.locator("main").inner_text()
    context.close()

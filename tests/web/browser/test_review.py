"""The review in a real browser: by keys alone, by touch, with the house gone and back again."""

from __future__ import annotations

import contextlib
import json
import signal
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
SUPPORT = Path(__file__).resolve().parents[2] / "support"


@dataclass
class Stretch:
    """Some sequences of the module's house that only one test speaks about; they are counted from 1."""

    house: Any
    offset: int
    length: int

    def at(self, number: int) -> str:
        return f"{self.house.url}review/{self.offset + number}"

    def ask(self, question: str) -> list[Any]:
        database = sqlite3.connect(f"file:{self.house.home / 'catalogue.sqlite3'}?mode=ro", uri=True)
        try:
            return database.execute(question, (self.offset, self.offset + self.length)).fetchall()
        finally:
            database.close()


@pytest.fixture(scope="module")
def house_of_sequences(open_house: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A house with sequences whose small pictures are real files."""
    script = tmp_path_factory.mktemp("fill") / "fill.py"
    script.write_text(
        f"import sys\nsys.path.insert(0, {str(SUPPORT)!r})\n"
        "sys.argv = ['fill', '--sequences', '192', '--files', '--wide', '320']\n"
        "import sequenced\nsequenced.main()\n"
    )
    house = open_house(script=script)
    house.taken = 0
    yield house
    house.close()


@pytest.fixture
def looked(house_of_sequences: Any, request: pytest.FixtureRequest) -> Stretch:
    """Eight sequences that nobody has seen, or as many as the test's parameter says."""
    stretch = Stretch(house_of_sequences, house_of_sequences.taken, getattr(request, "param", 8))
    house_of_sequences.taken += stretch.length
    return stretch


def said(looked: Stretch) -> list[tuple[int, str, str, int, str, str]]:
    """(sequence, what, species, count, sex, life stage) of the words that stand, in the order of sequences."""
    rows = looked.ask(
        "SELECT e.id, s.what, coalesce(p.slug, ''), s.count, s.sex, s.life_stage FROM trod_sequence e"
        " JOIN trod_observation s ON s.identification_id = e.identification_id LEFT JOIN trod_species p ON p.id = s.species_id"  # noqa: E501
        " WHERE e.id > ? AND e.id <= ? ORDER BY e.start_at, e.id, s.id"
    )
    return [(sequence - looked.offset, *rest) for sequence, *rest in rows]


def marks(looked: Stretch) -> list[tuple[float, float]]:
    return looked.ask(
        "SELECT m.x, m.y FROM trod_mark m JOIN trod_picture p ON p.id = m.picture_id"
        " WHERE p.sequence_id > ? AND p.sequence_id <= ? ORDER BY m.id"
    )


def acts(looked: Stretch) -> list[dict[str, Any]]:
    """What the archive's files say of these sequences."""
    keys = {key for (key,) in looked.ask("SELECT key FROM trod_sequence WHERE id > ? AND id <= ?")}
    return [
        act
        for file in sorted((looked.house.home / "archive").rglob("identifications.jsonl"))
        for act in map(json.loads, file.read_text("utf-8").splitlines())
        if act["sequence"] in keys
    ]


def until(page: Any, expression: str, seconds: float = 15) -> None:
    """Wait for an expression. (Playwright's own waiting compiles strings, which our policy forbids.)"""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"never came true: {expression}"
        time.sleep(0.01)


EVENT = "document.getElementById('pane').dataset.sequence"


def seen(page: Any) -> str:
    """Wait until the sequence's picture was painted; its number."""
    until(page, f"{EVENT} === location.pathname.split('/').pop()")
    return page.evaluate(EVENT)


def key(page: Any, name: str, *, goes_on: bool = True) -> None:
    """Press a key; where it says something, wait until the next picture was painted."""
    before = page.evaluate(EVENT)
    page.keyboard.press(name)
    if goes_on:
        until(page, f"{EVENT} !== {before!r}")


def sent(page: Any) -> None:
    until(page, "JSON.parse(sessionStorage.getItem('trod-review-outbox') || '[]').length === 0")


def line(page: Any) -> str:
    return page.locator("#line").inner_text()


@pytest.mark.parametrize("looked", [24], indirect=True)
def test_twenty_sequences_by_keys_alone(looked: Stretch, visit: Callable[..., Any]) -> None:
    watched = visit(looked.at(1))
    page = watched.page
    seen(page)

    key(page, "d")  # 1: a red deer
    key(page, " ")  # 2: blank
    key(page, "3", goes_on=False)
    key(page, "r")  # 3: three roe deer
    key(page, "1", goes_on=False)
    key(page, "2", goes_on=False)
    key(page, "b")  # 4: twelve wild boar
    key(page, "p")  # 5: a person
    key(page, "v")  # 6: a vehicle
    key(page, "u")  # 7: unknown
    key(page, "Shift+F", goes_on=False)
    key(page, "Shift+A", goes_on=False)
    assert line(page) == "female, adult"
    key(page, "f")  # 8: a female adult fox
    key(page, '"')  # 9: the same again
    key(page, "&", goes_on=False)
    key(page, "2", goes_on=False)
    key(page, "d", goes_on=False)
    key(page, "h", goes_on=False)
    assert line(page) == "2 × Red deer, 1 × Brown hare and …"
    key(page, "Enter")  # 10: two kinds
    for name in (".", ".", "Shift+M", "ArrowRight", "ArrowRight", ".", "Shift+J", "ArrowDown", "."):
        key(page, name, goes_on=False)
    assert page.locator(".dot").count() == 3
    assert line(page) == "3 dots: of what?"
    key(page, "d")  # 11: three deer by dots: one male, and two young males
    key(page, ";", goes_on=False)
    page.keyboard.type("limps; was here before")
    key(page, "Enter", goes_on=False)
    key(page, "g")  # 12: a badger with a note
    key(page, "/", goes_on=False)
    page.keyboard.type("lepus")
    key(page, "Enter")  # 13: a hare, found by its other name
    key(page, "j")  # 14: a jay, which was wrong
    key(page, "Backspace")
    assert "Undone" in page.locator("#echo").inner_text()
    assert "1 × Jay" in page.locator("#echo").inner_text()
    key(page, "d")  # 14: a deer
    key(page, "Control+z")
    key(page, "Control+y")  # 14: a deer after all
    key(page, "7", goes_on=False)
    key(page, "Escape", goes_on=False)
    key(page, "d")  # 15: one deer: the seven was dropped
    key(page, "ArrowDown")  # 16 is skipped
    for _ in range(4):
        key(page, " ")  # 17 to 20
    sent(page)

    plain = ("unknown", "unknown")
    assert said(looked) == [
        (1, "animal", "red-deer", 1, *plain),
        (2, "blank", "", 1, *plain),
        (3, "animal", "roe-deer", 3, *plain),
        (4, "animal", "wild-boar", 12, *plain),
        (5, "human", "", 1, *plain),
        (6, "vehicle", "", 1, *plain),
        (7, "unknown", "", 1, *plain),
        (8, "animal", "red-fox", 1, "female", "adult"),
        (9, "animal", "red-fox", 1, "female", "adult"),
        (10, "animal", "red-deer", 2, *plain),
        (10, "animal", "brown-hare", 1, *plain),
        (11, "animal", "red-deer", 1, "male", "unknown"),
        (11, "animal", "red-deer", 2, "male", "juvenile"),
        (12, "animal", "badger", 1, *plain),
        (13, "animal", "brown-hare", 1, *plain),
        (14, "animal", "red-deer", 1, *plain),
        (15, "animal", "red-deer", 1, *plain),
        (17, "blank", "", 1, *plain),
        (18, "blank", "", 1, *plain),
        (19, "blank", "", 1, *plain),
        (20, "blank", "", 1, *plain),
    ]
    assert len(marks(looked)) == 3
    assert [a["note"] for a in acts(looked) if a.get("note")] == ["limps; was here before"]
    assert sum(a["act"] == "undo" for a in acts(looked)) == 2
    assert sum(a["act"] == "redo" for a in acts(looked)) == 1
    assert watched.complaints == [] and watched.foreign == []


def test_a_reload_comes_back_to_the_sequence_and_undo_still_works(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)
    key(page, "d")
    key(page, "f")
    sent(page)
    page.wait_for_url(looked.at(3))

    page.reload()
    assert seen(page) == str(looked.offset + 3)
    key(page, "Backspace")
    assert seen(page) == str(looked.offset + 2)
    key(page, "Backspace")
    sent(page)
    assert said(looked) == []

    page.goto(looked.house.url + "review/")
    page.get_by_role("link", name="Begin with the first").click()
    seen(page)


def test_words_are_kept_while_the_house_does_not_answer(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)
    looked.house.process.send_signal(signal.SIGSTOP)  # it neither answers nor refuses
    try:
        page.route("**/review/act", lambda route: route.abort())
        key(page, "d")
        key(page, "f")
        key(page, "j")
        key(page, "Backspace")
        key(page, "g")
        page.wait_for_selector("#needs p")
        told = page.locator("#needs").inner_text()
        assert "Trod does not answer. 5 acts are kept in this window and not yet in the archive" in told
    finally:
        looked.house.process.send_signal(signal.SIGCONT)
    assert said(looked) == []

    page.reload()  # the outbox outlives the page
    page.wait_for_selector("#needs p")
    assert seen(page) == str(looked.offset + 4)
    page.unroute("**/review/act")
    page.get_by_role("button", name="Try now").click()
    sent(page)

    assert [(sequence, species) for sequence, _, species, *_ in said(looked)] == [
        (1, "red-deer"),
        (2, "red-fox"),
        (3, "badger"),
    ]
    until(page, "document.getElementById('needs').children.length === 0")


def test_an_error_of_the_house_is_told_loudly_and_nothing_is_lost(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)
    page.route(
        "**/review/act",
        lambda route: route.fulfill(status=503, body='{"message": "No room left on the disk."}'),
    )
    key(page, "d")
    page.wait_for_selector("#needs p")
    assert "No room left on the disk. 1 act is kept" in page.locator("#needs").inner_text()
    page.unroute("**/review/act")
    page.get_by_role("button", name="Try now").click()
    sent(page)
    assert len(said(looked)) == 1


def test_anothers_word_said_meanwhile_is_shown_and_one_decides(looked: Stretch, visit: Callable[..., Any]) -> None:
    ilka = visit(looked.at(1)).page
    seen(ilka)
    tobin = visit(looked.house.url + "people/settings/").page
    tobin.fill("#person", "Tobin Achterfeld")
    tobin.get_by_role("button", name="Keep").first.click()
    tobin.goto(looked.at(1))
    seen(tobin)
    key(tobin, "g")
    sent(tobin)

    key(ilka, "d")
    key(ilka, "f")
    box = ilka.locator("#needs > div")
    box.wait_for()
    assert (
        "Tobin Achterfeld said “1 × Badger” just now. You say “1 × Red deer”, which is not written yet."
        in box.inner_text()
    )
    assert said(looked)[0][2] == "badger"
    ilka.get_by_role("button", name="Say mine all the same").click()
    sent(ilka)
    until(ilka, "document.getElementById('needs').children.length === 0")
    time.sleep(0.2)
    assert [species for _, _, species, *_ in said(looked)] == ["red-deer", "red-fox"]
    assert sum(a["act"] == "say" for a in acts(looked)) == 3  # Tobin's stays


def test_a_second_look_is_blind_and_then_told(looked: Stretch, visit: Callable[..., Any]) -> None:
    tobin = visit(looked.house.url + "people/settings/").page
    tobin.fill("#person", "Tobin Achterfeld")
    tobin.get_by_role("button", name="Keep").first.click()
    tobin.goto(looked.at(1))
    seen(tobin)
    key(tobin, "g")
    key(tobin, "f")
    sent(tobin)

    page = visit(looked.at(1) + "?which=second").page
    seen(page)
    assert "Badger" not in page.locator("#story").inner_text()
    assert "closed until you have given yours" in page.locator("#story").inner_text()
    key(page, "d")
    page.locator("#needs > div").wait_for()
    assert "you say “1 × Red deer”; Tobin Achterfeld said “1 × Badger”" in page.locator("#needs").inner_text()
    page.keyboard.press("f")
    until(page, "document.getElementById('echo').textContent.includes('said the same')")


def test_a_key_before_the_picture_says_nothing_by_itself(looked: Stretch, visit: Callable[..., Any]) -> None:
    """The key waits on the line; it is neither lost nor applied to a sequence that nobody has seen."""
    page = visit(looked.at(1)).page
    seen(page)
    held: list[Any] = []
    page.route("**/pictures/*/view", lambda route: held.append(route))
    page.goto(looked.at(5), wait_until="commit")
    page.wait_for_selector("#pane.waiting")
    page.keyboard.press("d")
    assert "Red deer? The key came before the picture." in line(page)
    page.keyboard.press("Enter")  # nothing yet: the picture is still not there
    assert said(looked) == []
    page.unroute("**/pictures/*/view")
    for route in held:
        with contextlib.suppress(Exception):  # those that were let go with the route itself
            route.continue_()
    assert seen(page) == str(looked.offset + 5)
    assert said(looked) == []
    key(page, "Enter")
    sent(page)
    assert [(sequence, species) for sequence, _, species, *_ in said(looked)] == [(5, "red-deer")]


def test_a_key_held_down_says_one_thing(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)
    page.keyboard.down("d")
    for _ in range(30):
        page.keyboard.down("d")  # Playwright marks these as repeats, as the system does
        time.sleep(0.01)
    page.keyboard.up("d")
    page.wait_for_url(looked.at(2))
    sent(page)
    assert len(said(looked)) == 1


def test_letters_can_be_switched_off_as_keys(looked: Stretch, visit: Callable[..., Any]) -> None:
    """WCAG 2.2, 2.1.4 Character Key Shortcuts."""
    page = visit(looked.at(1)).page
    here = seen(page)
    page.locator("#drawer").evaluate("d => d.open = true")
    page.uncheck("#keys-on")
    page.locator("#pane").focus()
    for name in ("d", " ", "3", "j"):
        page.keyboard.press(name)
    time.sleep(0.2)
    assert page.evaluate(EVENT) == here
    page.check("#keys-on")


def test_a_focused_button_keeps_its_space_and_enter(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(2)).page
    here = seen(page)
    page.locator("#drawer").evaluate("d => d.open = true")
    page.locator("[data-class=sex][data-value=male]").focus()
    page.keyboard.press(" ")
    assert page.locator("[data-class=sex][data-value=male]").get_attribute("aria-pressed") == "true"
    assert page.evaluate(EVENT) == here


def test_the_picture_comes_nearer_and_brighter(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(3)).page
    seen(page)
    with page.expect_response("**/original"):
        page.keyboard.press("+")
        page.keyboard.press("+")
    assert "scale(2.25)" in page.locator("#fit").get_attribute("style")
    page.keyboard.press(",")
    assert "brightness(1.7)" in page.locator("#shown").get_attribute("style")
    page.keyboard.press("Escape")
    assert "scale(1)" in page.locator("#fit").get_attribute("style")


def test_the_frames_of_an_sequence_by_arrows_and_as_a_loop(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(4)).page  # five frames
    seen(page)
    number = page.locator("#frame-no")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert number.inner_text() == "frame 3 of 5"
    page.keyboard.press("ArrowLeft")
    assert number.inner_text() == "frame 2 of 5"
    page.keyboard.press(">")
    until(page, "document.getElementById('frame-no').textContent === 'frame 5 of 5'")
    until(page, "document.getElementById('frame-no').textContent === 'frame 1 of 5'")
    page.keyboard.press(">")
    assert page.locator("[data-do=play]").get_attribute("aria-pressed") == "false"


def test_people_are_hidden_and_shown_only_on_request(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)
    key(page, "p")
    sent(page)
    page.goto(looked.at(1) + "?which=all")
    seen(page)
    assert "hidden" in page.locator("#shown img").get_attribute("alt")
    with page.expect_navigation():
        page.get_by_role("button", name="Show people on this machine").click()
    seen(page)
    assert page.locator("#shown img").get_attribute("src").endswith("?shown=1")
    assert "People and vehicles in pictures are shown in this browser." in page.locator("#people-row").inner_text()


def test_a_species_that_is_on_no_list_is_added_in_two_keys(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)
    key(page, "/", goes_on=False)
    page.keyboard.type("Wood grouse")
    assert page.locator("#find-told").inner_text() == (
        "“Wood grouse” is not on the list. Enter twice adds it and says it."
    )
    key(page, "Enter", goes_on=False)
    assert page.evaluate("document.activeElement.id") == "find-add"
    key(page, "Enter")  # 1
    assert "1 × Wood grouse" in page.locator("#echo").inner_text()
    key(page, "2", goes_on=False)
    key(page, "/", goes_on=False)
    page.keyboard.type("grouse")
    key(page, "Enter")  # 2: it is on the list of this page now
    key(page, '"')  # 3: the same again
    key(page, "/", goes_on=False)
    page.keyboard.type("deer")
    assert page.locator("#find-told").inner_text() == "Enter says Deer, kind unknown"
    key(page, "Enter")  # 4
    key(page, "/", goes_on=False)
    page.keyboard.type("Ghost")
    key(page, "Enter", goes_on=False)
    key(page, "Escape", goes_on=False)
    assert page.evaluate("document.activeElement.id") == "find"
    key(page, "Escape", goes_on=False)
    sent(page)

    plain = ("unknown", "unknown")
    assert said(looked) == [
        (1, "animal", "wood-grouse", 1, *plain),
        (2, "animal", "wood-grouse", 2, *plain),
        (3, "animal", "wood-grouse", 2, *plain),
        (4, "animal", "deer", 1, *plain),
    ]
    page.reload()
    seen(page)
    assert page.locator('#animals .tab[data-species="wood-grouse"]').count() == 1
    assert "Wood grouse" in page.request.get(f"{looked.house.url}people/species/").text()


def test_a_corrected_sequence_is_taken_off_the_rest_once(looked: Stretch, visit: Callable[..., Any]) -> None:
    page = visit(looked.at(1)).page
    seen(page)

    def left() -> int:
        return int(page.locator("#left").inner_text().replace(",", ""))

    whole = left()
    key(page, "d")  # 1
    key(page, "f")  # 2
    assert left() == whole - 2
    for _ in range(2):
        key(page, "ArrowUp")
    key(page, "r")  # 1 again: a correction
    assert left() == whole - 2
    key(page, "Backspace")  # the correction is undone: the first word stands again
    assert left() == whole - 2
    key(page, "Backspace", goes_on=False)
    until(page, f"document.getElementById('left').textContent.replaceAll(',', '') === '{whole - 1}'")
    key(page, "Backspace", goes_on=False)
    until(page, f"document.getElementById('left').textContent.replaceAll(',', '') === '{whole}'")
    page.keyboard.press("Control+y")
    until(page, f"document.getElementById('left').textContent.replaceAll(',', '') === '{whole - 1}'")
    sent(page)


def test_correcting_begins_with_what_stands(looked: Stretch, visit: Callable[..., Any]) -> None:
    """Counts, classes and dots are there; one key agrees, one key corrects the kind, a dot more is one more."""
    page = visit(looked.at(1)).page
    seen(page)
    for name in (".", ".", "Shift+F", "ArrowRight", "ArrowRight", ".", "Shift+J", "Escape"):
        key(page, name, goes_on=False)
    key(page, "3", goes_on=False)
    key(page, "d")  # 1: three red deer, two of them dotted: a female, a young female
    key(page, "u")  # 2: unknown
    key(page, "2", goes_on=False)
    key(page, "f")  # 3: two foxes
    key(page, "&", goes_on=False)
    key(page, "d", goes_on=False)
    key(page, "h", goes_on=False)
    key(page, "Enter")  # 4: two kinds
    for _ in range(4):
        key(page, "ArrowUp")
    before = "3 × Red deer (1 female; 1 female, juvenile)"
    assert line(page) == f"{before}: your identification stands. Enter leaves it."
    assert page.locator(".dot").count() == 2 and page.locator("#count").text_content() == "3"
    sent(page)
    many = len(acts(looked))

    key(page, "Enter")  # left as it is: nothing is written, and on to what is not said yet
    assert line(page) == ""
    for _ in range(3):
        key(page, "ArrowUp")
    assert line(page) == "unknown: your identification stands. Enter leaves it."
    key(page, "r")  # 2: a roe deer after all
    for _ in range(4):
        key(page, "ArrowUp")
    key(page, "Shift+M", goes_on=False)  # 1: the one without a dot is a male
    assert "1 male" in line(page) and " instead of “3 × Red deer" in line(page)
    key(page, "Escape", goes_on=False)
    assert line(page) == f"{before}: your identification stands. Enter leaves it."
    key(page, "r")  # 1: roe deer; counts, classes and dots stay
    sent(page)
    assert len(acts(looked)) == many + 2
    assert said(looked)[:4] == [
        (1, "animal", "roe-deer", 1, "female", "unknown"),
        (1, "animal", "roe-deer", 1, "female", "juvenile"),
        (1, "animal", "roe-deer", 1, "unknown", "unknown"),
        (2, "animal", "roe-deer", 1, "unknown", "unknown"),
    ]
    assert [len(s.get("dots", [])) for s in max(acts(looked), key=lambda a: a["at"])["observations"]] == [1, 1, 0]

    page.goto(looked.at(3))
    seen(page)
    page.locator("#pane").click(position={"x": 200, "y": 150})
    page.locator("#pane").click(position={"x": 250, "y": 150})
    assert line(page) == "2 × Red fox instead of “2 × Red fox”?"  # they are marked now, and no more of them
    page.locator("#pane").click(position={"x": 300, "y": 150})
    assert line(page) == "3 × Red fox instead of “2 × Red fox”?"
    key(page, "Enter")  # 3: the dots are three
    sent(page)
    page.goto(looked.at(4))
    seen(page)
    key(page, "5", goes_on=False)  # 4: several kinds, so a number alone would not say of which
    assert "Several kinds stand" in page.locator("#pane-note").inner_text()
    key(page, "Escape", goes_on=False)
    key(page, "b")  # 4: begun with nothing: a boar
    sent(page)
    assert said(looked)[4:] == [
        (3, "animal", "red-fox", 3, "unknown", "unknown"),
        (4, "animal", "wild-boar", 1, "unknown", "unknown"),
    ]


def test_anothers_word_is_agreed_with_by_one_key(looked: Stretch, visit: Callable[..., Any], browser: Any) -> None:
    mine = visit(looked.at(1)).page
    seen(mine)
    key(mine, "2", goes_on=False)
    key(mine, "d")
    sent(mine)
    theirs = visit(f"{looked.house.url}people/settings/").page
    theirs.fill("[name=person]", "Tobin Achterfeld")
    theirs.click("text=Keep")
    theirs.goto(f"{looked.at(1)}?which=all")
    seen(theirs)
    assert "2 × Red deer: " in line(theirs) and "'s identification. Enter agrees." in line(theirs)
    assert theirs.locator("#write span").inner_text() == "Agree"
    key(theirs, "Enter")
    sent(theirs)

    assert [(a["by"], a["observations"][0]["count"]) for a in acts(looked)][-1] == ("Tobin Achterfeld", 2)
    assert len(acts(looked)) == 2


def test_by_touch_on_a_small_screen(looked: Stretch, visit: Callable[..., Any]) -> None:
    watched = visit(looked.at(1), width=360, height=740, has_touch=True, is_mobile=True)
    page = watched.page
    seen(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360

    def tap(selector: str) -> None:
        page.locator(selector).tap()

    def goes_on(selector: str) -> None:
        before = page.evaluate(EVENT)
        tap(selector)
        until(page, f"{EVENT} !== {before!r}")

    goes_on("[data-what=blank]")
    goes_on("[data-species=red-deer]")
    box = page.locator("#pane").bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.5)
    page.touchscreen.tap(box["x"] + box["width"] * 0.7, box["y"] + box["height"] * 0.5)
    assert page.locator(".dot").count() == 2
    goes_on("[data-species=jay]")
    goes_on("[data-do=again]")
    goes_on("[data-do=undo]")
    tap("#drawer summary")
    tap("[data-do=further]")
    tap("[data-do=further]")
    tap("[data-class=sex][data-value=female]")
    goes_on("[data-species=badger]")
    sent(page)

    assert said(looked) == [
        (1, "blank", "", 1, "unknown", "unknown"),
        (2, "animal", "red-deer", 1, "unknown", "unknown"),
        (3, "animal", "jay", 2, "unknown", "unknown"),
        (4, "animal", "badger", 3, "female", "unknown"),
    ]
    (x1, y1), (x2, y2) = marks(looked)
    assert x1 == pytest.approx(0.3, abs=0.02) and x2 == pytest.approx(0.7, abs=0.02)
    assert y1 == pytest.approx(0.5, abs=0.02) and y2 == pytest.approx(0.5, abs=0.02)
    small = page.evaluate(
        "[...document.querySelectorAll('main button, main summary, main input')].filter(b => b.offsetParent)"
        ".map(b => [b.id || b.textContent.trim() || b.outerHTML, b.getBoundingClientRect()])"
        ".filter(([, r]) => r.height > 0 && (r.height < 24 || r.width < 24)).map(([t]) => t)"
    )
    assert small == ["keys-on"]  # a checkbox of 20 px, its label around it 44 px
    assert watched.complaints == []


@pytest.mark.parametrize("theme", ["light", "night"])
@pytest.mark.parametrize("width", [1280, 360])
def test_no_barriers_for_anybody(looked: Stretch, visit: Callable[..., Any], theme: str, width: int) -> None:
    """axe-core with the rules of WCAG 2.2 A and AA."""
    from axe_playwright_python.sync_playwright import Axe

    rules = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
    for address in (looked.house.url + "review/", looked.at(6)):
        page = visit(address, width=width, theme=theme).page
        if not address.endswith("review/"):
            seen(page)
            page.locator("#drawer").evaluate("d => d.open = true")
            page.locator("#pane").focus()
            for name in (".", ".", "Shift+M", "Escape", ";"):
                page.keyboard.press(name)
        found = Axe().run(page, options=rules)
        assert [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found.response["violations"]] == []

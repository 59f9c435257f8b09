"""What to carry and what to mind, in words that follow from facts."""

from __future__ import annotations

from typing import get_args

import pytest

from trod.planning.visit.kit import About, Caution, ForPeople, ForWork, KitItem, Wants, kit_list
from trod.telling import kit


def of(thing: str, name: str = "", **more: int) -> KitItem:
    return KitItem(group="for the sites", thing=thing, name=name, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("one", "what", "why"),
    [
        (of("batteries", "LR6", number=24, spare=8, sites=2), "batteries LR6 (AA alkaline)", "2 sites, 8 spare by risk"),
        (of("batteries", "HR6", number=4, spare=4), "batteries HR6 (AA rechargeable)", "4 spare by risk"),
        (of("card", number=1, sites=1), "empty cards, formatted in the camera they go into", "1 site"),
        (of("camera", number=1, sites=1), "camera", "1 site"),
        (of("wedge", number=3, sites=2), "wedges", "2 sites"),
        (of("key", "12", sites=2), "key 12", "2 sites"),
        (of("ladder", sites=1), "ladder", "1 site"),
        (of("other", "rinse water, salt-free (2 l)", sites=1), "rinse water, salt-free (2 l)", "1 site"),
        (of("sheet"), "this sheet, and a pencil", "it writes in the wet"),
        (of("lamp"), "lamp with fresh batteries", "in case it gets late"),
        (of("lamp for the dark"), "lamp with fresh batteries", "daylight ends before you do"),
    ],
)
def test_a_line_of_the_list_is_made_of_its_facts(one: KitItem, what: str, why: str) -> None:
    told = kit.item(one)

    assert (told.what, told.why, told.number, told.spare) == (what, why, one.number, one.spare)


def test_the_list_in_a_few_words_keeps_what_somebody_asked_for_whole() -> None:
    """It was cut at its first comma and bracket."""
    wants = [
        Wants(site="a", batteries={"LR6": 8}, keys=("12",), ladder=True, other=("rinse water, salt-free (2 l)",)),
        Wants(site="b", cards=2, wedges=1),
    ]

    assert kit.short(kit_list(wants)) == "8 LR6, 3 cards, 1 wedge, key 12, ladder, 1 rinse water, salt-free (2 l)"
    assert kit.short(kit_list([Wants(site="a")])) == "1 card"
    assert kit.short(kit_list([])) == "nothing for the sites"


def test_every_tool_and_every_caution_has_its_words() -> None:
    assert set(kit.TOOLS) == {*get_args(ForWork), *get_args(ForPeople)}
    assert set(kit.CAUTIONS) == set(get_args(About))


def test_what_people_wrote_for_a_site_stands_as_they_wrote_it() -> None:
    told = kit.caution(Caution(about="at the site", sites=("Saddle",), said="loose scree"))

    assert (told.about, told.words, told.sites) == ("At the site", "loose scree", ("Saddle",))
    assert kit.caution(Caution(about="firearms season")).about == "Firearms season"
    assert "your law, permit, employer's rule or a qualified person" in kit.caution(Caution(about="who is right")).words


def test_designations_that_shops_do_not_use_are_taken_as_they_are() -> None:
    assert [kit.battery_name(word) for word in ("6LR61", " r20 ", "CR17345", "ICR18650", "FR14505")] == [
        "6LR61 (9 V alkaline)",
        "R20",
        "CR17345 (3 V lithium)",
        "ICR18650",
        "FR14505",
    ]

"""What to carry on a round, and what to mind."""

from __future__ import annotations

import pytest

from trod.errors import WrongInput
from trod.planning.visit.kit import GROUPS, Going, KitItem, Wants, battery_name, cautions, kit_list


def line(items: tuple[KitItem, ...], begins: str) -> KitItem:
    (found,) = [item for item in items if item.what.startswith(begins)]
    return found


WANTS = [
    Wants(site="Elm lick", batteries={"LR6": 8}, keys=("12",), ladder=True, walk_test=True),
    Wants(site="Far gate", batteries={"LR6": 8, "FR6": 4}, wedges=2, keys=("12", "3"), other=("salt-free rinse water",)),
    Wants(site="Saddle", cards=2, cameras=1, straps=1),
]


def test_batteries_are_summed_by_kind_with_their_spares() -> None:
    items = kit_list(WANTS, spares={"LR6": 8, "card": 2})

    alkaline = line(items, "batteries LR6")
    assert (alkaline.number, alkaline.spare, alkaline.why) == (24, 8, "2 sites, 8 spare by risk")
    assert alkaline.what == "batteries LR6 (AA alkaline)"
    assert line(items, "batteries FR6").number == 4
    assert (line(items, "empty cards").number, line(items, "empty cards").spare) == (6, 2)
    assert line(items, "camera").number == 1


def test_a_spare_kind_that_no_site_wants_is_carried_all_the_same() -> None:
    found = line(kit_list([Wants(site="a")], spares={"hr6": 4}), "batteries HR6")

    assert (found.number, found.spare, found.why) == (4, 4, "4 spare by risk")


def test_each_key_comes_once_and_the_ladder_when_a_site_needs_it() -> None:
    items = kit_list(WANTS)

    assert [(i.what, i.number, i.why) for i in items if i.what.startswith("key")] == [
        ("key 12", 1, "2 sites"),
        ("key 3", 1, "1 site"),
    ]
    assert line(items, "ladder").why == "1 site"
    assert not [i for i in kit_list(WANTS[1:]) if i.what == "ladder"]
    assert line(items, "salt-free").number == 1


def test_things_for_a_walk_test_come_with_a_walk_test_alone() -> None:
    assert line(kit_list(WANTS), "tape or sticks").number == 1
    assert not [i for i in kit_list(WANTS[1:]) if "walk test" in i.what]


def test_every_list_has_first_aid_and_stands_in_its_groups() -> None:
    items = kit_list([])

    assert line(items, "first aid")
    places = [GROUPS.index(item.group) for item in kit_list(WANTS, going=Going(ice=True, by_car=True))]
    assert places == sorted(places)


def test_ice_and_firearms_season_bring_their_things() -> None:
    things = {item.what for item in kit_list(WANTS, going=Going(ice=True, firearms_season=True))}

    assert "bright clothing" in things
    assert "spikes or studs for boots, poles" in things
    assert "bright clothing" not in {item.what for item in kit_list(WANTS)}


@pytest.mark.parametrize("word", ["AA", "LR", "6", "", "battery", "LR6; drop"])
def test_a_battery_without_a_designation_is_refused(word: str) -> None:
    with pytest.raises(WrongInput, match="needed: a designation such as LR6, FR6 or HR6, as printed on it"):
        battery_name(word)


def test_designations_that_shops_do_not_use_are_taken_as_they_are() -> None:
    assert [battery_name(word) for word in ("6LR61", " r20 ", "CR17345", "ICR18650", "FR14505")] == [
        "6LR61 (9 V alkaline)",
        "R20",
        "CR17345 (3 V lithium)",
        "ICR18650",
        "FR14505",
    ]


def test_numbers_that_are_none_are_refused() -> None:
    with pytest.raises(WrongInput, match="cards at 'a': got -1"):
        Wants(site="a", cards=-1)
    with pytest.raises(WrongInput, match=r"batteries LR6 at 'a': got 2\.5"):
        Wants(site="a", batteries={"LR6": 2.5})  # type: ignore[dict-item]
    with pytest.raises(WrongInput, match="spares of 'card': got -1"):
        kit_list([], spares={"card": -1})


def test_cautions_begin_with_telling_somebody_and_end_with_who_is_right() -> None:
    found = cautions(Going())

    assert [one.about for one in found] == ["Tell somebody", "Who is right"]
    assert "your law, permit, employer's rule or a qualified person" in found[-1].words


def test_each_danger_that_may_be_met_with_has_its_caution() -> None:
    going = Going(
        alone=True, by_car=True, dark=True, ice=True, snow=True, water=True, large_animals=True,
        firearms_season=True, heat=True,
    )  # fmt: skip
    found = cautions(going, ladder_sites=["Elm lick"], told={"Saddle": " loose scree ", "Far gate": ""})

    assert [one.about for one in found[1:-1]] == [
        "Alone", "Ladder", "Roads", "Dark", "Ice", "Snow", "Water", "Large animals", "Firearms season", "Heat",
        "At the site",
    ]  # fmt: skip
    assert (found[2].sites, found[-2].sites, found[-2].words) == (("Elm lick",), ("Saddle",), "loose scree")

"""What to carry on a round, and what to mind."""

from __future__ import annotations

import pytest

from trod.errors import WrongInput
from trod.planning.visit.kit import GROUPS, Caution, Going, KitItem, Thing, Wants, cautions, designation, kit_list


def line(items: tuple[KitItem, ...], thing: Thing, name: str = "") -> KitItem:
    (found,) = [item for item in items if (item.thing, item.name) == (thing, name)]
    return found


def things(items: tuple[KitItem, ...]) -> set[Thing]:
    return {item.thing for item in items}


WANTS = [
    Wants(site="Elm lick", batteries={"LR6": 8}, keys=("12",), ladder=True, walk_test=True),
    Wants(site="Far gate", batteries={"LR6": 8, "FR6": 4}, wedges=2, keys=("12", "3"), other=("salt-free rinse water",)),
    Wants(site="Saddle", cards=2, cameras=1, straps=1),
]


def test_batteries_are_summed_by_kind_with_their_spares() -> None:
    items = kit_list(WANTS, spares={"LR6": 8, "card": 2})

    alkaline = line(items, "batteries", "LR6")
    assert (alkaline.number, alkaline.spare, alkaline.sites) == (24, 8, 2)
    assert line(items, "batteries", "FR6").number == 4
    assert (line(items, "card").number, line(items, "card").spare) == (6, 2)
    assert line(items, "camera").number == 1


def test_a_spare_kind_that_no_site_wants_is_carried_all_the_same() -> None:
    found = line(kit_list([Wants(site="a")], spares={"hr6": 4}), "batteries", "HR6")

    assert (found.number, found.spare, found.sites) == (4, 4, 0)


def test_a_kind_written_in_two_ways_is_one_line() -> None:
    wants = [Wants(site="a", batteries={"lr6": 4}), Wants(site="b", batteries={" LR6": 4})]
    found = line(kit_list(wants, spares={"Lr6": 2, "LR6 ": 1}), "batteries", "LR6")

    assert (found.number, found.spare, found.sites) == (11, 3, 2)


def test_each_key_comes_once_and_the_ladder_when_a_site_needs_it() -> None:
    items = kit_list(WANTS)

    assert [(i.name, i.number, i.sites) for i in items if i.thing == "key"] == [("12", 1, 2), ("3", 1, 1)]
    assert line(items, "ladder").sites == 1
    assert "ladder" not in things(kit_list(WANTS[1:]))
    assert line(items, "other", "salt-free rinse water").number == 1


def test_things_for_a_walk_test_come_with_a_walk_test_alone() -> None:
    assert line(kit_list(WANTS), "walk test marks").number == 1
    assert not {"walk test marks", "tape measure"} & things(kit_list(WANTS[1:]))


def test_spent_batteries_come_home_where_fresh_ones_go_out() -> None:
    assert "bag for spent batteries" in things(kit_list(WANTS))
    assert "bag for spent batteries" not in things(kit_list(WANTS[2:]))


def test_every_list_has_first_aid_and_stands_in_its_groups() -> None:
    assert line(kit_list([]), "first aid")
    places = [GROUPS.index(item.group) for item in kit_list(WANTS, going=Going(ice=True, by_car=True))]
    assert places == sorted(places)


def test_ice_firearms_season_and_the_dark_bring_their_things() -> None:
    found = things(kit_list(WANTS, going=Going(ice=True, firearms_season=True, dark=True)))

    assert {"bright clothing", "spikes", "lamp for the dark"} <= found
    assert "lamp" in things(kit_list(WANTS)) and "bright clothing" not in things(kit_list(WANTS))


@pytest.mark.parametrize("word", ["AA", "LR", "6", "", "battery", "LR6; drop"])
def test_a_battery_without_a_designation_is_refused(word: str) -> None:
    with pytest.raises(WrongInput, match="needed: a designation such as LR6, FR6 or HR6, as printed on it"):
        designation(word)


def test_numbers_that_are_none_are_refused() -> None:
    with pytest.raises(WrongInput, match="cards at 'a': got -1"):
        Wants(site="a", cards=-1)
    with pytest.raises(WrongInput, match=r"batteries LR6 at 'a': got 2\.5"):
        Wants(site="a", batteries={"LR6": 2.5})  # type: ignore[dict-item]
    with pytest.raises(WrongInput, match="spares of 'card': got -1"):
        kit_list([], spares={"card": -1})


def test_cautions_begin_with_telling_somebody_and_end_with_who_is_right() -> None:
    assert [one.about for one in cautions(Going())] == ["tell somebody", "who is right"]


def test_each_danger_that_may_be_met_with_has_its_caution() -> None:
    going = Going(
        alone=True, by_car=True, dark=True, ice=True, snow=True, water=True, large_animals=True,
        firearms_season=True, heat=True,
    )  # fmt: skip
    found = cautions(going, ladder_sites=["Elm lick"], told={"Saddle": " loose scree ", "Far gate": ""})

    assert [one.about for one in found[1:-1]] == [
        "alone", "ladder", "roads", "dark", "ice", "snow", "water", "large animals", "firearms season", "heat",
        "at the site",
    ]  # fmt: skip
    assert found[2].sites == ("Elm lick",)
    assert found[-2] == Caution(about="at the site", sites=("Saddle",), said="loose scree")

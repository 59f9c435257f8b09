"""The round on paper and as a table to fill in."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from poppler import text_of

from trod.errors import WrongInput
from trod.field.round_sheet import (
    ARRIVALS,
    BLANK_COLUMNS,
    RoundSheet,
    clock,
    printed,
    round_sheet_csv,
    round_sheet_pdf,
)
from trod.findings.blur import cell_of
from trod.leaving.rounds import HIDES, FitRound, fit_round
from trod.planning.visit.kit import Going, Wants, cautions, kit_list
from trod.planning.visit.rounds import Party, RoundDay, RoundPlan, Span, Stop, plan_round
from trod.planning.visit.travel import Place, straight

NASTY = '#import "/etc/passwd" $x$ *bold* #panic() <label> @ref \\ "quote" [x] // \x00\x1b\ud800 é 鹿'
YARD = Place(key="yard", latitude_deg=47.295, longitude_deg=13.885)
STOPS = (
    Stop(key="elm-lick", name="Elm lick", latitude_deg=47.302, longitude_deg=13.891, saves_days=9.0,
         why="Card fills by 12 March", work=("swap card", "check clock"),
         access="Gate with key 12.", caution="Loose stones.", people=2, ladder=True),
    Stop(key="eyrie", name="Eyrie rock", latitude_deg=47.3111, longitude_deg=13.9022, saves_days=9.0, sensitive=True),
    Stop(key="far", name="Far gate", latitude_deg=47.9, longitude_deg=13.9, saves_days=0.5),
)  # fmt: skip


def planned(stops: tuple[Stop, ...] = STOPS, days: int = 1) -> RoundPlan:
    return plan_round(
        stops,
        start=YARD,
        days=[RoundDay(day=date(2026, 3, 2 + d), out=Span(from_min=450, to_min=1000)) for d in range(days)],
        parties=[Party(name="Vera and Ilo", people=2)],
        ways=straight([YARD, *(s.place for s in stops)]),
        searcher="own",
    )


PLAN = planned()
LISTS = {
    "kits": [kit_list([Wants(site="Elm lick", batteries={"LR6": 8}, keys=("12",))], spares={"LR6": 8})],
    "cautions": cautions(Going(ice=True)),
    "light": [Span(from_min=6 * 60 + 12, to_min=18 * 60 + 6)],
}


def fit(plan: RoundPlan, **more: Any) -> FitRound:
    """The round as those who go take it: with its true places."""
    return fit_round(plan, **{**LISTS, "true_places": True, **more})


SHEET = RoundSheet(
    plan=fit(PLAN),
    reserve="Eskerwold",
    start_name="the yard",
    made_on=date(2026, 3, 1),
)


def test_the_sheet_has_the_order_the_kit_the_cautions_and_lines_to_write_on(tmp_path: Path) -> None:
    words = " ".join(text_of(round_sheet_pdf(SHEET), tmp_path).split())

    for told in (
        "Monday, 2 March 2026", "Vera and Ilo", "7:30", "Elm lick", "Card fills by 12 March", "swap card; check clock",
        "Gate with key 12.", "Loose stones.", "2 people and ladder", "16 batteries LR6 (AA alkaline)", "key 12",
        "Tell somebody",
        "No table makes ice on water safe.", "Who is right", "came at", "card out", "clock showed", "true time",
        "lens iced, dirty or grown over", "walk test done", "47.30200, 13.89100", "Left for another time", "Far gate",
        "light from 6:12 to 18:06", "1 stop is left for another time.", "Times are plans, not duties.",
    ):  # fmt: skip
        assert told in words, told


def test_the_words_for_the_state_on_arrival_are_those_of_a_visit() -> None:
    from trod.catalogue.models import Visit

    assert [word for word in Visit.Arrival.labels if word != "not noted"] == list(ARRIVALS)


def test_times_on_the_sheet_are_those_of_the_plan() -> None:
    (trip,) = printed(SHEET)["trips"]

    assert [row[1] for row in trip["rows"][:-1]] == [clock(v.arrive) for v in PLAN.trips[0].visits]
    assert trip["rows"][-1][1:3] == [clock(PLAN.trips[0].home), "back at the yard"]
    assert clock(datetime(2026, 3, 2, 7, 4, 40)) == "7:05"
    assert clock(datetime(2026, 3, 2, 23, 59, 40)) == "0:00"


def test_true_places_are_shown_with_a_word_to_keep_the_sheet() -> None:
    told = json.dumps(printed(SHEET))

    assert "47.31110, 13.90220" in told
    assert "A place here must not be given away: keep this sheet, and bring it home." in told


def test_blurred_a_sensitive_site_has_no_coordinates_no_way_and_a_coarse_square() -> None:
    generalised = replace(SHEET, plan=fit(PLAN, true_places=False))
    told = json.dumps(printed(generalised))
    (trip,) = printed(generalised)["trips"]
    row = {r["key"]: r for r in csv.DictReader(io.StringIO(round_sheet_csv(generalised)))}

    assert "47.3111" not in told and "13.9022" not in told
    assert "47.30200, 13.89100" in told
    assert " m on foot" not in told and clock(PLAN.trips[0].home) not in told
    assert trip["sums"] == "6.0 kg to carry out; light from 6:12 to 18:06."  # the ladder; its weight tells no place
    assert trip["note"] == HIDES and "Part of the way is in the dark" not in told
    assert [row[2] for row in trip["rows"]] == ["Elm lick", "Eyrie rock"]  # by name, not in turn
    assert "polyline" not in trip["map"] and 'fill="url(#map-hatch)"' in trip["map"]
    assert (row["eyrie"]["latitude"], row["elm-lick"]["latitude"]) == ("", "47.302")
    assert "polyline" in printed(SHEET)["trips"][0]["map"]
    assert cell_of(latitude_deg=47.3111, longitude_deg=13.9022).south_deg == 47.3


def test_the_table_has_the_stops_in_turn_and_empty_columns_to_fill_in() -> None:
    rows = list(csv.DictReader(io.StringIO(round_sheet_csv(SHEET))))

    assert [row["key"] for row in rows] == [v.stop.key for v in PLAN.trips[0].visits]
    assert [row["turn"] for row in rows] == ["1", "2"]
    assert all(row[column] == "" for row in rows for column in BLANK_COLUMNS)
    assert "\r\n" in round_sheet_csv(SHEET)


def test_what_people_typed_is_text_in_the_pdf_and_in_the_table(tmp_path: Path) -> None:
    evil = replace(STOPS[0], name=NASTY, why=NASTY, access="=1+1", caution=NASTY, work=(NASTY,))
    sheet = replace(SHEET, plan=fit(planned((evil,))), reserve=NASTY, start_name=NASTY)
    words = text_of(round_sheet_pdf(sheet), tmp_path)
    (row,) = csv.DictReader(io.StringIO(round_sheet_csv(sheet)))

    assert "#panic()" in words
    assert row["access"] == "'=1+1"


def test_the_same_plan_gives_the_same_bytes() -> None:
    first = round_sheet_pdf(SHEET)

    assert round_sheet_pdf(SHEET) == first
    assert (
        b"CreationDate" not in first and b"ModDate" not in first
    )  # a clock's time would hide in two made within a second


def test_in_us_units_the_lengths_are_miles_and_the_load_pounds() -> None:
    heavy = planned((replace(STOPS[0], load_kg=10.0),))
    told = json.dumps(printed(replace(SHEET, plan=fit(heavy), system="us", paper="us-letter")))

    assert " mi on foot" in told and "35 lb to carry out" in told  # 10 kg and the ladder's 6
    assert " km" not in told and " kg" not in told


def test_a_round_without_a_trip_still_makes_a_page(tmp_path: Path) -> None:
    sheet = replace(SHEET, plan=fit(planned((STOPS[2],)), kits=(), light=()))
    words = text_of(round_sheet_pdf(sheet), tmp_path)

    assert "No trip" in words and "Far gate" in words
    assert round_sheet_csv(sheet).count("\r\n") == 1


def test_a_kit_for_each_trip_goes_to_its_own_trip() -> None:
    far_apart = tuple(replace(stop, there_min=300.0, must=True) for stop in STOPS[:2])
    plan = planned(far_apart, days=2)
    kits = [kit_list([Wants(site="a", other=("salt",))]), kit_list([Wants(site="b", other=("spade",))])]
    first, second = printed(replace(SHEET, plan=fit(plan, kits=kits)))["trips"]

    assert "salt" in json.dumps(first["kit"]) and "spade" not in json.dumps(first["kit"])
    assert "spade" in json.dumps(second["kit"])
    with pytest.raises(WrongInput, match="kits: got 3; needed: none, one for all, or 2, one a trip"):
        fit(plan, kits=[*kits, kits[0]])


def test_a_paper_that_no_printer_has_is_refused() -> None:
    with pytest.raises(WrongInput, match="paper: got 'a3'; needed: a4 or us-letter"):
        replace(SHEET, paper="a3")

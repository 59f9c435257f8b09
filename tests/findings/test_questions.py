"""The three questions, asked of the invented reserve and of edges."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date

import invented
import pytest
from pytest import approx

from trod.errors import NotEnoughEvidence
from trod.findings import Evidence, Filter, Finding, UnseenSequence
from trod.telling.change import answer as change
from trod.telling.what_comes import answer as what_comes
from trod.telling.when import answer as when

YEAR = invented.year()
QUESTIONS = (what_comes, when, change)
JSON_KEYS = {"value", "interval", "effort", "filter", "method", "assumptions", "pictures"}


def shuffled(evidence: Evidence) -> Evidence:
    """The same evidence as a rebuilt catalogue might hand it over: every list in another order."""
    return Evidence(
        reserve=evidence.reserve,
        sites=evidence.sites[::-1],
        deployments=evidence.deployments[::-1],
        observations=evidence.observations[1::2] + evidence.observations[::2],
        unseen=evidence.unseen[::-1],
    )


@pytest.mark.parametrize("ask", QUESTIONS)
def test_a_rebuilt_catalogue_gives_the_same_finding_to_the_last_digit(ask) -> None:  # type: ignore[no-untyped-def]
    asked = Filter(species=("wild-boar",), first=date(2025, 4, 1))

    assert ask(shuffled(YEAR), asked).to_json() == ask(YEAR, asked).to_json()


@pytest.mark.parametrize("ask", QUESTIONS)
def test_a_finding_as_json_has_all_that_a_number_rests_on(ask) -> None:  # type: ignore[no-untyped-def]
    finding = ask(YEAR, Filter(species=("red-deer",)))
    told = json.loads(finding.to_json())

    assert set(told) >= JSON_KEYS
    assert told["filter"]["sentence"].startswith("Red deer at all 8 sites")
    assert told["effort"]["camera_days"] == approx(2832.0, rel=0.01)
    assert told["assumptions"] and told["method"] and told["made"]
    assert len(told["pictures"]) == len({*told["pictures"]}) > 100
    assert all(re.fullmatch("[0-9a-f]{64}", picture) for picture in told["pictures"])


@pytest.mark.parametrize("ask", QUESTIONS)
def test_the_rows_open_to_as_many_pictures_as_they_count(ask) -> None:  # type: ignore[no-untyped-def]
    finding = ask(YEAR, Filter(species=("red-deer",)))

    assert all(len(row["pictures"]) == row["detections"] for row in finding.rows)
    assert sorted(p for row in finding.rows for p in row["pictures"]) == sorted(finding.pictures)


# --- what comes -----------------------------------------------------------------------------------


def reviewed(year: Evidence) -> Evidence:
    """The same with nothing waiting for review and nothing that nobody could name."""
    return replace(year, unseen=(), observations=tuple(o for o in year.observations if o.what != "unknown"))


def test_what_comes_lists_species_by_how_often_with_exact_limits_beside() -> None:
    found = what_comes(reviewed(YEAR))
    counts = [row["detections"] for row in found.rows]

    assert found.value == 6 and found.unit == "species"
    assert counts == sorted(counts, reverse=True)
    deer = found.rows[0]
    assert deer["species"] == "Red deer"
    assert deer["rate"] == approx(100 * deer["detections"] / found.effort["camera_days"])
    assert deer["exact_low"] < deer["rate"] < deer["exact_high"]
    assert deer["low"] <= deer["exact_low"] and deer["high"] >= deer["exact_high"]
    assert deer["first"] == "2025-03-01"
    assert found.sentence.startswith("Six species came by in 2\u202f830 camera-days. Red deer most often: ")


def test_one_species_gives_its_rate_as_the_value() -> None:
    found = what_comes(YEAR, Filter(species=("badger",)))

    assert found.unit == "detections per 100 camera-days"
    assert found.interval is not None and found.value is not None
    assert found.interval.low < found.value < found.interval.high
    assert found.sentence.startswith("Badger came by ")


def test_a_species_never_seen_gets_an_upper_limit_not_a_zero() -> None:
    found = what_comes(reviewed(YEAR), Filter(species=("lynx",), species_names={"lynx": "Lynx"}))

    assert found.value == 0
    assert found.interval is not None
    assert found.interval.high == approx(100 * 4 * 2.99573 / found.effort["camera_days"], rel=1e-5)
    assert found.sentence == (
        "Lynx was not seen in 2\u202f830 camera-days; the true rate is probably below 0.423 per 100 camera-days (95 %)."
    )
    assert "fewer than three visits, each counted as 4 detections (an assumption, for nothing here" in found.method


def test_none_seen_in_a_part_takes_its_runs_from_the_whole_record() -> None:
    """Red deer at a site and in days without any, known from the rest of the year at eight sites."""
    asked = Filter(species=("red-deer",), sites=("hidden-den",), first=date(2025, 3, 2), last=date(2025, 3, 4))
    known = reviewed(YEAR)
    quiet = replace(known, observations=tuple(s for s in known.observations if s.site != "hidden-den"))
    found, whole = what_comes(quiet, asked), what_comes(quiet, Filter(species=("red-deer",)))

    assert found.value == 0 and found.interval is not None
    assert found.interval.high == approx(100 * 2.99573 * whole.rows[0]["scatter_allowed_for"] / 3, rel=1e-5)
    assert "as the same animals do elsewhere in this record" in found.method


def seconds_of_watching(seconds: float) -> Evidence:
    """One camera that watched for so long, and one animal in it."""
    start = invented.utc("2025-06-01 10:00")
    stood = replace(YEAR.deployments[0], watched=((start, start + seconds),), gaps=())
    return replace(
        YEAR, deployments=(stood,), observations=(invented.observation("red-deer", start + seconds / 2),), unseen=()
    )


@pytest.mark.parametrize("seconds", [1, 30, 120, 86_399])
def test_seconds_of_watching_are_answered_with_a_count_and_no_rate(seconds: float) -> None:
    """It once ended every question in an OverflowError."""
    found = what_comes(seconds_of_watching(seconds))
    asked = what_comes(seconds_of_watching(seconds), Filter(species=("red-deer",)))

    assert found.rows[0]["detections"] == 1
    assert (found.rows[0]["rate"], found.rows[0]["high"], found.rows[0]["exact_high"]) == (None, None, None)
    assert found.sentence.endswith("1 detection, in too short a time for a rate.")
    assert asked.value is None and asked.interval is None
    assert "was seen once in" in asked.sentence and asked.sentence.endswith("too short a time for a rate.")
    assert any("no rate is told" in caution for caution in found.cautions)
    with pytest.raises(NotEnoughEvidence, match="no months with a day of effort or more"):
        change(seconds_of_watching(seconds))
    json.loads(found.to_json())


@pytest.mark.parametrize("seconds", [1, 120, 86_400])
def test_a_new_camera_of_seconds_beside_the_others_breaks_no_answer(seconds: float) -> None:
    start = invented.utc("2026-02-20 10:00")
    new = replace(
        YEAR.deployments[0],
        slug="gate-lane-2",
        site="gate-lane",
        watched=((start, start + seconds),),
        gaps=(),
    )
    sites = tuple(d for d in YEAR.deployments if d.site != "gate-lane")
    others = replace(YEAR, deployments=sites, observations=tuple(s for s in YEAR.observations if s.site != "gate-lane"))
    came = invented.observation("red-deer", start + 0.5, site="gate-lane", deployment="gate-lane-2")
    more = replace(others, deployments=(*sites, new), observations=(*others.observations, came))
    asked = Filter(species=("red-deer",))
    before, after = what_comes(others, asked), what_comes(more, asked)

    assert before.interval is not None and after.interval is not None
    assert after.interval.high == approx(before.interval.high, rel=0.05)
    assert after.interval.low == approx(before.interval.low, rel=0.05)
    assert len(change(more, asked).rows) == len(change(others, asked).rows)


def test_detections_where_no_camera_counts_as_watching_are_listed_but_not_in_a_rate() -> None:
    only = replace(reviewed(YEAR), deployments=tuple(d for d in YEAR.deployments if d.site != "elm-lick"))
    asked = Filter(species=("red-deer",))
    found = what_comes(only, asked)
    lick = found.rows[0]["by_site"]["elm-lick"]

    assert lick > 0
    assert found.value == approx(100 * (found.rows[0]["detections"] - lick) / found.effort["camera_days"])
    assert any(
        c.startswith(f"{lick} detections at Elm Lick, where no camera counts as watching") for c in found.cautions
    )
    there = what_comes(only, Filter(species=("red-deer",), sites=("elm-lick", "alder-ford")))
    assert there.value is not None and there.value < found.rows[0]["detections"]


def test_the_change_of_part_of_a_year_is_not_told_at_all() -> None:
    """It was once told over that part; season and change look alike there."""
    asked = Filter(species=("red-deer",), first=date(2025, 4, 1), last=date(2025, 7, 31))
    found = change(YEAR, asked)

    assert found.value is None and found.interval is None
    assert found.sentence.startswith(
        "Whether Red deer came more or less often cannot be told: the record goes over 4 months, so season and change "
        "cannot be told apart. It takes at least 24 months"
    )


def test_sequences_nobody_has_seen_yet_are_told() -> None:
    unseen = tuple(
        UnseenSequence(sequence=f"u{n}", site="elm-lick", utc_s=invented.utc("2025-06-01 00:00")) for n in range(100)
    )
    found = what_comes(replace(YEAR, unseen=unseen))

    assert found.cautions[0].startswith("100 sequences of ")
    assert (
        "are not yet reviewed; they are taken to be like the reviewed ones of their site, half of" in found.cautions[0]
    )
    assert found.cautions[0].endswith("To need no such assumption, review all of them, at Elm Lick.")


def test_a_detection_in_time_not_watched_is_kept_and_told() -> None:
    early = invented.observation("red-deer", "2024-12-24 18:00", deployment="alder-ford-1")
    found = what_comes(replace(YEAR, observations=(*YEAR.observations, early)))

    assert any(
        c.startswith("1 detection falls into time that was not watched; it is listed but not in a rate")
        for c in found.cautions
    )


@pytest.mark.parametrize("ask", QUESTIONS)
def test_no_camera_in_the_period_is_refused_with_what_to_do(ask) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(NotEnoughEvidence) as refused:
        ask(YEAR, Filter(first=date(2001, 1, 1), last=date(2001, 1, 31)))

    assert str(refused.value) == (
        "no camera watched in the time and at the sites asked for; choose a period and sites with a deployment whose "
        "card has been brought in"
    )


def test_an_empty_catalogue_is_refused_by_every_question() -> None:
    for ask in QUESTIONS:
        with pytest.raises(NotEnoughEvidence, match="no camera watched"):
            ask(Evidence(reserve=invented.RESERVE))


def test_cameras_that_saw_nothing_at_all_say_so() -> None:
    bare = replace(YEAR, observations=(), unseen=())

    assert what_comes(bare).sentence == "No animal was seen in 2\u202f830 camera-days."
    assert change(bare).sentence == (
        "Animals did not come by at all, 1 March 2025 to 1 March 2026, so nothing can be said about change."
    )
    with pytest.raises(NotEnoughEvidence, match="0 detections; a pattern over the day needs at least 10"):
        when(bare)


# --- when -----------------------------------------------------------------------------------------


def test_boar_of_the_night_are_told_to_come_by_night() -> None:
    found = when(YEAR, Filter(species=("wild-boar",)))

    assert found.sentence.startswith("Wild boar came mostly by night (")
    assert found.value is not None and (found.value > 22.5 or found.value < 1.5)
    assert found.interval is not None and found.interval.low > found.interval.high  # round midnight
    assert len(found.series["clock"]["hours"]) == 288


def test_deer_of_dawn_and_dusk_show_two_busy_times() -> None:
    found = when(YEAR, Filter(species=("red-deer",)))

    assert "Two busy times, around " in found.sentence


def test_two_equal_busy_times_give_no_one_hour_as_the_value() -> None:
    day = invented.utc("2025-03-01 00:00")
    rows = tuple(
        invented.observation("red-deer", day + (n // 2) * 86_400 + (6 + 12 * (n % 2)) * 3600 + (n * 997 % 3600))
        for n in range(200)
    )
    found = when(replace(YEAR, observations=rows))

    assert "Two busy times, around " in found.sentence
    assert found.value is None and found.interval is None


def test_under_a_hundred_detections_the_pattern_is_a_hint() -> None:
    found = when(YEAR, Filter(species=("badger",), last=date(2025, 8, 1)))

    assert any("at least 100 are advised for a pattern over the day" in c for c in found.cautions)


def test_animals_at_all_hours_have_no_busiest_hour() -> None:
    rows = tuple(
        invented.observation("red-deer", invented.utc("2025-03-01 00:00") + n * 86_400 + (n * 7919 % 86_400))
        for n in range(200)
    )
    found = when(replace(YEAR, observations=rows))

    assert found.value is None and found.interval is None
    assert found.sentence.startswith("No time of day stands out in 200 detections of Red deer (")


# --- change ---------------------------------------------------------------------------------------


def test_one_year_says_that_season_and_change_cannot_be_told_apart() -> None:
    found = change(YEAR, Filter(species=("red-deer",)))

    assert "season and change cannot be told apart" in found.sentence
    assert found.series["same_months"] is None
    assert found.rows[0]["month"] == "2025-03"
    row = found.rows[0]
    assert row["rate"] == approx(100 * row["detections"] / (row["camera_days"] * row["reviewed"]))
    assert 0.9 < row["reviewed"] < 1  # some could not be told to a species


def test_too_little_for_a_change_still_shows_the_months() -> None:
    found = change(YEAR, Filter(species=("pine-marten",)))

    assert found.value is None and found.interval is None
    assert found.sentence.startswith("Whether Pine marten came more or less often cannot be told: ")
    assert len(found.rows) == 13


def test_one_month_is_no_change() -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        change(YEAR, Filter(first=date(2025, 5, 1), last=date(2025, 5, 31)))

    assert str(refused.value) == (
        "one month with a day of effort or more; change needs at least two months; widen the period"
    )


def test_a_findings_json_knows_no_infinity() -> None:
    found = what_comes(YEAR, Filter(species=("red-deer",)))
    odd = replace(found, value=float("inf"))

    assert isinstance(odd, Finding)
    assert json.loads(odd.to_json())["value"] is None


def test_a_second_camera_at_a_site_halves_no_rate() -> None:
    one = invented.year()
    first = one.deployments[0]
    beside = replace(first, slug=f"{first.slug}-beside", camera="beside")
    two = replace(one, deployments=(*one.deployments, beside))
    asked = Filter(species=("red-deer",), sites=(first.site,))
    alone, both = what_comes(one, asked), what_comes(two, asked)

    assert alone.value == both.value and alone.interval == both.interval
    assert both.effort["camera_days"] == pytest.approx(2 * alone.effort["camera_days"])
    assert both.effort["site_days"] == pytest.approx(alone.effort["site_days"])
    assert "site-days" in both.sentence and "site-days" not in alone.sentence
    assert both.unit == "detections per 100 site-days"
    assert any("two cameras or more watched at once; for rates a day there counts once" in c for c in both.cautions)
    months = change(two, asked), change(one, asked)
    assert [row["rate"] for row in months[0].rows] == [row["rate"] for row in months[1].rows]
    assert {c.title for c in months[0].columns} >= {"Site-days"}

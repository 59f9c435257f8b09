"""Line-ups of cameras, and what waits for review."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import invented
import numpy as np
import pytest
from pytest import approx

from trod.findings import Deployment, Evidence, Filter, UnseenSequence, line_ups, reviewing
from trod.findings.detections import detections
from trod.findings.line_ups import SetUp, Unit
from trod.findings.observations import Observation, select

DAY_S = 86_400.0
JANUARY = invented.utc("2025-01-01 00:00") - 3600  # Vienna's midnight


def stood(slug: str, first_day: float, last_day: float, *, line_up: str = "one", site: str = "alder-ford") -> Deployment:
    return Deployment(
        slug=slug, site=site, line_up=line_up, watched=((JANUARY + first_day * DAY_S, JANUARY + last_day * DAY_S),)
    )


def came(day: float, *, site: str = "alder-ford", species: str = "red-deer") -> Observation:
    return invented.observation(species, JANUARY + day * DAY_S, site=site)


def cells_of(evidence: Evidence, **asked: object) -> line_ups.Watched:
    selection = select(evidence, Filter(species=("red-deer",), **asked))  # type: ignore[arg-type]
    return line_ups.watched(selection, detections(selection.animals, 30), reviewing.Reviewed(selection))


def known(*deployments: Deployment, observations: tuple[Observation, ...] = (), **more: object) -> Evidence:
    return Evidence(
        reserve=invented.RESERVE, sites=invented.sites(), deployments=deployments, observations=observations, **more
    )  # type: ignore[arg-type]


def test_a_second_camera_begins_a_new_unit_and_halves_no_day() -> None:
    found = cells_of(
        known(stood("a", 0, 59), stood("b", 31, 59, line_up="two"), observations=(came(3.2), came(40.1), came(45.3)))
    )

    assert found.units == (Unit(site="alder-ford", line_up=("one",)), Unit(site="alder-ford", line_up=("one", "two")))
    assert found.record is not None
    assert found.record.cells.days.tolist() == approx([31, 28])
    assert found.record.cells.seen.tolist() == [1, 2]
    assert found.record.site == (0, 0)


def test_two_cameras_that_see_alike_are_one_unit_from_the_start() -> None:
    found = cells_of(known(stood("a", 0, 31), stood("b", 0, 31), observations=(came(3.2),)))

    assert found.units == (Unit(site="alder-ford", line_up=("one", "one")),)
    assert found.record is not None and found.record.cells.days.tolist() == approx([31])


def test_a_camera_hung_again_the_same_way_goes_on_as_the_same_unit() -> None:
    found = cells_of(known(stood("a", 0, 15), stood("b", 20, 59), observations=(came(3.2), came(40.2))))

    assert len(found.units) == 1
    assert found.record is not None and found.record.cells.days.tolist() == approx([26, 28])


@pytest.mark.parametrize(
    ("second", "same"),
    [
        (SetUp(site="a", model="m1", settings="high", heading_deg=355, height_m=0.8), True),
        (SetUp(site="a", model="m1", settings="high", heading_deg=45, height_m=0.8), False),
        (SetUp(site="a", model="m1", settings="high", heading_deg=10, height_m=1.4), False),
        (SetUp(site="a", model="m1", settings="low", heading_deg=10, height_m=0.8), False),
        (SetUp(site="a", model="m2", settings="high", heading_deg=10, height_m=0.8), False),
        (SetUp(site="a", model="m1", settings="high"), True),
    ],
)
def test_another_model_setting_or_aim_is_another_line_up(second: SetUp, same: bool) -> None:
    first = SetUp(site="a", model="m1", settings="high", heading_deg=10, height_m=0.8)
    names = line_ups.names((first, second, first))

    assert (names[0] == names[1]) == same
    assert names[0] == names[2]


def test_what_waits_for_review_takes_its_share_of_the_effort_by_day_and_night() -> None:
    """January: all reviewed. February: by night half, by day none."""
    noon, night = 0.5, 0.95
    waiting = tuple(
        UnseenSequence(sequence=f"w{n}", site="alder-ford", utc_s=JANUARY + day * DAY_S)
        for n, day in enumerate((40 + night, 41 + night, 42 + noon))
    )
    found = cells_of(
        known(
            stood("a", 0, 59),
            observations=(came(3 + night), came(33 + night), came(34 + night), came(5 + noon, species="red-fox")),
            unseen=waiting,
        )
    )

    assert found.record is not None
    rows = {
        (found.units[unit].half, int(month)): (days, seen)
        for unit, month, days, seen in zip(
            found.record.cells.unit, found.record.cells.month, found.record.cells.days, found.record.cells.seen,
            strict=True,
        )
    }  # fmt: skip
    assert rows == {
        ("day", 0): (approx(31), 0),
        ("night", 0): (approx(31), 1),
        ("night", 1): (approx(28 * 2 / 4), 2),
    }
    assert found.unreviewed == 3


def test_a_site_of_which_all_is_reviewed_is_not_split() -> None:
    found = cells_of(
        known(
            stood("a", 0, 31),
            stood("b", 0, 31, site="elm-lick"),
            observations=(came(3.2), came(4.2, site="elm-lick")),
            unseen=(UnseenSequence(sequence="w", site="elm-lick", utc_s=JANUARY + 5 * DAY_S),),
        )
    )

    assert [(unit.site, unit.half) for unit in found.units] == [
        ("alder-ford", ""), ("elm-lick", "day"), ("elm-lick", "night"),
    ]  # fmt: skip


def test_animals_that_could_not_be_told_are_missing_and_not_absent() -> None:
    """In February half of the animals could not be told: the effort of that month counts half."""
    unclear = [
        replace(came(31.3 + n, species="x"), what="unknown", species="", species_name="", sequence=f"u{n}")
        for n in range(10)
    ]
    told = [came(first + n) for first in (3.2, 31.6) for n in range(10)]
    found = cells_of(known(stood("a", 0, 59), observations=(*unclear, *told)))

    assert found.record is not None
    assert found.record.cells.days.tolist() == approx([31.0, 14.0])


def test_a_detection_where_no_camera_watched_is_in_no_cell() -> None:
    found = cells_of(known(stood("a", 0, 31), observations=(came(3.2), came(40.2), came(3.2, site="elm-lick"))))

    assert found.unwatched == 2
    assert found.record is not None and found.record.cells.seen.tolist() == [1]


def test_the_rate_of_a_month_is_carried_up_by_what_was_reviewed_of_each_half() -> None:
    """By night 2 found in half of what there is, by day 1 in all: as if 5 in 31 days, so 3/5 of the effort."""
    noon, night = 0.5, 0.95
    waiting = tuple(
        UnseenSequence(sequence=f"w{n}", site="alder-ford", utc_s=JANUARY + (20 + n + night) * DAY_S) for n in range(2)
    )
    evidence = known(stood("a", 0, 31), observations=(came(3 + night), came(4 + night), came(5 + noon)), unseen=waiting)
    selection = select(evidence, Filter(species=("red-deer",)))
    shares = reviewing.reviewed_share(selection, detections(selection.animals, 30), reviewing.Reviewed(selection))

    assert shares == {("alder-ford", date(2025, 1, 1)): approx(3 / 5)}


def test_parts_add_up_to_what_was_seen_and_watched() -> None:
    evidence = known(
        stood("a", 0, 59), stood("b", 10, 20, line_up="two"), observations=(came(3.2), came(12.2), came(40.1))
    )
    selection = select(evidence, Filter())
    reviewed = reviewing.Reviewed(selection)
    parts = line_ups.parts(selection, detections(selection.animals, 30), reviewed, lambda site, line_up, month: line_up)

    assert parts[("one",)] == (2.0, approx(49))
    assert parts[("one", "two")] == (1.0, approx(10))
    assert np.sum([seen for seen, _ in parts.values()]) == 3

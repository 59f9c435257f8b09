"""The filter: what it leaves, and the sentence that says so."""

from __future__ import annotations

from datetime import date

import invented
import pytest

from trod.errors import WrongInput
from trod.findings import Evidence, Filter, Gap, UnseenSequence
from trod.findings.observations import cut, joined, select
from trod.telling import shared

utc, watch, observation = invented.utc, invented.watch, invented.observation


def small(**more: object) -> Evidence:
    facts: dict[str, object] = {
        "reserve": invented.RESERVE,
        "sites": invented.sites(),
        "deployments": (
            watch("alder-ford", "2025-12-31 23:00", "2026-03-31 22:00"),
            watch("barn-track", "2025-12-31 23:00", "2026-02-10 23:00"),
        ),
        "observations": (
            observation("red-deer", "2026-01-05 05:00"),
            observation("red-fox", "2026-01-05 12:00", site="barn-track"),
            observation("red-deer", "2026-02-01 23:30", site="barn-track"),
        ),
    }
    return Evidence(**{**facts, **more})  # type: ignore[arg-type]


def test_the_sentence_says_species_sites_period_and_interval() -> None:
    asked = Filter(species=("red-deer",))

    assert shared.sentence(select(small(), asked)) == (
        "Red deer at all 2 sites, 1 January to 31 March 2026, detections at least 30 minutes apart"
    )


def test_the_sentence_names_chosen_sites_light_and_an_hour() -> None:
    asked = Filter(
        species=("red-deer", "red-fox"),
        sites=("barn-track", "alder-ford"),
        first=date(2026, 1, 5),
        last=date(2026, 1, 5),
        independence_min=60,
        light="night",
    )

    assert shared.sentence(select(small(), asked)) == (
        "Red deer and Red fox at Alder Ford and Barn Track, 5 January 2026, between sunset and sunrise, "
        "detections at least 1 hour apart"
    )


def test_days_are_the_reserves_own_not_utc_days() -> None:
    """2026-02-01 23:30 UTC is already 2 February in Vienna."""
    assert not select(small(), Filter(first=date(2026, 2, 1), last=date(2026, 2, 1))).animals
    assert len(select(small(), Filter(first=date(2026, 2, 2), last=date(2026, 2, 2))).animals) == 1


def test_effort_and_gaps_are_cut_to_the_period() -> None:
    evidence = small(
        deployments=(
            watch(
                "alder-ford",
                "2026-01-01 00:00",
                "2026-01-31 00:00",
                gaps=(("2026-01-10 00:00", "2026-01-20 00:00", "cells empty"),),
            ),
        )
    )

    found = select(evidence, Filter(first=date(2026, 1, 9), last=date(2026, 1, 14)))

    assert [spans for _, spans in found.watched.values()] == [((utc("2026-01-08 23:00"), utc("2026-01-10 00:00")),)]
    assert found.gaps == (
        (
            "alder-ford",
            Gap(start_s=utc("2026-01-10 00:00"), end_s=utc("2026-01-14 23:00"), reason="cells empty"),
        ),
    )


def test_day_and_night_are_told_by_the_sun() -> None:
    """At 47.3° N on 5 January the sun rises about 07:00 UTC: 05:00 is night, 12:00 is day."""
    assert [s.species for s in select(small(), Filter(light="night")).animals] == ["red-deer", "red-deer"]
    assert [s.species for s in select(small(), Filter(light="day")).animals] == ["red-fox"]


def test_unsorted_sequences_are_counted_inside_the_selection_only() -> None:
    unseen = (
        UnseenSequence(sequence="u1", site="alder-ford", utc_s=utc("2026-01-03 00:00")),
        UnseenSequence(sequence="u2", site="barn-track", utc_s=utc("2026-03-03 00:00")),
    )

    found = select(small(unseen=unseen), Filter(sites=("alder-ford",)))

    assert [u.sequence for u in found.unseen] == ["u1"]


def test_spans_are_joined_sorted_and_empty_ones_dropped() -> None:
    assert joined([(5, 9), (1, 3), (3, 4), (8, 12), (20, 20)]) == ((1, 4), (5, 12))
    assert cut(((0, 10), (20, 30)), 5, 25) == ((5, 10), (20, 25))


def test_the_order_of_what_comes_in_changes_nothing() -> None:
    evidence = invented.year(days=60)
    turned = Evidence(
        reserve=evidence.reserve,
        sites=evidence.sites[::-1],
        deployments=evidence.deployments[::-1],
        observations=evidence.observations[::-1],
        unseen=evidence.unseen[::-1],
    )

    assert select(turned, Filter()).animals == select(evidence, Filter()).animals
    assert select(turned, Filter()).watched == select(evidence, Filter()).watched


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        (
            {"first": date(2026, 2, 1), "last": date(2026, 1, 1)},
            "from: got '2026-02-01, which is after 2026-01-01'; needed: a first day on or before the last day",
        ),
        ({"independence_min": -1}, "independence_min: got -1; needed: minutes from 0 to 10080 (a week)"),
        (
            {"independence_min": float("nan")},
            "independence_min: got nan; needed: minutes from 0 to 10080 (a week)",
        ),
        ({"light": "dusk"}, "light: got 'dusk'; needed: any, day or night"),
    ],
)
def test_a_filter_that_cannot_be_meant_is_refused(facts: dict[str, object], words: str) -> None:
    with pytest.raises(WrongInput) as refused:
        Filter(**facts)  # type: ignore[arg-type]

    assert str(refused.value) == words

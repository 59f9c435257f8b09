"""One coming of a species to a site counts once."""

from __future__ import annotations

from itertools import pairwise

import invented
from hypothesis import given
from hypothesis import strategies as st

from trod.findings.passages import passages

sighting = invented.sighting


def test_events_closer_than_the_interval_are_one_passage_with_the_largest_count() -> None:
    found = passages(
        [
            sighting("red-deer", "2026-01-05 05:00", count=2),
            sighting("red-deer", "2026-01-05 05:20", count=4),
            sighting("red-deer", "2026-01-05 05:45", count=1),
        ],
        30,
    )

    assert [(p.count, len(p.events)) for p in found] == [(4, 3)]
    assert found[0].utc_s == invented.utc("2026-01-05 05:00")


def test_exactly_the_interval_apart_are_two_passages() -> None:
    apart = [sighting("red-deer", "2026-01-05 05:00"), sighting("red-deer", "2026-01-05 05:30")]

    assert len(passages(apart, 30)) == 2
    assert len(passages(apart, 30.01)) == 1


def test_the_gap_runs_from_the_end_of_a_long_event() -> None:
    long = sighting("red-deer", "2026-01-05 05:00", end_s=invented.utc("2026-01-05 06:00"))
    after = sighting("red-deer", "2026-01-05 06:20")

    assert len(passages([long, after], 30)) == 1


def test_other_species_and_other_sites_never_merge() -> None:
    rows = [
        sighting("red-deer", "2026-01-05 05:00"),
        sighting("red-fox", "2026-01-05 05:01"),
        sighting("red-deer", "2026-01-05 05:02", site="barn-track"),
    ]

    assert len(passages(rows, 60)) == 3


def test_several_lines_about_one_event_are_added_up() -> None:
    rows = [
        sighting("red-deer", "2026-01-05 05:00", event="e", count=2, sex="female"),
        sighting("red-deer", "2026-01-05 05:00", event="e", count=1, age_class="juvenile"),
    ]

    assert [p.count for p in passages(rows, 30)] == [3]
    assert passages(rows, 30)[0].events == ("e",)


def test_only_animals_with_a_species_make_passages() -> None:
    rows = [
        sighting("", "2026-01-05 05:00", what="blank"),
        sighting("", "2026-01-05 06:00", what="animal"),
    ]

    assert passages(rows, 30) == ()


_TIMES = st.lists(st.integers(0, 100_000), min_size=1, max_size=40)


@given(_TIMES, st.integers(0, 120), st.integers(0, 120))
def test_a_longer_interval_never_makes_more_passages(times: list[int], one: int, other: int) -> None:
    rows = [sighting("red-deer", float(t), event=f"e{n}") for n, t in enumerate(times)]
    short, long = sorted((one, other))

    assert len(passages(rows, long)) <= len(passages(rows, short))


@given(_TIMES, st.integers(0, 120), st.randoms())
def test_every_event_lies_in_one_passage_whatever_the_order(
    times: list[int], minutes: int, dice: object
) -> None:
    rows = [sighting("red-deer", float(t), event=f"e{n:03d}") for n, t in enumerate(times)]
    mixed = list(rows)
    dice.shuffle(mixed)  # type: ignore[attr-defined]

    found = passages(mixed, minutes)

    assert found == passages(rows, minutes)
    assert sorted(event for p in found for event in p.events) == sorted(r.event for r in rows)
    assert all(b.utc_s - a.until_s >= minutes * 60 for a, b in pairwise(found))

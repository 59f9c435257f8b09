"""One coming of a species to a site counts once."""

from __future__ import annotations

from itertools import pairwise

import invented
from hypothesis import given
from hypothesis import strategies as st

from trod.findings.detections import detections

observation = invented.observation


def test_sequences_closer_than_the_interval_are_one_detection_with_the_largest_count() -> None:
    found = detections(
        [
            observation("red-deer", "2026-01-05 05:00", count=2),
            observation("red-deer", "2026-01-05 05:20", count=4),
            observation("red-deer", "2026-01-05 05:45", count=1),
        ],
        30,
    )

    assert [(p.count, len(p.sequences)) for p in found] == [(4, 3)]
    assert found[0].utc_s == invented.utc("2026-01-05 05:00")


def test_exactly_the_interval_apart_are_two_detections() -> None:
    apart = [observation("red-deer", "2026-01-05 05:00"), observation("red-deer", "2026-01-05 05:30")]

    assert len(detections(apart, 30)) == 2
    assert len(detections(apart, 30.01)) == 1


def test_the_gap_runs_from_the_end_of_a_long_sequence() -> None:
    long = observation("red-deer", "2026-01-05 05:00", end_s=invented.utc("2026-01-05 06:00"))
    after = observation("red-deer", "2026-01-05 06:20")

    assert len(detections([long, after], 30)) == 1


def test_other_species_and_other_sites_never_merge() -> None:
    rows = [
        observation("red-deer", "2026-01-05 05:00"),
        observation("red-fox", "2026-01-05 05:01"),
        observation("red-deer", "2026-01-05 05:02", site="barn-track"),
    ]

    assert len(detections(rows, 60)) == 3


def test_several_lines_about_one_sequence_are_added_up() -> None:
    rows = [
        observation("red-deer", "2026-01-05 05:00", sequence="e", count=2, sex="female"),
        observation("red-deer", "2026-01-05 05:00", sequence="e", count=1, life_stage="juvenile"),
    ]

    assert [p.count for p in detections(rows, 30)] == [3]
    assert detections(rows, 30)[0].sequences == ("e",)


def test_only_animals_with_a_species_make_detections() -> None:
    rows = [
        observation("", "2026-01-05 05:00", what="blank"),
        observation("", "2026-01-05 06:00", what="animal"),
    ]

    assert detections(rows, 30) == ()


_TIMES = st.lists(st.integers(0, 100_000), min_size=1, max_size=40)


@given(_TIMES, st.integers(0, 120), st.integers(0, 120))
def test_a_longer_interval_never_makes_more_detections(times: list[int], one: int, other: int) -> None:
    rows = [observation("red-deer", float(t), sequence=f"e{n}") for n, t in enumerate(times)]
    short, long = sorted((one, other))

    assert len(detections(rows, long)) <= len(detections(rows, short))


@given(_TIMES, st.integers(0, 120), st.randoms())
def test_every_sequence_lies_in_one_detection_whatever_the_order(times: list[int], minutes: int, dice: object) -> None:
    rows = [observation("red-deer", float(t), sequence=f"e{n:03d}") for n, t in enumerate(times)]
    mixed = list(rows)
    dice.shuffle(mixed)  # type: ignore[attr-defined]

    found = detections(mixed, minutes)

    assert found == detections(rows, minutes)
    assert sorted(sequence for p in found for sequence in p.sequences) == sorted(r.sequence for r in rows)
    assert all(b.utc_s - a.until_s >= minutes * 60 for a, b in pairwise(found))

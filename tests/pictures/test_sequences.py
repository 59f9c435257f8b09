"""Sequences and detections: partitions in time that do not hang on the order of things."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.pictures import sequences

TIMES = st.lists(st.integers(0, 100_000), max_size=60).map(sorted)
GAPS = st.integers(0, 5_000)
OBSERVATION = st.tuples(
    st.integers(0, 20_000), st.integers(0, 3_000), st.integers(0, 2), st.integers(0, 2), st.integers(0, 9)
)
OBSERVATIONS = st.lists(OBSERVATION, max_size=40)


def merge(rows: list[tuple[int, int, int, int, int]], interval_s: float) -> sequences.Detections:
    columns = [np.array([row[c] for row in rows], dtype=np.int64) for c in range(5)]
    start, length, species, site, count = columns
    return sequences.independent(start, start + length, species=species, site=site, count=count, interval_s=interval_s)


def merge_slowly(rows: list[tuple[int, int, int, int, int]], interval_s: float) -> list[tuple[int, ...]]:
    """The rule said again, one observation after another."""
    detections: list[list[int]] = []
    for start, length, species, site, count in sorted(rows, key=lambda r: (r[3], r[2], r[0])):
        end = start + length
        last = detections[-1] if detections else None
        gap = start - last[3] if last else 0
        if last and last[:2] == [site, species] and (gap <= 0 or gap < interval_s):
            last[3], last[4] = max(last[3], end), max(last[4], count)
        else:
            detections.append([site, species, start, end, count])
    return [tuple(p) for p in detections]


# --- sequences -----------------------------------------------------------------------------------


def test_a_gap_of_two_minutes_goes_on_and_a_second_more_begins_anew() -> None:
    assert sequences.group([0, 120, 240, 361]).tolist() == [0, 0, 0, 1]


def test_a_long_stay_is_one_sequence() -> None:
    assert set(sequences.group(np.arange(0, 86_400, 100)).tolist()) == {0}


@given(TIMES, GAPS)
def test_sequences_part_the_pictures_into_runs_without_a_long_gap(times: list[int], gap: int) -> None:
    labels = sequences.group(np.array(times, dtype=np.int64), gap)

    assert labels.size == len(times)
    steps = np.diff(labels)
    assert set(steps.tolist()) <= {0, 1}
    assert np.array_equal(steps == 1, np.diff(times) > gap)
    assert labels.size == 0 or labels[0] == 0


@given(TIMES, GAPS, GAPS)
def test_a_longer_gap_never_parts_what_a_shorter_one_joined(times: list[int], one: int, other: int) -> None:
    fine, coarse = sequences.group(times, min(one, other)), sequences.group(times, max(one, other))
    for a, b in zip(range(len(times)), range(1, len(times)), strict=False):
        assert fine[a] != fine[b] or coarse[a] == coarse[b]


@given(TIMES, GAPS, st.integers(-(10**9), 10**9))
def test_sequences_do_not_hang_on_when_the_count_of_time_begins(times: list[int], gap: int, shift: int) -> None:
    moved = np.array(times, dtype=np.int64) + shift
    assert np.array_equal(sequences.group(times, gap), sequences.group(moved, gap))


def test_no_pictures_are_no_sequences() -> None:
    assert sequences.group([]).tolist() == []


@pytest.mark.parametrize(
    ("times", "gap", "words"),
    [
        ([5, 3], 1, "times_s: got 'times out of order or unknown'"),
        ([1.0, float("nan")], 1, "times_s: got 'times out of order or unknown'"),
        ([1, 2], -1, "gap_s: got -1; needed: seconds, 0 or more"),
        ([[1, 2]], 1, "needed: one row of times"),
    ],
)
def test_times_that_cannot_be_grouped_are_refused(times: list[float], gap: int, words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        sequences.group(times, gap)


# --- detections ---------------------------------------------------------------------------------


def test_half_an_hour_apart_are_two_and_a_second_less_is_one_with_the_largest_count() -> None:
    apart = merge([(0, 60, 1, 1, 2), (60 + 1800, 10, 1, 1, 5)], 1800)
    assert (len(apart), apart.count.tolist()) == (2, [2, 5])

    together = merge([(0, 60, 1, 1, 2), (60 + 1799, 10, 1, 1, 5)], 1800)
    assert (len(together), together.count.tolist()) == (1, [5])
    assert (together.start_s.tolist(), together.end_s.tolist()) == ([0], [60 + 1799 + 10])


def test_other_species_and_other_sites_are_other_detections() -> None:
    assert len(merge([(0, 0, 1, 1, 1), (10, 0, 2, 1, 1), (20, 0, 1, 2, 1)], 1800)) == 3


def test_a_short_visit_within_a_long_stay_does_not_end_it() -> None:
    assert len(merge([(0, 5000, 1, 1, 3), (100, 10, 1, 1, 1), (5100, 10, 1, 1, 1)], 1800)) == 1


@given(OBSERVATIONS, st.integers(0, 4_000))
def test_detections_agree_with_the_rule_said_slowly(rows: list[tuple[int, int, int, int, int]], interval: int) -> None:
    found = merge(rows, interval)
    fast = list(
        zip(
            *(a.astype(int).tolist() for a in (found.site, found.species, found.start_s, found.end_s, found.count)),
            strict=True,
        )
    )
    assert fast == merge_slowly(rows, interval)


@given(OBSERVATIONS, st.integers(0, 4_000), st.randoms())
def test_detections_do_not_hang_on_the_order_of_the_observations(
    rows: list[tuple[int, int, int, int, int]], interval: int, random: Random
) -> None:
    shuffled = list(rows)
    random.shuffle(shuffled)
    one, other = merge(rows, interval), merge(shuffled, interval)
    for a, b in zip(
        (one.start_s, one.end_s, one.species, one.site, one.count),
        (other.start_s, other.end_s, other.species, other.site, other.count),
        strict=True,
    ):
        assert np.array_equal(a, b)


@given(OBSERVATIONS, st.integers(0, 4_000), st.integers(0, 4_000))
def test_a_longer_interval_never_makes_more_detections(
    rows: list[tuple[int, int, int, int, int]], one: int, other: int
) -> None:
    assert len(merge(rows, max(one, other))) <= len(merge(rows, min(one, other)))


@given(OBSERVATIONS, st.integers(0, 4_000))
def test_every_observation_lies_in_one_detection_of_its_own_kind(
    rows: list[tuple[int, int, int, int, int]], interval: int
) -> None:
    found = merge(rows, interval)
    for (start, length, species, site, count), label in zip(rows, found.label, strict=True):
        assert (found.species[label], found.site[label]) == (species, site)
        assert found.start_s[label] <= start
        assert start + length <= found.end_s[label]
        assert count <= found.count[label]
    assert set(found.label.tolist()) == set(range(len(found)))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"end_s": [0.0]}, "end_s: got 'an end before its start, or unknown'"),
        ({"count": [-1]}, "count: got -1; needed: 0 or more"),
        ({"site": [1, 2]}, "observations: .*needed: rows of one and the same length"),
        ({"interval_s": -1}, "interval_s: got -1"),
    ],
)
def test_observations_that_cannot_be_are_refused(change: dict[str, object], words: str) -> None:
    good = {"start_s": [5.0], "end_s": [6.0], "species": [1], "site": [1], "count": [1]}
    with pytest.raises(WrongInput, match=words):
        sequences.independent(**(good | change))  # type: ignore[arg-type]


# --- words ------------------------------------------------------------------------------------


def test_the_rule_is_said_in_words() -> None:
    assert sequences.sentence() == "Pictures of one deployment at most 2 minutes apart are one sequence."
    assert sequences.sentence(45) == "Pictures of one deployment at most 45 seconds apart are one sequence."

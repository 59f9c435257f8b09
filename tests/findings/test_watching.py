"""When a camera watched: what is proven, what was lost, what nobody knows."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.findings import watching as w
from trod.findings.watching import Decision, Fact, Interval, Watching

DAY = 86_400.0
VIENNA = "Europe/Vienna"


def at(*when: int) -> float:
    return datetime(*when, tzinfo=UTC).timestamp()  # type: ignore[arg-type, misc]


def spans(parts: tuple[Interval, ...]) -> list[tuple[float, float]]:
    return [(p.from_s / DAY, p.to_s / DAY) for p in parts]


def reasons(found: Watching) -> list[str]:
    return [one.reason for one in sorted([*found.open, *found.lost], key=lambda one: one.from_s)]


def working(day: float) -> Fact:
    return Fact(at_s=day * DAY, says="watching")


def fact(day: float, says: w.Says) -> Fact:
    return Fact(at_s=day * DAY, says=says)


# --- without time-lapse -----------------------------------------------------------------------


def test_between_two_signs_of_life_a_camera_watched_and_before_and_after_nobody_knows() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[2 * DAY, 20 * DAY])
    assert spans(found.watched) == [(2, 20)]
    assert spans(found.open) == [(0, 2), (20, 30)]
    assert found.lost == ()
    assert (found.proven_days, found.possible_days) == (18, 30)


def test_of_an_open_end_that_part_counts_which_the_rhythm_lets_pass_unseen() -> None:
    """Eight sequences in 14 days: 2 days a sequence with both ends open, so 2 days of each end count."""
    found = w.work_out(0, 30 * DAY, pictures_s=[(3 + 2 * n) * DAY for n in range(8)])
    assert spans(found.open) == [(0, 3), (17, 30)]
    assert spans(found.counted) == [(1, 19)]
    assert found.days == 18

    one_end = w.work_out(3 * DAY, 30 * DAY, pictures_s=[(3 + 2 * n) * DAY for n in range(8)])
    assert spans(one_end.counted) == [(3, 17 + 14 / 8)]


def test_a_card_with_one_picture_proves_no_time_at_all() -> None:
    """It used to count from the set-up to the picture; two pictures two minutes apart prove two minutes."""
    one = w.work_out(0, 40 * DAY, pictures_s=[39 * DAY])
    assert (one.proven_days, one.days, one.possible_days) == (0, 0, 40)
    two = w.work_out(0, 40 * DAY, pictures_s=[20 * DAY, 20 * DAY + 120])
    assert two.proven_days == pytest.approx(120 / DAY)
    assert two.days < 3 * 120 / DAY + 1e-9


def test_a_visit_that_found_it_working_proves_the_time_since_the_last_sign() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[2 * DAY, 20 * DAY], facts=[working(30)])
    assert spans(found.watched) == [(2, 30)]
    assert spans(found.open) == [(0, 2)]


def test_a_walk_at_the_set_up_that_made_a_picture_closes_the_beginning() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[20 * DAY], facts=[working(0), working(30)])
    assert spans(found.watched) == [(0, 30)]
    assert found.open == ()


def test_a_camera_found_dead_stopped_nobody_knows_when() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[0, 20 * DAY], facts=[fact(30, "stopped")])
    assert spans(found.watched) == [(0, 20)]
    assert spans(found.open) == [(20, 30)]
    assert reasons(found) == ["stopped at some time before it was found not working"]


def test_after_a_visit_that_found_it_dead_it_watches_again_from_its_next_sign() -> None:
    found = w.work_out(0, 60 * DAY, pictures_s=[0, 5 * DAY, 45 * DAY], facts=[fact(30, "stopped"), working(60)])
    assert spans(found.watched) == [(0, 5), (45, 60)]
    assert reasons(found) == [
        "stopped at some time before it was found not working",
        "started again at some time after it was found not working",
    ]


def test_a_full_card_recorded_nothing_after_its_last_picture() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[0, 20 * DAY], facts=[fact(30, "full")])
    assert (spans(found.lost), reasons(found)) == ([(20, 30)], ["the card was full"])


def test_a_camera_that_was_gone_watched_nothing_until_the_next_sign() -> None:
    gone = w.work_out(0, 30 * DAY, pictures_s=[0, 5 * DAY], facts=[fact(10, "gone")])
    assert (spans(gone.lost), spans(gone.open)) == ([(10, 30)], [(5, 10)])
    back = w.work_out(0, 30 * DAY, pictures_s=[0, 5 * DAY, 20 * DAY], facts=[fact(10, "gone"), working(30)])
    assert (spans(back.lost), spans(back.watched)) == ([(10, 20)], [(0, 5), (20, 30)])


def test_a_camera_without_any_sign_of_life_is_neither_watched_nor_lost() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[])
    assert (found.days, found.lost_days, found.open_days, reasons(found)) == (0, 0, 30, ["no sign of life at all"])


def test_pictures_outside_the_deployment_are_counted_and_no_sign_of_life() -> None:
    found = w.work_out(10 * DAY, 20 * DAY, pictures_s=[DAY, 12 * DAY, 15 * DAY, 25 * DAY, float("nan")])
    assert found.outside == 2
    assert spans(found.watched) == [(12, 15)]


def test_an_end_before_the_start_is_refused() -> None:
    with pytest.raises(WrongInput, match="end_s: got 0; needed: an end at or after the start"):
        w.work_out(1, 0, pictures_s=[])


# --- what a person says -------------------------------------------------------------------------


def said(first: float, last: float, watched: bool, key: str = "k") -> Decision:
    return Decision(from_s=first * DAY, to_s=last * DAY, watched=watched, key=key)


def test_a_person_says_of_an_open_silence_that_it_watched_or_not() -> None:
    pictures = [0, 10 * DAY, 20 * DAY]
    yes = w.work_out(0, 30 * DAY, pictures_s=pictures, decisions=[said(20, 30, True)])
    assert (spans(yes.watched), yes.open, yes.lost) == ([(0, 30)], (), ())
    no = w.work_out(0, 30 * DAY, pictures_s=pictures, decisions=[said(20, 30, False)])
    assert (spans(no.watched), no.open, reasons(no)) == ([(0, 20)], (), ["a person says it did not watch"])
    part = w.work_out(0, 30 * DAY, pictures_s=pictures, decisions=[said(22, 30, False)])
    assert spans(part.open) == [(20, 22)]
    assert spans(part.counted) == [(0, 22)]  # 20/3 days would count, but only two are open still


def test_the_later_of_two_decisions_goes_over_the_earlier() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[0, 20 * DAY], decisions=[said(20, 30, True), said(25, 30, False)])
    assert (spans(found.watched), spans(found.lost)) == ([(0, 25)], [(25, 30)])


def test_a_decision_falls_where_a_proof_lies_against_it() -> None:
    """A picture inside a stretch that did not watch; a visit that found it dead inside one that did."""
    a = w.work_out(0, 30 * DAY, pictures_s=[0, 10 * DAY, 20 * DAY], decisions=[said(5, 15, False, "a")])
    assert (a.refuted, spans(a.watched)) == (("a",), [(0, 20)])
    b = w.work_out(0, 30 * DAY, pictures_s=[0, 10 * DAY], facts=[fact(20, "stopped")],
                   decisions=[said(10, 30, True, "b")])  # fmt: skip
    assert (b.refuted, spans(b.watched)) == (("b",), [(0, 10)])


# --- with a daily time-lapse ------------------------------------------------------------------


def noons(first: int, last: int, *, without: tuple[int, ...] = ()) -> list[float]:
    return [(day + 0.5) * DAY for day in range(first, last + 1) if day not in without]


def test_a_day_without_a_frame_is_lost() -> None:
    found = w.work_out(0.25 * DAY, 9.75 * DAY, pictures_s=[], frames_s=noons(0, 9, without=(4, 5)), daily_frames=True)
    assert spans(found.watched) == [(0.25, 4), (6, 9.75)]
    assert reasons(found) == ["no time-lapse frame and no picture"]


def test_a_picture_shows_that_a_camera_worked_on_a_day_without_a_frame() -> None:
    found = w.work_out(0, 10 * DAY, pictures_s=[4.9 * DAY], frames_s=noons(0, 9, without=(4,)), daily_frames=True)
    assert (found.lost, found.open) == ((), ())


def test_a_first_day_that_begins_after_the_frames_hour_is_watched() -> None:
    found = w.work_out(0.75 * DAY, 9.25 * DAY, pictures_s=[], frames_s=noons(1, 8), daily_frames=True)
    assert found.lost == ()
    assert found.days == 8.5


def test_a_time_lapse_of_which_no_frame_came_proves_nothing() -> None:
    """It may never have been switched on: the days were counted as lost."""
    found = w.work_out(0.75 * DAY, 9.25 * DAY, pictures_s=[2 * DAY, 7 * DAY], frames_s=[], daily_frames=True)
    assert (spans(found.watched), found.lost_days) == ([(2, 7)], 0)
    assert spans(found.open) == [(0.75, 2), (7, 9.25)]


def test_frames_that_stop_end_the_effort_to_the_day() -> None:
    found = w.work_out(0, 30 * DAY, pictures_s=[], frames_s=noons(0, 11), daily_frames=True)
    assert spans(found.watched) == [(0, 12)]
    assert found.lost_days == 18


def test_days_are_the_reserves_own_where_summer_time_begins() -> None:
    """The 29 March 2026 has 23 hours in Vienna; a camera dead that day loses 23/24 of a camera-day."""
    start, end = at(2026, 3, 27, 23), at(2026, 3, 31, 22)
    frames = [at(2026, 3, 28, 11), at(2026, 3, 30, 10), at(2026, 3, 31, 10)]
    found = w.work_out(start, end, pictures_s=[], frames_s=frames, daily_frames=True, zone_name=VIENNA)

    (lost,) = found.lost
    assert (lost.from_s, lost.to_s) == (at(2026, 3, 28, 23), at(2026, 3, 29, 22))
    assert lost.days == pytest.approx(23 / 24)
    lost_day = w.by_day(found, VIENNA)[1]
    assert lost_day.day == date(2026, 3, 29)
    assert lost_day.lost_h == pytest.approx(23)
    assert lost_day.reasons == ("no time-lapse frame and no picture",)


# --- everything at once -----------------------------------------------------------------------

TIMES = st.lists(st.floats(-5 * DAY, 70 * DAY), max_size=40)
FACTS = st.lists(
    st.builds(
        Fact, at_s=st.floats(-1 * DAY, 70 * DAY), says=st.sampled_from(["watching", "stopped", "full", "gone"])
    ),
    max_size=5,
)  # fmt: skip
DECISIONS = st.lists(
    st.tuples(st.floats(-5 * DAY, 70 * DAY), st.floats(0, 20 * DAY), st.booleans()).map(
        lambda s: Decision(from_s=s[0], to_s=s[0] + s[1], watched=s[2])
    ),
    max_size=3,
)


@given(TIMES, TIMES, FACTS, DECISIONS, st.floats(0, 60 * DAY), st.booleans())
def test_watched_lost_and_open_are_exactly_the_deployment(
    shots: list[float], frames: list[float], facts: list[Fact], decisions: list[Decision], length: float, daily: bool
) -> None:
    found = w.work_out(
        0, length, pictures_s=shots, frames_s=frames, daily_frames=daily, facts=facts, decisions=decisions,
        zone_name=VIENNA,
    )  # fmt: skip
    parts = sorted([*found.watched, *found.lost, *found.open], key=lambda p: p.from_s)
    at_s = 0.0
    for part in parts:
        assert part.from_s == at_s
        assert part.to_s > part.from_s
        at_s = part.to_s
    assert at_s == length
    # A sign of life lies within no silence; what counts lies between the proven and the possible.
    signs = [*shots, *frames, *(f.at_s for f in facts if f.says == "watching")]
    for silence in (*found.lost, *found.open):
        assert not [t for t in signs if silence.from_s < t < silence.to_s], silence
    assert found.proven_days - 1e-9 <= found.days <= found.possible_days + 1e-9
    days = w.by_day(found, VIENNA)
    assert sum(d.watched_h for d in days) == pytest.approx(24 * found.proven_days)
    assert sum(d.open_h for d in days) == pytest.approx(24 * found.open_days)
    assert sum(d.lost_h for d in days) == pytest.approx(24 * found.lost_days)
    assert sum(d.counted_h for d in days) == pytest.approx(24 * found.days)


# --- silences ---------------------------------------------------------------------------------


def rhythm(seed: int, days: int, per_day: float, *, spread: float = 0.0) -> np.ndarray:
    """Sequences at random times; with `spread`, days differ as a gamma of variance spread · mean²."""
    rng = np.random.default_rng(seed)
    rate = np.full(days, per_day) if spread == 0 else rng.gamma(1 / spread, per_day * spread, days)
    number = rng.poisson(rate)
    return np.sort((np.repeat(np.arange(days), number) + rng.random(number.sum())) * DAY)


def doubted(shots: object, days: float) -> list[w.Stretch]:
    """Silences inside a record that a visit found working at both ends."""
    found = w.work_out(0, days * DAY, pictures_s=shots, facts=[working(0), working(days)])  # type: ignore[arg-type]
    return [one for one in found.open if one.chance is not None]


def test_a_fortnight_of_silence_at_a_busy_site_is_open_until_a_person_decides() -> None:
    shots = rhythm(1, 90, 4.0)
    shots = shots[(shots < 40 * DAY) | (shots > 54 * DAY)]
    (doubt,) = doubted(shots, 90)
    assert doubt.reason == "silent far longer than its own rhythm"
    assert doubt.from_s <= 40 * DAY and doubt.to_s >= 54 * DAY
    assert doubt.chance is not None and doubt.chance < 1e-3
    assert doubt.likely is None

    for watched in (True, False):
        said = Decision(from_s=doubt.from_s, to_s=doubt.to_s, watched=watched)
        told = w.work_out(0, 90 * DAY, pictures_s=shots, facts=[working(0), working(90)], decisions=[said])
        assert told.open == ()
        assert told.days == pytest.approx(90 if watched else 90 - doubt.days)


def test_a_week_of_silence_at_a_quiet_site_is_watched() -> None:
    shots = rhythm(2, 90, 0.5)
    assert doubted(shots[(shots < 40 * DAY) | (shots > 47 * DAY)], 90) == []


def test_a_few_pictures_are_no_rhythm_to_judge_by() -> None:
    assert doubted([DAY, 2 * DAY, 3 * DAY], 90) == []
    assert w.expected_silences([5, 5, 5], 10) is None
    assert w.expected_silences([1] * 9, 10) is None


def test_expected_silences_of_an_even_rhythm_are_poissons() -> None:
    """Counts that vary less than Poisson's: n·exp(−m·L)."""
    assert w.expected_silences([2, 2] * 20, 3) == pytest.approx(80 * np.exp(-6))


def test_expected_silences_of_an_uneven_rhythm_are_the_negative_binomials() -> None:
    """Counts 0, 0, 0, 8 over and over: m = 2, var = 12·32/31, k = m²/(var−m); P(0) = (1+m/k)^−k to the L."""
    counts = [0, 0, 0, 8] * 8
    k = 4 / (12 * 32 / 31 - 2)
    assert w.expected_silences(counts, 3) == pytest.approx(64 * (1 + 2 / k) ** (-3 * k))


@pytest.mark.parametrize(("per_day", "spread"), [(0.5, 0.0), (3.0, 0.0), (3.0, 2.0)])
def test_sound_cameras_are_seldom_doubted(per_day: float, spread: float) -> None:
    """300 made-up deployments of 60 days that worked: at most 2 % are doubted."""
    assert sum(bool(doubted(rhythm(s, 60, per_day, spread=spread), 60)) for s in range(300)) <= 6

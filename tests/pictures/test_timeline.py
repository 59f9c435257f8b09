"""Effort: what counts as watched, what does not, and why."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.pictures import timeline as tl
from trod.pictures.timeline import CameraVisit, Interval

DAY = 86_400.0
VIENNA = "Europe/Vienna"


def at(*when: int) -> float:
    return datetime(*when, tzinfo=UTC).timestamp()  # type: ignore[arg-type, misc]


def spans(parts: tuple[Interval, ...]) -> list[tuple[float, float]]:
    return [(p.from_s / DAY, p.to_s / DAY) for p in parts]


def reasons(found: tl.Timeline) -> list[str]:
    return [g.reason for g in found.gaps]


# --- without time-lapse -----------------------------------------------------------------------


def test_a_camera_found_working_watched_to_the_visit() -> None:
    found = tl.timeline(
        0, 30 * DAY, pictures_s=[2 * DAY, 20 * DAY], visits=[CameraVisit(at_s=30 * DAY, found_working=True)]
    )
    assert spans(found.watched) == [(0, 30)]
    assert found.gaps == ()
    assert found.days == 30


def test_a_camera_found_dead_watched_to_its_last_picture() -> None:
    found = tl.timeline(
        0, 30 * DAY, pictures_s=[2 * DAY, 20 * DAY], visits=[CameraVisit(at_s=30 * DAY, found_working=False)]
    )
    assert spans(found.watched) == [(0, 20)]
    assert spans(found.gaps) == [(20, 30)]
    assert reasons(found) == ["found not working at a visit"]


def test_a_camera_mended_at_a_visit_watches_again_from_there() -> None:
    found = tl.timeline(
        0,
        60 * DAY,
        pictures_s=[5 * DAY, 45 * DAY],
        visits=[
            CameraVisit(at_s=60 * DAY, found_working=True),
            CameraVisit(at_s=30 * DAY, found_working=False),
        ],
    )
    assert spans(found.watched) == [(0, 5), (30, 60)]
    assert found.days == 35


def test_without_a_word_on_its_state_a_camera_counts_to_its_last_picture() -> None:
    found = tl.timeline(0, 30 * DAY, pictures_s=[20 * DAY], visits=[CameraVisit(at_s=29 * DAY)])
    assert spans(found.watched) == [(0, 20)]
    assert reasons(found) == ["no sign of life to the end"]


def test_a_camera_without_any_sign_of_life_watched_nothing() -> None:
    found = tl.timeline(0, 30 * DAY, pictures_s=[])
    assert (found.days, reasons(found)) == (0, ["no sign of life at all"])


def test_a_camera_that_saw_nothing_but_was_found_working_watched_all_the_time() -> None:
    found = tl.timeline(0, 30 * DAY, pictures_s=[], visits=[CameraVisit(at_s=30 * DAY, found_working=True)])
    assert (found.days, found.gaps) == (30, ())


def test_a_camera_left_switched_off_watches_again_from_its_next_picture() -> None:
    off = CameraVisit(at_s=10 * DAY, found_working=True, left_working=False)
    found = tl.timeline(
        0,
        40 * DAY,
        pictures_s=[5 * DAY, 20 * DAY],
        visits=[off, CameraVisit(at_s=40 * DAY, found_working=True)],
    )
    assert spans(found.watched) == [(0, 10), (20, 40)]
    assert reasons(found) == ["left switched off at a visit"]

    never = tl.timeline(0, 40 * DAY, pictures_s=[5 * DAY], visits=[off])
    assert spans(never.watched) == [(0, 10)]


def test_switched_off_by_somebody_who_did_not_look_counts_to_the_last_picture() -> None:
    found = tl.timeline(0, 20 * DAY, pictures_s=[5 * DAY], visits=[CameraVisit(at_s=10 * DAY, left_working=False)])
    assert spans(found.watched) == [(0, 5)]
    assert reasons(found) == ["no sign of life up to a visit", "left switched off at a visit"]


def test_pictures_outside_the_deployment_are_counted_and_no_sign_of_life() -> None:
    found = tl.timeline(10 * DAY, 20 * DAY, pictures_s=[DAY, 15 * DAY, 25 * DAY, float("nan")])
    assert found.outside == 2
    assert spans(found.watched) == [(10, 15)]


def test_what_a_person_confirms_is_taken_off() -> None:
    found = tl.timeline(
        0,
        30 * DAY,
        pictures_s=[29 * DAY],
        visits=[CameraVisit(at_s=30 * DAY, found_working=True)],
        confirmed=[Interval(from_s=10 * DAY, to_s=15 * DAY), Interval(from_s=-5 * DAY, to_s=-1 * DAY)],
    )
    assert spans(found.watched) == [(0, 10), (15, 30)]
    assert reasons(found) == ["confirmed by a person"]


def test_an_end_before_the_start_is_refused() -> None:
    with pytest.raises(WrongInput, match="end_s: got 0; needed: an end at or after the start"):
        tl.timeline(1, 0, pictures_s=[])


# --- with a daily time-lapse ------------------------------------------------------------------


def noons(first: int, last: int, *, without: tuple[int, ...] = ()) -> list[float]:
    return [(day + 0.5) * DAY for day in range(first, last + 1) if day not in without]


def test_a_day_without_a_frame_is_a_gap() -> None:
    found = tl.timeline(0.25 * DAY, 9.75 * DAY, pictures_s=[], frames_s=noons(0, 9, without=(4, 5)), daily_frames=True)
    assert spans(found.watched) == [(0.25, 4), (6, 9.75)]
    assert reasons(found) == ["no time-lapse frame and no picture"]


def test_a_picture_shows_that_a_camera_worked_on_a_day_without_a_frame() -> None:
    found = tl.timeline(0, 10 * DAY, pictures_s=[4.9 * DAY], frames_s=noons(0, 9, without=(4,)), daily_frames=True)
    assert found.gaps == ()


def test_a_first_day_that_begins_after_the_frames_hour_is_no_gap() -> None:
    found = tl.timeline(0.75 * DAY, 9.25 * DAY, pictures_s=[], frames_s=noons(1, 8), daily_frames=True)
    assert found.gaps == ()
    assert found.days == 8.5


def test_a_camera_that_never_took_its_frame_watched_nothing() -> None:
    found = tl.timeline(0.75 * DAY, 9.25 * DAY, pictures_s=[], frames_s=[], daily_frames=True)
    assert found.days == 0


def test_frames_that_stop_end_the_effort_to_the_day() -> None:
    found = tl.timeline(0, 30 * DAY, pictures_s=[], frames_s=noons(0, 11), daily_frames=True)
    assert spans(found.watched) == [(0, 12)]


def test_days_are_the_reserves_own_where_summer_time_begins() -> None:
    """The 29 March 2026 has 23 hours in Vienna; a camera dead that day loses 23/24 of a camera-day."""
    start, end = at(2026, 3, 27, 23), at(2026, 3, 31, 22)
    frames = [at(2026, 3, 28, 11), at(2026, 3, 30, 10), at(2026, 3, 31, 10)]
    found = tl.timeline(start, end, pictures_s=[], frames_s=frames, daily_frames=True, zone_name=VIENNA)

    (gap,) = found.gaps
    assert (gap.from_s, gap.to_s) == (at(2026, 3, 28, 23), at(2026, 3, 29, 22))
    assert gap.days == pytest.approx(23 / 24)


# --- everything at once -----------------------------------------------------------------------

TIMES = st.lists(st.floats(-5 * DAY, 70 * DAY), max_size=40)
VISITS = st.lists(
    st.builds(
        CameraVisit,
        at_s=st.floats(-1 * DAY, 70 * DAY),
        found_working=st.sampled_from([None, True, False]),
        left_working=st.booleans(),
    ),
    max_size=5,
)
STRETCHES = st.lists(
    st.tuples(st.floats(-5 * DAY, 70 * DAY), st.floats(0, 20 * DAY)).map(
        lambda s: Interval(from_s=s[0], to_s=s[0] + s[1])
    ),
    max_size=3,
)


@given(TIMES, TIMES, VISITS, STRETCHES, st.floats(0, 60 * DAY), st.booleans())
def test_watched_time_and_gaps_are_exactly_the_deployment(
    shots: list[float],
    frames: list[float],
    visits: list[CameraVisit],
    confirmed: list[Interval],
    length: float,
    daily: bool,
) -> None:
    found = tl.timeline(
        0,
        length,
        pictures_s=shots,
        frames_s=frames,
        daily_frames=daily,
        visits=visits,
        confirmed=confirmed,
        zone_name=VIENNA,
    )
    parts = sorted([*found.watched, *found.gaps], key=lambda p: p.from_s)
    at_s = 0.0
    for part in parts:
        assert part.from_s == at_s
        assert part.to_s > part.from_s
        at_s = part.to_s
    assert at_s == length
    # A picture lies in a gap only where a person or a frameless rule says so.
    for gap in found.gaps:
        if gap.reason != "confirmed by a person":
            inside = [t for t in shots if gap.from_s < t < gap.to_s]
            assert not inside, gap


# --- silences ---------------------------------------------------------------------------------


def rhythm(seed: int, days: int, per_day: float, *, spread: float = 0.0) -> np.ndarray:
    """Sequences at random times; with `spread`, days differ as a gamma of variance spread · mean²."""
    rng = np.random.default_rng(seed)
    rate = np.full(days, per_day) if spread == 0 else rng.gamma(1 / spread, per_day * spread, days)
    number = rng.poisson(rate)
    return np.sort((np.repeat(np.arange(days), number) + rng.random(number.sum())) * DAY)


def working_to(day: float) -> list[CameraVisit]:
    return [CameraVisit(at_s=day * DAY, found_working=True)]


def test_a_fortnight_of_silence_at_a_busy_site_is_doubted_and_still_counted() -> None:
    shots = rhythm(1, 90, 4.0)
    shots = shots[(shots < 40 * DAY) | (shots > 54 * DAY)]
    found = tl.timeline(0, 90 * DAY, pictures_s=shots, visits=working_to(90))

    (doubt,) = found.doubts
    assert doubt.reason == "perhaps not working: silent far longer than its own rhythm"
    assert doubt.from_s <= 40 * DAY and doubt.to_s >= 54 * DAY
    assert doubt.chance is not None and doubt.chance < 1e-3
    assert found.days == 90

    confirmed = tl.timeline(0, 90 * DAY, pictures_s=shots, visits=working_to(90), confirmed=[doubt])
    assert confirmed.days == pytest.approx(90 - doubt.days)
    assert confirmed.doubts == ()


def test_a_week_of_silence_at_a_quiet_site_is_no_doubt() -> None:
    shots = rhythm(2, 90, 0.5)
    shots = shots[(shots < 40 * DAY) | (shots > 47 * DAY)]
    assert tl.timeline(0, 90 * DAY, pictures_s=shots, visits=working_to(90)).doubts == ()


def test_a_few_pictures_are_no_rhythm_to_judge_by() -> None:
    assert tl.timeline(0, 90 * DAY, pictures_s=[DAY, 2 * DAY, 3 * DAY], visits=working_to(90)).doubts == ()
    assert tl.expected_silences([5, 5, 5], 10) is None
    assert tl.expected_silences([1] * 9, 10) is None


def test_expected_silences_of_an_even_rhythm_are_poissons() -> None:
    """Counts that vary less than Poisson's: n·exp(−m·L)."""
    assert tl.expected_silences([2, 2] * 20, 3) == pytest.approx(80 * np.exp(-6))


def test_expected_silences_of_an_uneven_rhythm_are_the_negative_binomials() -> None:
    """Counts 0, 0, 0, 8 over and over: m = 2, var = 12·32/31, k = m²/(var−m); P(0) = (1+m/k)^−k to the L."""
    counts = [0, 0, 0, 8] * 8
    k = 4 / (12 * 32 / 31 - 2)
    assert tl.expected_silences(counts, 3) == pytest.approx(64 * (1 + 2 / k) ** (-3 * k))


@pytest.mark.parametrize(("per_day", "spread"), [(0.5, 0.0), (3.0, 0.0), (3.0, 2.0)])
def test_sound_cameras_are_seldom_doubted(per_day: float, spread: float) -> None:
    """300 made-up deployments of 60 days that worked: at most 2 % are doubted."""
    doubted = sum(
        bool(tl.timeline(0, 60 * DAY, pictures_s=rhythm(s, 60, per_day, spread=spread), visits=working_to(60)).doubts)
        for s in range(300)
    )
    assert doubted <= 6


# --- camera-days ------------------------------------------------------------------------------


def test_camera_days_are_exact_parts_of_24_hours() -> None:
    watched = [Interval(from_s=0, to_s=1.5 * DAY), Interval(from_s=3 * DAY, to_s=3.25 * DAY)]
    assert tl.camera_days(watched, 0, 10 * DAY) == 1.75
    assert tl.camera_days(watched, DAY, 3.125 * DAY) == 0.625
    assert tl.camera_days(watched, 5 * DAY, 6 * DAY) == 0
    with pytest.raises(WrongInput, match="to_s"):
        tl.camera_days(watched, 1, 0)


def test_camera_days_by_month_follow_the_reserves_calendar_and_its_summer_time() -> None:
    """In Vienna March 2026 lacks an hour and October has one more."""
    year = [Interval(from_s=at(2025, 12, 31, 23), to_s=at(2026, 12, 31, 23))]
    months = tl.camera_days_by_month(year, zone_name=VIENNA)

    assert list(months) == [(2026, m) for m in range(1, 13)]
    assert months[2026, 3] == pytest.approx(31 - 1 / 24)
    assert months[2026, 10] == pytest.approx(31 + 1 / 24)
    assert months[2026, 2] == 28
    assert sum(months.values()) == pytest.approx(365)


def test_a_month_between_without_effort_is_there_as_nought() -> None:
    parts = [
        Interval(from_s=at(2026, 1, 5), to_s=at(2026, 1, 6)),
        Interval(from_s=at(2026, 3, 5), to_s=at(2026, 3, 7)),
    ]
    assert tl.camera_days_by_month(parts, zone_name="UTC") == {(2026, 1): 1, (2026, 2): 0, (2026, 3): 2}
    assert tl.camera_days_by_month([], zone_name="UTC") == {}


def test_the_rule_of_effort_is_said_in_words() -> None:
    assert tl.rule_sentence(daily_frames=False) == (
        "A camera counts from its start to its last picture, or to a visit that found it working; "
        "what follows is not counted. A camera-day is 24 hours."
    )
    assert tl.rule_sentence(daily_frames=True) == (
        "A day without a time-lapse frame or any other picture is not counted. A camera-day is 24 hours."
    )

"""Camera clocks: raw, corrected, put back, reset; and the reserve's own time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod import clock
from trod.clock import AmbiguousTime, CameraClock, ClockCorrection
from trod.errors import WrongInput

RAW = datetime(2024, 5, 17, 14, 30)


def utc(*when: int) -> datetime:
    return datetime(*when, tzinfo=UTC)  # type: ignore[arg-type, misc]


def instant(camera_clock: CameraClock, raw: datetime) -> datetime:
    """What the vectorised call says of one clock time."""
    return datetime.fromtimestamp(float(camera_clock.to_utc_s(clock.raw_seconds(raw))), UTC)


def test_a_clock_two_hours_ahead_against_exif_232() -> None:
    """Exif 2.32 (CIPA DC-008-2019): 2024:05:17 14:30:00 with +02:00 is 2024-05-17T12:30:00Z."""
    assert instant(CameraClock(utc_offset_min=120), RAW) == utc(2024, 5, 17, 12, 30)


def test_a_slow_clock_is_put_forward_only_where_the_correction_holds() -> None:
    slow = ClockCorrection(
        from_raw=datetime(2024, 5, 17), to_raw=datetime(2024, 5, 18), shift_s=90, reason="visit of 18 May"
    )
    camera_clock = CameraClock(utc_offset_min=60, corrections=(slow,))

    assert instant(camera_clock, RAW) == utc(2024, 5, 17, 13, 31, 30)
    assert instant(camera_clock, datetime(2024, 5, 16, 23, 59, 59)) == utc(2024, 5, 16, 22, 59, 59)
    assert instant(camera_clock, datetime(2024, 5, 18)) == utc(2024, 5, 17, 23)


def test_drift_grows_by_the_day_from_the_beginning_of_the_correction() -> None:
    """20 ppm for 90 days is 155.52 s."""
    begin = datetime(2024, 1, 1)
    camera_clock = CameraClock(
        corrections=(ClockCorrection(from_raw=begin, drift_s_per_day=20e-6 * 86400, reason="quartz"),)
    )
    off = instant(camera_clock, begin + timedelta(days=90)) - (begin + timedelta(days=90)).replace(tzinfo=UTC)
    assert off.total_seconds() == pytest.approx(155.52, abs=1e-5)


@given(st.lists(st.floats(0, 3e9), min_size=1, max_size=30))
def test_every_clock_time_is_put_right_by_the_one_correction_that_holds_there(raw_s: list[float]) -> None:
    camera_clock = CameraClock(
        utc_offset_min=-300,
        corrections=(
            ClockCorrection(to_raw=datetime(1999, 1, 1), shift_s=5, reason="a"),
            ClockCorrection(from_raw=datetime(2005, 1, 1), to_raw=datetime(2020, 1, 1), drift_s_per_day=2, reason="b"),
            ClockCorrection(from_raw=datetime(2018, 1, 1), shift_s=-3600, reason="put back"),
        ),
    )
    to_1999, from_2005, to_2020, from_2018 = (
        datetime(year, 1, 1, tzinfo=UTC).timestamp() for year in (1999, 2005, 2020, 2018)
    )
    many = camera_clock.to_utc_s(np.array(raw_s))
    for one_s, found in zip(raw_s, many, strict=True):
        added = []
        if one_s < to_1999:
            added.append(5.0)
        if from_2005 <= one_s < to_2020:
            added.append(2 * (one_s - from_2005) / 86400)
        if one_s >= from_2018:
            added.append(-3600.0)
        if len(added) > 1:
            assert np.isnan(found)
        else:
            assert found == pytest.approx(one_s + 300 * 60 + sum(added), abs=1e-5)


def test_a_clock_time_shown_twice_is_told_and_not_guessed() -> None:
    camera_clock = CameraClock(
        corrections=(
            ClockCorrection(to_raw=datetime(2024, 6, 2), reason="before it was put back"),
            ClockCorrection(from_raw=datetime(2024, 6, 1), shift_s=86400, reason="put back a day"),
        )
    )
    assert np.isnan(camera_clock.to_utc_s([clock.raw_seconds(datetime(2024, 6, 1, 12))])[0])


def test_overlapping_corrections_that_agree_are_no_ambiguity() -> None:
    same = ClockCorrection(shift_s=60, reason="a"), ClockCorrection(shift_s=60, reason="b")
    assert instant(CameraClock(corrections=same), RAW) == utc(2024, 5, 17, 14, 31)
    assert np.isfinite(CameraClock(corrections=same).to_utc_s([0.0]))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (
            {"from_raw": utc(2024, 1, 1)},
            "from_raw: got '2024-01-01T00:00:00\\+00:00'; needed: the time as the",
        ),
        ({"from_raw": RAW, "to_raw": RAW}, "to_raw: got .*needed: a clock time after from_raw"),
        ({"shift_s": float("nan")}, "shift_s: got nan"),
        ({"from_raw": RAW, "drift_s_per_day": 4000}, "at most 3600 seconds a day either way"),
        (
            {"drift_s_per_day": 1.0},
            "from_raw: got None; needed: the clock time from which the drift is counted",
        ),
        ({"reason": " "}, "reason: got ' '; needed: a few words"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_in_words(fields: dict[str, object], words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        ClockCorrection(**({"reason": "r"} | fields))  # type: ignore[arg-type]


def test_an_offset_beyond_the_earth_is_refused() -> None:
    with pytest.raises(WrongInput, match="utc_offset_min: got 900; needed: minutes from -840 to 840"):
        CameraClock(utc_offset_min=900)


def test_the_shift_read_at_a_visit_puts_the_clock_right() -> None:
    """The camera shows 14:30:00 (meant as UTC+2) when it is 12:33:20 UTC: 200 s slow."""
    true = utc(2024, 5, 17, 12, 33, 20)
    shift_s = clock.offset_from_visit(RAW, true, 120)

    assert shift_s == 200
    correction = ClockCorrection(shift_s=shift_s, reason="visit")
    assert instant(CameraClock(utc_offset_min=120, corrections=(correction,)), RAW) == true
    with pytest.raises(WrongInput, match="true_utc"):
        clock.offset_from_visit(RAW, RAW, 0)


def test_two_visits_give_shift_and_drift() -> None:
    correction = clock.correction_between_visits(
        datetime(2024, 3, 1, 10),
        utc(2024, 3, 1, 10, 0, 5),
        datetime(2024, 5, 10, 10),
        utc(2024, 5, 10, 10, 2, 25),
        utc_offset_min=0,
        reason="visits of 1 March and 10 May",
    )
    assert (correction.shift_s, correction.drift_s_per_day) == (5, 2)
    assert instant(CameraClock(corrections=(correction,)), datetime(2024, 5, 10, 10)) == utc(2024, 5, 10, 10, 2, 25)
    with pytest.raises(WrongInput, match="a reading after the first"):
        clock.correction_between_visits(RAW, utc(2024, 1, 1), RAW, utc(2024, 1, 2), utc_offset_min=0, reason="r")


# --- jumps ------------------------------------------------------------------------------------


def test_a_clock_put_back_is_seen_in_the_order_of_the_files() -> None:
    shown = [datetime(2024, 6, 1, 12), None, datetime(2024, 6, 1, 13), datetime(2024, 6, 1, 11, 59)]
    (jump,) = clock.detect_jumps(shown)

    assert (jump.index, jump.kind, jump.sure) == (3, "back", True)
    assert jump.step_s == -3660
    assert str(jump) == "the clock went back from 2024-06-01 13:00 to 2024-06-01 11:59"


def test_small_steps_back_inside_a_burst_are_no_jump() -> None:
    begin = datetime(2024, 6, 1, 12)
    assert clock.detect_jumps([begin, begin - timedelta(seconds=2), begin - timedelta(minutes=60)]) == ()


def test_a_clock_that_lost_its_power_starts_on_the_first_of_january() -> None:
    (jump,) = clock.detect_jumps([datetime(2024, 6, 1, 12), datetime(2020, 1, 1, 0, 3)])
    assert (jump.kind, jump.sure) == ("reset", True)

    (jump,) = clock.detect_jumps([datetime(2019, 6, 1, 12), datetime(2020, 1, 1, 0, 3)])
    assert (jump.kind, jump.sure) == ("reset", False)
    assert "perhaps" in str(jump)


def test_new_years_night_itself_is_no_reset() -> None:
    assert clock.detect_jumps([datetime(2023, 12, 30), datetime(2024, 1, 1, 0, 20)]) == ()


# --- the reserve's time -----------------------------------------------------------------------


def test_the_hour_that_happens_twice_is_told_and_can_be_chosen() -> None:
    wall = datetime(2026, 10, 25, 2, 30)
    with pytest.raises(AmbiguousTime) as told:
        clock.utc_from_local(wall, "Europe/Vienna")

    assert told.value.candidates == (utc(2026, 10, 25, 0, 30), utc(2026, 10, 25, 1, 30))
    assert "happened twice in Europe/Vienna" in str(told.value)
    assert clock.utc_from_local(wall, "Europe/Vienna", fold=0) == utc(2026, 10, 25, 0, 30)
    assert clock.utc_from_local(wall, "Europe/Vienna", fold=1) == utc(2026, 10, 25, 1, 30)


def test_the_hour_that_never_happens_is_told() -> None:
    with pytest.raises(AmbiguousTime) as told:
        clock.utc_from_local(datetime(2026, 3, 29, 2, 30), "Europe/Vienna", fold=0)
    assert told.value.candidates == ()
    assert str(told.value) == (
        "2026-03-29 02:30:00 does not exist in Europe/Vienna: summer time leaps over it. Give an hour more or less."
    )


def test_an_ordinary_wall_clock_time_needs_no_choosing() -> None:
    assert clock.utc_from_local(RAW, "Europe/Vienna") == utc(2024, 5, 17, 12, 30)
    assert clock.local(utc(2024, 5, 17, 12, 30), "Europe/Vienna").replace(tzinfo=None) == RAW


def test_a_zone_nobody_knows_is_refused() -> None:
    for name in ("Mars/Olympus", "../../etc/passwd", ""):
        with pytest.raises(WrongInput, match="needed: an IANA time zone such as Europe/Vienna or UTC"):
            clock.zone(name)


@given(st.lists(st.floats(1.5e9, 2e9), min_size=1, max_size=20))
def test_zone_offsets_at_many_instants_agree_with_one_by_one(utc_s: list[float]) -> None:
    for name in ("Europe/Vienna", "Australia/Lord_Howe", "Asia/Kathmandu"):
        many = clock.utc_offsets_s(np.array(utc_s), name)
        for t, offset in zip(utc_s, many, strict=True):
            one = datetime.fromtimestamp(t, clock.zone(name)).utcoffset()
            assert one == timedelta(seconds=float(offset))


def test_local_days_are_23_and_25_hours_long_where_summer_time_begins_and_ends() -> None:
    def lengths(*day: int) -> list[float]:
        noon = datetime(*day, 12, tzinfo=timezone(timedelta(hours=1))).timestamp()  # type: ignore[misc, arg-type]
        cuts = clock.day_starts_s(noon, noon + 1, "Europe/Vienna")
        return [(b - a) / 3600 for a, b in pairwise(cuts)]

    assert lengths(2026, 3, 29) == [23]
    assert lengths(2026, 10, 25) == [25]
    assert lengths(2026, 5, 1) == [24]

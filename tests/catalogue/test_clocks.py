"""Camera clocks in the catalogue."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pulled
import pytest

from trod import clock
from trod.catalogue.imports import clocks
from trod.catalogue.models import ClockCorrection, Picture, Sequence, Visit
from trod.errors import WrongInput

NOON = datetime(2026, 6, 30, 12, tzinfo=UTC)


def visit(small: Any, at: datetime, error_s: float) -> Visit:
    """A visit at which the clock was found out by so much."""
    shown = at + timedelta(hours=1, seconds=error_s)
    return Visit.objects.create(
        site=small.alder.site,
        deployment=small.alder,
        at=at,
        by="Suri Penhallick",
        clock_shown=shown,
        clock_true=at,
    )


def test_a_clock_an_hour_ahead_is_proposed_accepted_and_its_pictures_move(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    take(card.folder, small.alder)
    visit(small, datetime(2026, 5, 10, 9, tzinfo=UTC), 3600)

    (one,) = clocks.proposals(small.alder)
    assert one.sentence == (
        "The clock was 1 h fast. Suri Penhallick read 10 May 2026 11:00 off it on 10 May 2026 at 10:00."
    )
    assert one.pictures == 9
    clocks.correct(
        small.alder,
        shift_s=one.shift_s,
        from_raw=one.from_raw,
        to_raw=one.to_raw,
        reason=one.reason,
        by="Ilka",
        now=NOON,
    )
    first = Picture.objects.order_by("file_order").first()
    assert first.taken_raw == datetime(2026, 5, 1, 6, tzinfo=UTC)
    assert first.taken_at == datetime(2026, 5, 1, 4, tzinfo=UTC)
    assert Sequence.objects.order_by("start_at").first().start_at == first.taken_at
    assert clocks.proposals(small.alder) == []


def test_minutes_that_grew_over_weeks_are_taken_for_drift(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3, datetime(2026, 6, 1, 6)))
    take(card.folder, small.alder)
    visit(small, datetime(2026, 4, 30, 10, tzinfo=UTC), 0)
    visit(small, datetime(2026, 6, 20, 10, tzinfo=UTC), -600)
    (one,) = clocks.proposals(small.alder)
    assert one.shift_s == 0 and one.drift_s_per_day == pytest.approx(600 / (51 - 600 / 86400))  # days of its own
    assert "drifted evenly" in one.sentence


def test_a_drift_is_reckoned_from_what_was_read_at_the_visit_before(small: Any, take: Any) -> None:
    """Two minutes behind, then ten: 480 s in 51 days and not 600, and at both readings the clock is put right."""
    card = small.card()
    card.bursts(pulled.days(3, datetime(2026, 6, 1, 6)))
    take(card.folder, small.alder)
    first, second = datetime(2026, 4, 30, 10, tzinfo=UTC), datetime(2026, 6, 20, 10, tzinfo=UTC)
    visit(small, first, -120)
    visit(small, second, -600)

    (one,) = clocks.proposals(small.alder)
    clocks.correct(
        small.alder, shift_s=one.shift_s, drift_s_per_day=one.drift_s_per_day, from_raw=one.from_raw,
        to_raw=one.to_raw, reason=one.reason, by="Ilka", now=NOON,
    )  # fmt: skip
    put_right = clocks.camera_clock(small.alder)

    assert one.shift_s == 120 and one.drift_s_per_day == pytest.approx(480 / 51, rel=1e-3)
    for at, behind_s in ((first, 120), (second, 600)):
        shown = (at + timedelta(minutes=small.alder.utc_offset_min, seconds=-behind_s)).replace(tzinfo=None)
        told_s = put_right.to_utc_s(clock.raw_seconds(shown - timedelta(seconds=1) if at is second else shown))
        assert abs(float(told_s) - at.timestamp()) < 1.1
    assert clocks.proposals(small.alder) == []


def test_a_clock_that_was_set_at_the_visit_before_drifts_from_nothing(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3, datetime(2026, 6, 1, 6)))
    take(card.folder, small.alder)
    visit(small, datetime(2026, 4, 30, 10, tzinfo=UTC), -3600)
    visit(small, datetime(2026, 6, 20, 10, tzinfo=UTC), -600)
    one = clocks.proposals(small.alder)[-1]
    assert one.shift_s == 0 and one.drift_s_per_day == pytest.approx(600 / 51)


def test_a_few_minutes_are_left_alone(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3))
    take(card.folder, small.alder)
    visit(small, datetime(2026, 5, 10, 9, tzinfo=UTC), 240)
    assert clocks.proposals(small.alder) == []


def test_a_clock_that_fell_to_its_factory_date_is_proposed_by_years(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(3, datetime(2023, 1, 1, 0, 10)))
    row = take(card.folder, small.alder)
    assert any("outside this deployment" in note for note in row.all_notes)
    reset = datetime(2023, 1, 11, tzinfo=UTC)
    true = small.alder.start + timedelta(days=10)
    Visit.objects.create(
        site=small.alder.site, deployment=small.alder, at=true, by="Suri", clock_shown=reset, clock_true=true
    )
    (one,) = clocks.proposals(small.alder)
    assert one.sentence.startswith("The clock was 3.3 years slow.") and one.pictures == 9
    clocks.correct(
        small.alder,
        shift_s=one.shift_s,
        from_raw=one.from_raw,
        to_raw=one.to_raw,
        reason=one.reason,
        by="Ilka",
        now=NOON,
    )
    assert Picture.objects.order_by("taken_at").first().taken_at.year == 2026


def test_a_time_that_fits_two_corrections_is_told_and_left_open(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    take(card.folder, small.alder)
    clocks.correct(small.alder, shift_s=60, reason="one", by="Ilka", now=NOON)
    _, told = clocks.correct(small.alder, shift_s=90, reason="another", by="Ilka", now=NOON)
    assert told == ["6 pictures have a time that fits two corrections; they are in no sequence until one is mended."]
    assert Picture.objects.filter(taken_at__isnull=False).count() == 0


def test_a_correction_is_undone_once_and_stays_on_record(small: Any, take: Any) -> None:
    card = small.card()
    card.bursts(pulled.days(2))
    take(card.folder, small.alder)
    before = list(Picture.objects.order_by("pk").values_list("taken_at", flat=True))
    row, _ = clocks.correct(small.alder, shift_s=3600, reason="summer time", by="Ilka", now=NOON)
    clocks.undo(row, by="Tobin", now=NOON)
    assert list(Picture.objects.order_by("pk").values_list("taken_at", flat=True)) == before
    assert ClockCorrection.objects.get().undone_by == "Tobin"
    with pytest.raises(WrongInput, match="one that stands"):
        clocks.undo(row, by="Tobin", now=NOON)


def test_a_correction_without_a_reason_is_refused_and_nothing_is_kept(small: Any) -> None:
    with pytest.raises(WrongInput, match="a few words on how the correction is known"):
        clocks.correct(small.alder, shift_s=3600, reason=" ", by="Ilka", now=NOON)
    assert ClockCorrection.objects.count() == 0


def test_a_picture_without_a_time_takes_its_files_and_no_correction_moves_it(small: Any, take: Any) -> None:
    card = small.card()
    card.shoot(None)
    take(card.folder, small.alder)
    clocks.correct(small.alder, shift_s=3600, reason="summer time", by="Ilka", now=NOON)
    picture = Picture.objects.get()
    assert (picture.time_from, picture.taken_at) == ("file", pulled.FIRST.replace(tzinfo=UTC))


@pytest.mark.parametrize(("ahead_s", "moved"), [(0, 0), (-3600, 3600)])
def test_clips_are_read_in_utc_or_by_the_input_as_the_pictures_beside_them_tell(ahead_s: int, moved: int) -> None:
    base = 1_000_000.0
    rows = [
        (1, None, 0, "exif", None, 7, 1),
        (2, None, 0, "clip", None, 7, 2),
        (3, None, 0, "exif", None, 7, 3),
    ]
    import numpy as np

    raw_s = np.array([base, base + 20 + ahead_s, base + 40])
    assert clocks._clips_in_utc(rows, raw_s, 3600).tolist() == [0, moved, 0]


def test_a_drift_is_told_as_seconds_a_day_and_not_as_no_error_at_all():
    slow = clocks.ClockProposal(1, None, datetime(2026, 5, 10, 11), 0.0, 2.5, "Read at the visit.", 9)

    assert slow.sentence == "The clock went 2.5 s a day slow. Read at the visit."

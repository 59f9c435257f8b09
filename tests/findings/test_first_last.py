"""The first and last detections of seasons, and what is known of the days beyond them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import invented
import numpy as np
import pytest

from trod.errors import NotEnoughEvidence
from trod.findings import Deployment, Evidence, Filter, Gap, Site, UnseenSequence
from trod.findings.first_last import first_last
from trod.findings.taxa import Taxon

UTC = replace(invented.RESERVE, zone="UTC")
DEER = Filter(species=("red-deer",))


def record(*seen: str, watched: tuple[tuple[str, str], ...] = (("2025-03-01", "2025-06-01"),), **more) -> Evidence:
    """One site; red deer at these instants."""
    spans = tuple((invented.utc(f"{a} 00:00"), invented.utc(f"{b} 00:00")) for a, b in watched)
    return Evidence(
        reserve=UTC,
        sites=(Site(slug="alder-ford", name="Alder Ford", latitude_deg=47.3, longitude_deg=12.8),),
        deployments=(Deployment(slug="alder-ford-1", site="alder-ford", watched=spans, open=more.pop("open", ())),),
        observations=(*(invented.observation("red-deer", when) for when in seen), *more.pop("also", ())),
        **more,
    )


def test_watched_days_before_the_first_and_after_the_last_are_counted() -> None:
    (row,) = first_last(record("2025-03-21 00:00", "2025-05-02 12:00"), DEER).table

    assert row.stretch.name == "Spring 2025"
    assert (row.first.day, row.last.day) == (date(2025, 3, 21), date(2025, 5, 2))
    assert row.first.days_beyond == pytest.approx(20.0)
    assert row.last.days_beyond == pytest.approx(29.5)  # from noon of 2 May to the end of May
    # None seen: 2.9957 runs (Hanley & Lippman-Hand 1983); of two detections nobody knows how they run, so 4 each (ours).
    assert row.first.most_per_100 == pytest.approx(100 * 4 * 2.9957 / 20, rel=1e-4)
    assert (row.first.without, row.last.without) == (date(2025, 3, 20), date(2025, 5, 3))


def test_a_camera_set_up_on_the_first_days_tells_nothing_of_the_days_before() -> None:
    (row,) = first_last(record("2025-03-20 06:00", watched=(("2025-03-20", "2025-06-01"),)), DEER).table

    assert row.first.days_beyond == pytest.approx(0.25)
    assert row.first.most_per_100 is None and row.first.without is None


def test_time_of_which_nobody_knows_is_no_silence() -> None:
    gap = Gap(start_s=invented.utc("2025-03-05 00:00"), end_s=invented.utc("2025-03-20 00:00"))
    (row,) = first_last(record("2025-03-21 00:00", open=(gap,)), DEER).table

    assert row.first.days_beyond == pytest.approx(20 - 15)


def test_what_waits_for_review_may_be_the_first_and_its_day_is_no_day_without() -> None:
    waits = tuple(
        UnseenSequence(sequence=f"u{n}", site="alder-ford", utc_s=invented.utc(f"2025-03-{n:02d} 09:00"))
        for n in (12, 20)
    )
    (row,) = first_last(record("2025-03-21 00:00", unseen=waits), DEER).table

    assert (row.first.maybe, row.first.maybe_on) == (2, date(2025, 3, 12))
    assert row.first.days_beyond == pytest.approx(18.0)
    assert row.first.without == date(2025, 3, 19)
    assert row.last.maybe == 0


def test_an_animal_known_only_as_a_deer_may_be_it_for_deer_but_not_for_foxes() -> None:
    deer = invented.observation("deer", "2025-03-10 09:00")
    fox = invented.observation("red-fox", "2025-03-21 00:00")
    taxa = (Taxon(key="deer", name="Deer", rank="family"), Taxon(key="red-deer", name="Red deer", parent="deer"))
    known = first_last(record("2025-03-21 00:00", also=(deer, fox), taxa=taxa), Filter(species=("red-deer", "red-fox")))
    first = {row.species: row.first for row in known.table}

    assert first["red-deer"].maybe == 1 and first["red-deer"].days_beyond == pytest.approx(19.0)
    assert first["red-fox"].maybe == 0 and first["red-fox"].days_beyond == pytest.approx(20.0)


def test_a_species_seen_just_before_the_season_has_not_come_in_it() -> None:
    seen = record("2025-02-27 12:00", "2025-03-21 00:00", watched=(("2025-02-01", "2025-06-01"),))
    newest, before = first_last(seen, DEER).table

    assert newest.first.outside == date(2025, 2, 27) and newest.last.outside is None
    assert before.last.outside == date(2025, 3, 21)
    spring = first_last(seen, replace(DEER, first=date(2025, 3, 1))).table
    assert [row.first.outside for row in spring] == [date(2025, 2, 27)]  # beyond what was asked for, too


def test_nothing_watched_is_refused() -> None:
    with pytest.raises(NotEnoughEvidence, match="no camera watched"):
        first_last(record(watched=()), DEER)


def test_in_the_south_march_begins_autumn_and_without_a_place_months_are_named() -> None:
    seen = record("2025-03-21 00:00")
    south = replace(seen, reserve=replace(UTC, latitude_deg=-33.0))
    nowhere = replace(seen, reserve=replace(UTC, latitude_deg=None, longitude_deg=None))

    assert first_last(south, DEER).table[0].stretch.name == "Autumn 2025"
    assert first_last(nowhere, DEER).table[0].stretch.name == "March to May 2025"


@pytest.mark.parametrize("run", [1.0, 4.0])
def test_the_limit_holds_for_single_detections_and_for_runs(run: float) -> None:
    """Runs at random of so many detections on average, within five days; what is told holds the rate in 95 of 100."""
    rng = np.random.default_rng(7)
    start, held, told = invented.utc("2025-03-01 00:00"), 0, 0
    for _ in range(150):
        begun = rng.uniform(-5, 92, rng.poisson(15 / run * 97 / 92))
        days = [at + float(rng.uniform(0, 5)) for at in begun for _ in range(rng.geometric(1 / run))]
        seen = tuple(invented.observation("red-deer", start + 86_400 * at) for at in days if 0 <= at < 92)
        rows = first_last(record(also=seen), replace(DEER, independence_min=0)).table
        if rows and rows[0].first.most_per_100 is not None:
            told += 1
            held += rows[0].first.most_per_100 / 100 >= 15 / 92

    assert told > 100
    assert held / told >= 0.95 - 3 * (0.95 * 0.05 / told) ** 0.5

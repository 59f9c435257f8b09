"""The benchmark's round as a test: forty stops on two days. How long it takes stands in benchmarks/rounds.py."""

from __future__ import annotations

import importlib.util
import sys
from datetime import timedelta
from pathlib import Path

import pytest

STUDY = Path(__file__).resolve().parents[3] / "benchmarks" / "rounds.py"


@pytest.mark.long
@pytest.mark.parametrize("searcher", ["pyvrp", "own"])
def test_forty_stops_are_shared_between_two_days_and_two_parties(searcher: str) -> None:
    spec = importlib.util.spec_from_file_location("rounds_study", STUDY)
    assert spec is not None and spec.loader is not None
    study = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = study
    spec.loader.exec_module(study)
    from trod.planning.visit.rounds import Party, RoundDay, Span, plan_round
    from trod.planning.visit.tracks import along, join

    start, stops, tracks, grid, first = study.invented(40, 2)
    days = [RoundDay(day=first + timedelta(days=d), out=Span(from_min=420, to_min=1080)) for d in range(2)]
    parties = (Party(name="Vera", most_load_kg=25), Party(name="Ilo and Sten", people=2, most_load_kg=45))
    network = join(tracks, grid=grid)
    ways = along([start, *(stop.place for stop in stops)], network, drive=True, grid=grid)
    plan = plan_round(stops, start=start, days=days, parties=parties, ways=ways, searcher=searcher)

    assert len(stops) == 40
    assert plan.stops + len(plan.left_out) == 40 and plan.stops >= 25
    assert {trip.day for trip in plan.trips} == {day.day for day in days}
    assert plan.searcher == searcher

"""The study of planned trips against a monthly round, in small; and whether its world is what it says."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from pytest import approx

STUDY = Path(__file__).resolve().parents[3] / "benchmarks" / "upkeep.py"


@pytest.fixture(scope="module")
def study() -> ModuleType:
    """benchmarks/upkeep.py."""
    spec = importlib.util.spec_from_file_location("upkeep_study", STUDY)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def still(study: ModuleType, **changed: object) -> object:
    """A camera that uses a hundredth of a Wh and a tenth of its card's megabytes a day, at 21 °C."""
    zeros = np.zeros(study.DAYS, dtype=np.int64)
    usual = {
        "kind": "trail", "battery": "FR6", "batteries": 8, "card_gb": 32, "clip_s": 0.0, "animals": zeros, "night": zeros,  # noqa: E501
        "blanks": zeros, "wh": np.full(study.DAYS, 0.01), "mb": np.full(study.DAYS, 10.0),
        "nights_c": np.full(study.DAYS, 21.0), "faults": (),
    }  # fmt: skip
    return study.Truth(**(usual | changed))


def test_the_simulated_camera_stops_when_its_card_is_full_or_its_batteries_are(study: ModuleType) -> None:
    """By hand: 31 840 MB at 1 000 a day last 31.84 days; 8 × 4.263 Wh at 1 Wh a day 34.1 days."""
    filling = still(study, mb=np.full(study.DAYS, 1000.0))
    hungry = still(study, wh=np.full(study.DAYS, 1.0))

    assert filling.stop(0) == (approx(31.84), "card")  # type: ignore[attr-defined]
    assert filling.stop(100) == (approx(131.84), "card")  # type: ignore[attr-defined]
    assert hungry.stop(0)[0] == approx(34.1, abs=0.05) and hungry.stop(0)[1] == "batteries"  # type: ignore[attr-defined]
    assert still(study).stop(0) == (360.0, "lasts")  # type: ignore[attr-defined]


def test_a_stolen_camera_is_gone_until_the_next_visit_and_back_after_it(study: ModuleType) -> None:
    robbed = still(study, faults=((40.5, True),))

    fixed = study.monthly([robbed], study.in_parts(1, 1))

    assert (fixed.trips, fixed.visits, fixed.found_dead) == (11, 11, 1)
    assert fixed.lost == approx(60 - 40.5) == approx(fixed.by_cause["theft"])


def test_faults_alone_cost_a_monthly_round_what_the_closed_form_says(study: ModuleType) -> None:
    """30 − (1 − e^(−30h))/h days for each of the year's twelve intervals, the reserve's h lognormal about 1/600."""
    worlds = [study.reserve(n, 20, 1 / 600) for n in range(15)]
    bare = [[still(study, faults=truth.faults) for truth in world] for world in worlds]

    lost = np.mean([study.monthly(world, study.in_parts(20, 1)).lost / 20 for world in bare])
    expected = 12 * (30 - (1 - np.exp(-30 / 600)) * 600)

    assert lost == approx(expected, rel=0.25)  # 300 camera-years, standard error about a tenth


@pytest.mark.long
def test_a_plan_loses_fewer_days_than_a_monthly_round_with_the_same_trips(study: ModuleType) -> None:
    """Small form of the study; limits loose, docs/models/upkeep.md has the real figures."""
    found = study.compare(reserves=12, cameras=8, seed=3, futures=100, ways=list(study.WAYS)[:2])

    for row in found.values():
        assert row["plan trips"] <= row["monthly trips"] == 88
        assert row["plan disturbed"] <= row["monthly disturbed"]
        assert row["ratio"] < 0.95
    timing, fixed = (found[name] for name in list(study.WAYS)[:2])
    assert timing["ratio_batteries_card"] < 0.5
    assert fixed["ratio_batteries_card"] < 0.3

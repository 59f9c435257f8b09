"""How far two samples of times of day overlap."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import circular
from trod.findings.overlapping import effective_number, overlap, watson_u2

STUDY = Path(__file__).resolve().parents[2] / "benchmarks" / "coverage_overlap.py"


@pytest.mark.parametrize(
    ("first", "second", "published"),
    [
        # Zar (2010) Biostatistical Analysis, 5th ed., Ex. 27.9, and 27.10 with ties.
        ((35, 45, 50, 55, 60, 70, 85, 95, 105, 120), (75, 80, 90, 100, 110, 130, 135, 140, 150, 155, 165), 0.1458),
        (
            (40, 45, 50, 55, 70, 80, 80, 95, 105, 110, 110, 120),
            (30, 35, 50, 60, 65, 65, 75, 80, 90, 100),
            0.0612,
        ),
    ],
)
def test_watsons_u2_is_that_of_the_book(first: tuple[int, ...], second: tuple[int, ...], published: float) -> None:
    assert watson_u2(first, second) == pytest.approx(published, abs=1e-4)
    assert watson_u2(second, first) == pytest.approx(watson_u2(first, second))
    turned = [(angle + 200) % 360 for angle in first], [(angle + 200) % 360 for angle in second]
    assert watson_u2(*turned) == pytest.approx(published, abs=1e-4)  # wherever the circle is cut


# Two von Mises laws of one κ, means so many hours apart: 1 − [F(δ/2) − F(−δ/2)] + what lies within δ/2 of the antipode;
# closed form and quadrature agree to 1e-6.
@pytest.mark.parametrize(
    ("kappa", "apart_h", "truth"),
    [(1, 3, 0.775581), (2, 2, 0.740972), (2, 6, 0.344564), (5, 3, 0.396738), (5, 1, 0.776192), (1, 6, 0.592892)],
)
def test_both_estimators_come_to_the_overlap_of_two_known_laws(kappa: float, apart_h: float, truth: float) -> None:
    rng = np.random.default_rng(7)
    n = 2000
    first = circular.hours(rng.vonmises(0, kappa, n))
    second = circular.hours(rng.vonmises(apart_h * np.pi / 12, kappa, n))
    found = overlap(first, np.arange(n), second, np.arange(n), draws=99)

    assert found.estimator == "Δ4"
    assert found.overlap == pytest.approx(truth, abs=0.03)
    drawn = circular.overlap(found.first * 24 / circular.TURN, found.second * 24 / circular.TURN)
    assert drawn == pytest.approx(truth, abs=0.03)  # Δ̂₁
    assert found.interval.low < truth < found.interval.high
    assert found.p <= 0.01


def test_hours_of_one_law_are_not_said_to_differ_and_may_be_the_same() -> None:
    rng = np.random.default_rng(3)
    first, second = (circular.hours(rng.vonmises(0, 2, n)) for n in (60, 90))
    found = overlap(first, np.arange(60), second, np.arange(90))

    assert found.p > 0.05
    assert found.interval.high == 1
    assert found.overlap < 1  # the estimate alone cannot reach it
    again = overlap(first, np.arange(60), second, np.arange(90))
    assert again.interval == found.interval and again.p == found.p


def test_one_busy_night_is_not_many() -> None:
    """Sixty detections of three nights are worth three; as sixty nights they would have been worth sixty."""
    rng = np.random.default_rng(5)
    bouts = (np.repeat([21.0, 22.5, 2.0], 20) + rng.normal(0, 0.2, 60)) % 24
    night = np.repeat([0, 1, 2], 20)

    assert effective_number(circular.angles(bouts), night) < 4
    assert effective_number(circular.angles(bouts), np.arange(60)) == pytest.approx(60)
    with pytest.raises(NotEnoughEvidence) as told:
        overlap(bouts, night, bouts[::-1], np.arange(60))
    assert "one side has 60 detections, which are worth" in str(told.value)


def test_twenty_days_are_too_few_however_much_came_on_them() -> None:
    """Days are what is drawn; with so few, hours of one law were said to differ in 9 of 100 (docs/models/overlap.md)."""
    rng = np.random.default_rng(6)
    hours, many_days = rng.uniform(0, 24, 200), np.arange(200)

    assert effective_number(circular.angles(hours), np.repeat(np.arange(20), 10)) > 50
    with pytest.raises(
        NotEnoughEvidence, match="200 detections, but most of them on few days, as if on 20 days; as many as 25"
    ):
        overlap(hours, np.repeat(np.arange(20), 10), hours, many_days)
    assert overlap(hours, np.repeat(np.arange(40), 5), hours[::-1], many_days, draws=49).overlap > 0.5


def test_uneven_weights_are_worth_fewer() -> None:
    rng = np.random.default_rng(5)
    theta = rng.uniform(0, 2 * np.pi, 100)
    weights = np.ones(100)
    weights[:10] = 50

    assert effective_number(theta, np.arange(100), weights) == pytest.approx(590**2 / (90 + 10 * 2500), rel=0.05)
    with pytest.raises(NotEnoughEvidence, match="one side has 100 detections"):
        overlap(theta, np.arange(100), theta, np.arange(100), first_weights=weights)


def test_what_does_not_fit_is_refused() -> None:
    with pytest.raises(WrongInput, match="days"):
        overlap([1.0, 2.0], [1], [1.0], [1])
    with pytest.raises(NotEnoughEvidence, match="one side has 0 detections;"):
        overlap([], [], [1.0], [1])
    with pytest.raises(NotEnoughEvidence):
        watson_u2([], [1.0])


def test_a_share_of_the_study_holds_what_its_table_says() -> None:
    """Forty throws of one cell each: docs/models/overlap.md has four hundred of all."""
    spec = importlib.util.spec_from_file_location("coverage_overlap", STUDY)
    assert spec is not None and spec.loader is not None
    study = importlib.util.module_from_spec(spec)
    sys.modules["coverage_overlap"] = study
    spec.loader.exec_module(study)
    truth = float(np.minimum(study.density("day"), study.density("dusk")).mean() * 2 * np.pi)
    assert truth == pytest.approx(0.15, abs=0.005)
    rng = np.random.default_rng(11)
    held = differ = 0
    for _ in range(40):
        found = overlap(*study.throw("day", 100, "single", rng), *study.throw("dusk", 100, "single", rng), draws=99)
        held += found.interval.low <= truth <= found.interval.high
        differ += found.p < 0.05
        alike = overlap(*study.throw("day", 60, "single", rng), *study.throw("day", 60, "single", rng), draws=99)
        differ -= alike.p < 0.05
    assert held >= 34  # 95 % of 40 is 38; fewer than 34 by chance alone: 1 in 80
    assert differ >= 33

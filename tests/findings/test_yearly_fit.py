"""The yearly factor of a record of months."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from pytest import approx

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import yearly_fit
from trod.findings.yearly_fit import Cells, Levels

# Exact values: no book has this model. They were worked out once from its equations by a separate program (numpy and
# scipy alone), to four digits; T5 by statsmodels 0.15.0. Four units over 24 months, 20 days where (s + p) % 5 == 0, else
# 30.


def four_units(
    seen: Callable[[int, int], float], *, calendar: int = 0, there: Callable[[int, int], bool] = lambda s, p: True
) -> Cells:
    rows = [
        (s, p, 20.0 if (s + p) % 5 == 0 else 30.0, float(seen(s, p))) for s in range(4) for p in range(24) if there(s, p)
    ]
    unit, month, days, counts = zip(*rows, strict=True)
    return Cells(
        unit=np.array(unit), month=np.array(month), days=np.array(days), seen=np.array(counts), months=24,
        calendar=calendar,
    )  # fmt: skip


def t1(s: int, p: int) -> float:
    return (3 * s + 5 * p + (p * p % 7)) % 6


def t2(s: int, p: int) -> float:
    return round((2 + s) * 2 * 0.5 ** (p / 12) + (s + 2 * p) % 3)


def t3(s: int, p: int) -> float:
    return t1(s, p) * (3 if p % 4 == 0 else 1)


T6 = four_units(t2, calendar=4, there=lambda s, p: not (s == 3 and p < 9) and p != 13)


@pytest.mark.parametrize(
    ("cells", "total", "scatter", "happened", "lasting"),
    [
        (four_units(t1), 236, 1.757, (-0.1463, -0.5517, 0.3114), (-0.1307, -0.7972, 0.5590)),
        (four_units(t2), 470, 1.000, (-0.5156, -0.7526, -0.2727), (-0.5180, -1.1019, 0.0674)),
        (four_units(t3), 356, 2.454, (-0.1152, -0.5160, 0.3304), (-0.1302, -0.7939, 0.5530)),
        (T6, 371, None, (-0.5071, -0.7858, -0.2257), (-0.5065, -0.9075, -0.1041)),
    ],
)
def test_both_factors_are_those_of_a_separate_program(
    cells: Cells, total: int, scatter: float | None, happened: tuple[float, ...], lasting: tuple[float, ...]
) -> None:
    known, factors = yearly_fit.fit(cells, (0.0, 0.2))

    assert cells.seen.sum() == total
    for found, wanted in zip(factors, (happened, lasting), strict=True):
        assert (found.middle, found.low, found.high) == approx(wanted, abs=0.0002)
    if scatter is not None:
        assert known.scatter == approx(scatter, abs=0.0005)


def test_what_a_record_knows_of_its_months_is_that_of_a_separate_program() -> None:
    known = yearly_fit.levels(four_units(t2))

    assert known.times @ known.information @ known.times == approx(85.516, abs=0.001)
    assert known.pull @ known.times == approx(-44.265, abs=0.001)


def test_the_luck_of_months_and_years_is_integrated_out_as_by_a_separate_program() -> None:
    """Stage two alone: every month known alike, on a straight line of −0.4 a year."""
    times = (np.arange(24) - 11.5) / 12
    known = Levels(
        information=10 * np.eye(24), pull=10 * (-0.4 * times), scatter=1.0, times=times, years=np.arange(24) // 12
    )
    happened, lasting = yearly_fit.factor(known, 0.0), yearly_fit.factor(known, 0.2)

    assert (happened.middle, happened.low, happened.high) == approx((-0.4, -0.6314, -0.1686), abs=0.0002)
    assert (lasting.middle, lasting.low, lasting.high) == approx((-0.4, -0.7688, -0.0312), abs=0.0002)


def test_without_penalty_the_fit_is_the_plain_poisson_regression() -> None:
    """The slope of T2 on time, units and calendar months by statsmodels 0.15.0 (GLM, Poisson): −0.518137."""
    cells = four_units(t2)
    design = np.column_stack(
        [
            (cells.month - 11.5) / 12,
            *(cells.unit == n for n in range(4)),
            *(cells.calendar_months == n for n in range(1, 12)),
        ]
    ).astype(float)
    mu, fitted = yearly_fit._settled(
        design, np.zeros(design.shape[1]), np.log(cells.days / 30), cells.seen, cells.seen + 0.5
    )
    slope = np.linalg.lstsq(design, fitted, rcond=None)[0][0]

    assert slope == approx(-0.518137, abs=2e-6)
    assert mu.sum() == approx(cells.seen.sum())


@pytest.mark.parametrize("allowance", [0.0, 0.1, 0.3, 0.5])
def test_a_larger_allowance_never_makes_the_interval_narrower(allowance: float) -> None:
    known = yearly_fit.levels(four_units(t2))

    assert yearly_fit.factor(known, allowance + 0.1).half_width > yearly_fit.factor(known, allowance).half_width


def test_twice_the_effort_everywhere_is_no_change() -> None:
    cells = four_units(t1)
    twice = Cells(unit=cells.unit, month=cells.month, days=2 * cells.days, seen=cells.seen, months=24, calendar=0)
    before, after = yearly_fit.factor(yearly_fit.levels(cells), 0.2), yearly_fit.factor(yearly_fit.levels(twice), 0.2)

    # the penalty holds the levels about 30 days' rate, so not to the last digit
    assert (after.middle, after.low, after.high) == approx((before.middle, before.low, before.high), abs=0.02)


def test_nothing_seen_and_an_absurd_allowance_are_refused() -> None:
    with pytest.raises(NotEnoughEvidence, match="nothing was seen"):
        yearly_fit.levels(four_units(lambda s, p: 0))
    with pytest.raises(WrongInput, match="a share from 0 to 1"):
        yearly_fit.factor(yearly_fit.levels(four_units(t1)), 1.5)

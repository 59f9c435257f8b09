"""Times of day against textbooks, identities and brute force."""

from __future__ import annotations

import math

import numpy as np
import printed
import pytest
from hypothesis import strategies as st
from pytest import approx
from scipy import stats

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import circular

rad, deg = np.radians, np.degrees
ZAR_26_4 = rad([45, 55, 81, 96, 110, 117, 132, 154])
ZAR_27_2 = rad([66, 75, 86, 88, 88, 93, 97, 101, 118, 130])
MARDIA_JUPP_1_1 = rad([43, 45, 52, 61, 75, 88, 88, 279, 357])
_HOURS = st.lists(st.floats(0, 23.999), min_size=1, max_size=30)


# --- textbooks ------------------------------------------------------------------------------------


def test_mean_angle_against_zar_2010_example_26_4() -> None:
    """J. H. Zar (2010) Biostatistical Analysis, 5th ed., Ex. 26.4.

    X −0.12892, Y 0.81509, r 0.82522, mean 99°.
    """
    found = circular.direction(ZAR_26_4)

    assert (found.x, found.y, found.r) == (
        approx(-0.12892, abs=5e-6),
        approx(0.81509, abs=5e-6),
        approx(0.82522, abs=5e-6),
    )
    assert deg(found.mean_rad) == approx(98.988, abs=5e-4)


def test_grouped_angles_against_zar_2010_example_26_5() -> None:
    table = printed.columns("zar_2010_grouped_times")
    found = circular.direction(rad(table["middle_deg"]), table["number"], group_width_rad=math.radians(30))

    assert found.n == 105
    assert (found.x, found.y, found.r) == (
        approx(-0.52238, abs=5e-6),
        approx(0.17413, abs=5e-6),
        approx(0.55064, abs=5e-6),
    )
    assert found.r_corrected == approx(0.55698, abs=5e-6)
    assert found.r_corrected / found.r == approx(1.01152, abs=5e-6)
    assert deg(found.mean_rad) == approx(162, abs=0.5)


def test_mean_direction_against_mardia_and_jupp_2000_example_1_1() -> None:
    """K. V. Mardia & P. E. Jupp (2000) Directional Statistics, Ex. 1.1: mean 51°, R̄ 0.711."""
    found = circular.direction(MARDIA_JUPP_1_1)

    assert deg(found.mean_rad) == approx(51.050, abs=5e-4)
    assert found.r == approx(0.711, abs=5e-4)


def test_mallards_against_mardia_1972_table_1_1() -> None:
    table = printed.columns("mardia_1972_mallards")
    found = circular.direction(rad(table["middle_deg"]), table["mallards"], group_width_rad=math.radians(20))

    assert found.n == 714
    assert deg(found.mean_rad) == approx(314.27, abs=5e-3)
    assert (found.r, found.r_corrected) == (approx(0.71595, abs=5e-6), approx(0.71960, abs=5e-6))


@pytest.mark.parametrize("row", printed.rows("von_mises_a1"), ids=lambda row: row["kappa"])
def test_resultant_of_a_von_mises_law_against_the_tables(row: dict[str, str]) -> None:
    assert float(circular.a1(float(row["kappa"]))) == approx(float(row["a1"]), abs=5e-7)
    assert circular.kappa_of(float(row["a1"])) == approx(float(row["kappa"]), rel=1e-4)


@pytest.mark.parametrize("row", printed.rows("von_mises_activity_level"), ids=lambda row: row["kappa"])
def test_activity_level_of_a_von_mises_law_against_rowcliffe_2014(row: dict[str, str]) -> None:
    kappa, level = float(row["kappa"]), float(row["level"])
    grid = np.linspace(0, circular.TURN, 1440, endpoint=False)

    assert circular.activity_level(circular.von_mises(grid, 0.0, kappa)) == approx(level, abs=5e-7)


# --- the kernel curve (identities: exact, no publication needed) ----------------------------------

GRID = np.linspace(0, circular.TURN, 2880, endpoint=False)


# --- width of the kernel --------------------------------------------------------------------------


def test_the_width_is_the_one_that_minimises_the_expected_error_for_a_von_mises_sample() -> None:
    """C. C. Taylor (2008): the rule minimises the asymptotic mean integrated squared error when the truth is
    von Mises. Brute force: exact expectation of that error for n = 400, κ = 2, by the moments of the law.

    E∫(f̂ − f)² over the trigonometric moments: Σ (1/π)[a_p²(1 − A_p(k))² + A_p(k)²(1 − a_p²)/n], with a_p the
    moments of the truth and A_p those of the kernel. The rule is asymptotic: within 15 % here.
    """
    from scipy.special import ive

    n, kappa = 400, 2.0
    p = np.arange(1, 200)
    truth = ive(p, kappa) / ive(0, kappa)

    def error(kernel: float) -> float:
        a = ive(p, kernel) / ive(0, kernel)
        return float(np.sum(truth**2 * (1 - a) ** 2 + a**2 * (1 - truth**2) / n))

    grid = np.geomspace(2, 200, 2000)
    best = grid[int(np.argmin([error(k) for k in grid]))]
    # A sample whose first moment is exactly the law's; its higher harmonics are weaker, so the first decides.
    quantiles = stats.vonmises.ppf((np.arange(n) + 0.5) / n, kappa)

    assert circular.bandwidth_kappa(quantiles) == approx(best, rel=0.15)


def test_two_peaks_are_not_smoothed_into_one() -> None:
    rng = np.random.default_rng(5)
    dawn_and_dusk = np.concatenate([rng.vonmises(rad(90), 8, 150), rng.vonmises(rad(270), 8, 150)])
    kappa = circular.bandwidth_kappa(dawn_and_dusk)
    curve = stats.vonmises.pdf(GRID[:, None], kappa, loc=dawn_and_dusk).mean(axis=1)

    assert sorted(round(float(deg(GRID[i])), -1) for i in circular.peaks(curve)) == [90, 270]


def test_more_detections_make_a_finer_curve() -> None:
    rng = np.random.default_rng(6)
    sample = rng.vonmises(0, 2, 2000)

    assert circular.bandwidth_kappa(sample) > 2 * circular.bandwidth_kappa(sample[:100])


# --- edges and properties -------------------------------------------------------------------------


def test_no_times_at_all_are_refused_and_an_impossible_resultant_too() -> None:
    for call in (circular.direction, circular.bandwidth_kappa):
        with pytest.raises(NotEnoughEvidence, match="no times at all"):
            call([])
    with pytest.raises(WrongInput, match="resultant"):
        circular.kappa_of(1.0)


def test_overlap_of_two_von_mises_curves_against_the_closed_form() -> None:
    """Same κ = 2, means 3 hours apart: 0.622397; κ = 2 against an even day: 0.532550.

    Derived; held by quadrature.
    """
    one = circular.von_mises(GRID, 0, 2)

    assert circular.overlap(one, circular.von_mises(GRID, rad(45), 2)) == approx(0.622397, abs=1e-5)
    assert circular.overlap(one, np.full(2880, 1 / circular.TURN)) == approx(0.532550, abs=1e-5)
    assert circular.overlap(one, one) == approx(1.0)


def test_the_smallest_arc_goes_round_midnight() -> None:
    start, length = circular.smallest_arc(rad([350, 355, 0, 5, 10, 180]), 0.8)

    assert (deg(start), deg(length)) == (approx(350), approx(20))

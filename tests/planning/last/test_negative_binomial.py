"""The spread of daily counts against a published example."""

from __future__ import annotations

import numpy as np
from pytest import approx
from scipy.optimize import minimize_scalar

from trod.planning.last.arrivals import log_nb

# Bliss & Fisher (1953), Biometrics 9:176–200: European red mites on 150 apple leaves, leaves with 0, 1 … 8 mites.
LEAVES = np.array([70, 38, 17, 10, 9, 3, 2, 1, 0])
MITES = np.arange(9)
MEAN = float(LEAVES @ MITES) / 150


def test_mites_on_apple_leaves_are_spread_as_bliss_and_fisher_found() -> None:
    """Data as printed. The fit by maximum likelihood, k = 1.02459, log-likelihood −222.4372 and the expected leaves
    are worked out from them in another program; the paper's own k was not seen.
    """
    found = minimize_scalar(
        lambda k: -float(LEAVES @ log_nb(MITES, MEAN, k)), bounds=(0.05, 20), method="bounded", options={"xatol": 1e-9}
    )

    assert approx(1.14667, abs=5e-6) == MEAN
    assert found.x == approx(1.02459, abs=1e-4)
    assert -found.fun == approx(-222.4372, abs=1e-4)
    assert 150 * np.exp(log_nb(MITES[:8], MEAN, found.x)) == approx(
        np.array([69.49, 37.60, 20.10, 10.70, 5.69, 3.02, 1.60, 0.85]), abs=0.0051
    )

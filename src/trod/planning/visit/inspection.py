"""Textbook intervals of inspection and replacement, to check the upkeep of cameras against and to compare with.

They assume that failures come at random (exponential) or by a Weibull law. Batteries and cards do neither, so that no
page plans by these; `upkeep` works with any distribution.
"""

from __future__ import annotations

import math

from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from trod.errors import WrongInput, positive


def per_day_interval(*, rate: float, cost_days: float) -> float:
    """The interval with the least cost a day when failures come at random: 1 − (1 + lτ)e^(−lτ) = l·c. [days]

    rate : failures a day (l). cost_days : the price of a visit in camera-days (c). Infinite when l·c ≥ 1: then no
    visit is worth its price. Ours: the first-order condition of `upkeep` for an exponential distribution.
    """
    positive("rate", rate)
    positive("cost_days", cost_days)
    if rate * cost_days >= 1:
        return math.inf

    def beyond(x: float) -> float:
        return 1 - (1 + x) * math.exp(-x) - rate * cost_days

    return float(brentq(beyond, 0.0, 800.0, xtol=1e-12)) / rate


def per_failure_interval(*, rate: float, cost_days: float) -> float:
    """The interval with the least cost for each failure found: e^(lτ) − 1 − lτ = l·c. [days]

    Barlow & Proschan (1965), Mathematical Theory of Reliability, chapter 4 (formula from memory). It asks what one
    failure costs until it is seen, not what a day costs: **not** the question of a camera that is set anew at every
    visit. Kept for comparison.
    """
    positive("rate", rate)
    positive("cost_days", cost_days)

    def beyond(x: float) -> float:
        return math.expm1(x) - x - rate * cost_days

    return float(brentq(beyond, 0.0, 1 + math.sqrt(2 * rate * cost_days) + math.log1p(rate * cost_days))) / rate


def square_root_interval(*, rate: float, cost_days: float) -> float:
    """What both come near to when failures are rare: √(2c/l). [days]"""
    return math.sqrt(2 * positive("cost_days", cost_days) / positive("rate", rate))


def mean_dead_days(*, rate: float, days: float) -> float:
    """Expected dead days in an interval when failures come at random: τ − (1 − e^(−lτ))/l. [days]"""
    positive("rate", rate)
    positive("days", days, needed="days, 0 or more", zero=True)
    return days + math.expm1(-rate * days) / rate


def replacement_age(*, shape: float, scale: float, planned: float, failed: float) -> tuple[float, float]:
    """At which age to replace a part that wears out by a Weibull law, and what that costs for each unit of time.

    planned, failed : price of a planned replacement and of one after a failure. The age minimises
    [planned·R + failed·(1 − R)] / ∫₀ᵗ R. Raises WrongInput when the part does not wear (shape ≤ 1) or a failure is
    no dearer: then waiting for the failure is best.
    """
    for name, value in (("shape", shape), ("scale", scale), ("planned", planned), ("failed", failed)):
        positive(name, value)
    if shape <= 1 or failed <= planned:
        raise WrongInput(
            "shape and prices",
            got=(shape, planned, failed),
            needed="a shape above 1 and a failure dearer than a planned replacement; else there is no best age",
        )

    def survives(age: float) -> float:
        return math.exp(-((age / scale) ** shape))

    def rate_at(age: float) -> float:
        lived = quad(survives, 0.0, age, epsabs=0, epsrel=1e-11)[0]
        return float((planned * survives(age) + failed * (1 - survives(age))) / lived)

    longest = scale * 6 ** (1 / shape)
    found = minimize_scalar(rate_at, bounds=(1e-3 * scale, longest), method="bounded", options={"xatol": 1e-7 * scale})
    return float(found.x), float(found.fun)

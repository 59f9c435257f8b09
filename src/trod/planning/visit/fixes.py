"""What a fix is worth: fresh batteries, a bigger card, a longer delay, a branch trimmed, a camera moved up its tree."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from trod.errors import positive
from trod.planning.visit.upkeep import Interval, best_interval, lost_days, with_hazard

YEAR_DAYS = 365.25


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What a fix is worth. saved_days_a_year : camera-days, after its own price; below 0 when it does not pay.

    trips_saved_a_year : fewer visits when each visits at its own best interval. before, after : the intervals compared.
    """

    saved_days_a_year: float
    trips_saved_a_year: float
    before: Interval
    after: Interval


def worth_of_fix(
    before: ArrayLike,
    after: ArrayLike,
    *,
    cost_in_lost_days: float,
    hazard_per_day: float | None,
    hazard_after: float | None = None,
    price_in_lost_days: float = 0.0,
    lasts_days: float = YEAR_DAYS,
    every_days: float | None = None,
    card_lost_share: float = 0.0,
) -> Worth:
    """What changing the forecast from `before` to `after` saves in a year.

    Parameters
    ----------
    before, after : chance of having stopped by day 0, 1, 2 … since a visit, without and with the fix.
    cost_in_lost_days : the price of a visit. hazard_after : of faults and theft with the fix; as before when None.
    price_in_lost_days : of the fix itself, in camera-days, spread over `lasts_days`.
    every_days : keep this interval with and without the fix; when None each is visited at its own best.
    card_lost_share : of faults and thefts, those that take the card along.
    """
    positive("price_in_lost_days", price_in_lost_days, needed="camera-days, 0 or more", zero=True)
    positive("lasts_days", lasts_days)
    later = hazard_per_day if hazard_after is None else hazard_after
    old = best_interval(before, cost_in_lost_days, hazard_per_day, card_lost_share=card_lost_share)
    new = best_interval(after, cost_in_lost_days, later, card_lost_share=card_lost_share)
    if every_days is None:
        saved = (old.cost_per_day - new.cost_per_day) * YEAR_DAYS
        trips = YEAR_DAYS / old.at_most_days - YEAR_DAYS / new.at_most_days
    else:
        positive("every_days", every_days)
        lost = [
            float(lost_days(with_hazard(curve, hazard or 0.0), every_days))
            for curve, hazard in ((before, hazard_per_day), (after, later))
        ]
        saved = (lost[0] - lost[1]) * YEAR_DAYS / every_days
        trips = 0.0
    saved -= price_in_lost_days * YEAR_DAYS / lasts_days
    return Worth(
        saved_days_a_year=saved,
        trips_saved_a_year=trips,
        before=old,
        after=new,
    )

"""What a camera would do if it were visited today: as it is, with something set otherwise, with a fix.

All begin on the day of the visit with fresh batteries and an empty card, so that they can be laid side by side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from trod.catalogue.forecasts.forecasts import Reckoned
from trod.catalogue.forecasts.outfits import Equipped
from trod.planning.equipment.batteries import BATTERIES
from trod.planning.ground.weather import Climate
from trod.planning.last import endurance
from trod.planning.last.arrivals import FALSE_RUN_DAY_BLANKS, Arrivals
from trod.planning.last.endurance import Outfit, StopForecast, Task, Used
from trod.planning.last.outfit_change import Change, changed
from trod.planning.visit import fixes
from trod.planning.visit.upkeep import CARD_LOST_SHARE
from trod.telling.upkeep import saves

FEWER_LOSSES = 0.5  # of thefts and knocks, for a camera high in its tree; assumed
LONGER_DELAY_S = 60.0
WORTH_DAYS = 0.5  # camera-days a year below which a fix is not worth a line


def visited(
    gear: Equipped, *, today: date, climate: Climate, change: Change | None = None
) -> tuple[Outfit, StopForecast]:
    """The outfit and its forecast if the camera were visited today."""
    outfit = changed(gear.outfit, change) if change is not None else gear.outfit
    return outfit, endurance.forecast(outfit, gear.arrivals, today, climate=climate, used=Used())


# What would help ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Help:
    """A fix, and what it would save in a year. saved_days : camera-days, visits counted with their price."""

    key: str
    what: str
    saved_days: float
    fewer_visits: float
    note: str = ""

    @property
    def sentence(self) -> str:
        """What it saves."""
        return saves(self.saved_days, self.fewer_visits)


def what_helps(gear: Equipped, reckoned: Reckoned, *, today: date, climate: Climate) -> tuple[Help, ...]:
    """Fixes that are worth more than nothing, the best first.

    Each is compared with the camera as it is, both visited today and from then on at their own best intervals.
    What batteries, cards and work cost is not taken off.
    """
    tries = list(_tries(gear, reckoned))
    tasks = [Task(outfit=gear.outfit, arrivals=gear.arrivals, start=today)]
    tasks += [Task(outfit=outfit, arrivals=arrivals, start=today) for _, _, outfit, arrivals, _, _ in tries]
    before, *after = endurance.forecast_many(tasks, climate=climate)
    out = []
    for (key, what, _, _, share, note), told in zip(tries, after, strict=True):
        hazard = reckoned.hazard_per_day
        worth = fixes.worth_of_fix(
            before.stopped,
            told.stopped,
            cost_in_lost_days=reckoned.price.days,
            hazard_per_day=hazard,
            hazard_after=None if hazard is None else hazard * share,
            card_lost_share=CARD_LOST_SHARE,
        )
        if worth.saved_days_a_year >= WORTH_DAYS:
            out.append(
                Help(
                    key=key,
                    what=what,
                    saved_days=worth.saved_days_a_year,
                    fewer_visits=worth.trips_saved_a_year,
                    note=note,
                )
            )
    return tuple(sorted(out, key=lambda one: -one.saved_days))


def _tries(gear: Equipped, reckoned: Reckoned) -> Iterator[tuple[str, str, Outfit, Arrivals, float, str]]:
    """Key, what is done, outfit and arrivals with it, share of faults that is left, a note."""
    outfit, arrivals = gear.outfit, gear.arrivals
    if outfit.pack.battery.designation != "FR6":
        better = replace(outfit.pack, battery=BATTERIES["FR6"])
        yield "batteries", f"Lithium batteries, {better.name}", replace(outfit, pack=better), arrivals, 1.0, ""
    card_gb = float(2 ** np.ceil(np.log2(2 * outfit.card_gb)))
    yield "card", f"A card of {card_gb:g} GB", replace(outfit, card_gb=card_gb), arrivals, 1.0, ""
    if outfit.delay_s < LONGER_DELAY_S:
        yield (
            "delay", f"A delay of {LONGER_DELAY_S:g} s", replace(outfit, delay_s=LONGER_DELAY_S), arrivals, 1.0,
            "It takes fewer pictures of animals that stay; where they only pass it changes little.",
        )  # fmt: skip
    if outfit.frames > 1:
        yield (
            "burst", "One picture a trigger", replace(outfit, frames=1), arrivals, 1.0,
            "The second and third picture often tell sex and number.",
        )  # fmt: skip
    yield (
        "branch", "The branch or grass that waves before it cut", outfit, without_false_runs(arrivals), 1.0,
        "If every run of false triggers of blanks comes from it.",
    )  # fmt: skip
    if reckoned.hazard_per_day:
        yield (
            "higher", "Moved up the tree", outfit, arrivals, FEWER_LOSSES,
            "If it is lost half as often there, which is assumed; look again at what it then sees.",
        )  # fmt: skip


def without_false_runs(arrivals: Arrivals) -> Arrivals:
    """A site on which no run of false triggers of blanks comes; a few blanks a day stay."""
    calm = tuple(
        replace(count, blanks=0) if count.blanks >= FALSE_RUN_DAY_BLANKS else count for count in arrivals.counts
    )
    return replace(arrivals, prior=replace(arrivals.prior, false_run_start=0.0), counts=calm)

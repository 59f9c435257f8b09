"""What a camera would do if it were visited today: as it is, with something set otherwise, with a fix.

All begin on the day of the visit with fresh cells and an empty card, so that they can be laid side by side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from trod.errors import WrongInput
from trod.planning import endurance, fixes
from trod.planning.arrivals import STORM_DAY_BLANKS, Arrivals
from trod.planning.cells import CELLS
from trod.planning.endurance import Outfit, StopForecast, Task, Used
from trod.planning.weather import Climate
from trod.web.catalogue.forecasts import Reckoned
from trod.web.catalogue.outfits import Equipped, pack_from

FEWER_LOSSES = 0.5  # of thefts and knocks, for a camera high in its tree; assumed
LONGER_DELAY_S = 60.0
WORTH_DAYS = 0.5  # camera-days a year below which a fix is not worth a line


@dataclass(frozen=True, kw_only=True)
class Change:
    """What is to be set otherwise; None leaves it as it is. cells : as people write it, like "12 FR6"."""

    cells: str | None = None
    card_gb: float | None = None
    delay_s: float | None = None
    burst: int | None = None
    clip_s: float | None = None

    @property
    def nothing(self) -> bool:
        """Whether nothing is changed."""
        return all(value is None for value in (self.cells, self.card_gb, self.delay_s, self.burst, self.clip_s))


def changed(outfit: Outfit, change: Change) -> Outfit:
    """The outfit with a change. Raises WrongInput that names what cannot be."""
    more: dict[str, object] = {}
    if change.cells is not None:
        pack, source = pack_from(change.cells, kind=outfit.pack.cell.designation, number=outfit.pack.number)
        if source.startswith("assumed") or not change.cells.strip():
            raise WrongInput("cells", got=change.cells[:60], needed="a number and a kind, like 12 FR6 or 8 LR6")
        more["pack"] = pack
    if change.card_gb is not None:
        if not 0 < change.card_gb <= 4096:
            raise WrongInput("card", got=change.card_gb, needed="gigabytes, above 0 and at most 4096")
        more["card_gb"] = change.card_gb
    if change.delay_s is not None:
        if not 0 <= change.delay_s <= 86_400:
            raise WrongInput("delay", got=change.delay_s, needed="seconds, from 0 to 86400")
        more["delay_s"] = change.delay_s
    if change.clip_s is not None:
        if not 0 <= change.clip_s <= 600:
            raise WrongInput("clip", got=change.clip_s, needed="seconds, from 0 to 600")
        more["clip_s"] = change.clip_s
    if change.burst is not None:
        if not 0 <= change.burst <= 100:
            raise WrongInput("burst", got=change.burst, needed="pictures a trigger, a whole number from 0 to 100")
        more["frames"] = change.burst
    new = replace(outfit, **more)  # type: ignore[arg-type]
    if new.frames == 0 and not new.clip_s:
        raise WrongInput("burst", got=0, needed="a picture or a clip for each trigger")
    return new


def visited(
    gear: Equipped, *, today: date, climate: Climate, change: Change | None = None
) -> tuple[Outfit, StopForecast]:
    """The outfit and its forecast if the camera were visited today."""
    outfit = changed(gear.outfit, change) if change is not None else gear.outfit
    return outfit, endurance.forecast(outfit, gear.arrivals, today, climate=climate, used=Used())


def words(outfit: Outfit) -> str:
    """An outfit in a few words."""
    takes = []
    if outfit.frames:
        takes.append(f"{outfit.frames} picture{'s' if outfit.frames != 1 else ''}")
    if outfit.clip_s:
        takes.append(f"a clip of {outfit.clip_s:g} s")
    return (
        f"{outfit.pack.name}, {outfit.card_gb:g} GB, {' and '.join(takes)} a trigger, {outfit.delay_s:g} s between"
    )


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
        days = round(self.saved_days)
        said = f"saves about {days} camera-day{'s' if days != 1 else ''} a year"
        if self.fewer_visits >= 0.95:
            n = round(self.fewer_visits)
            said += f", {'one visit' if n == 1 else f'{n} visits'} fewer among them"
        return said


def what_helps(gear: Equipped, reckoned: Reckoned, *, today: date, climate: Climate) -> tuple[Help, ...]:
    """Fixes that are worth more than nothing, the best first.

    Each is compared with the camera as it is, both visited today and from then on at their own best intervals.
    What cells, cards and work cost is not taken off.
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
    if outfit.pack.cell.designation != "FR6":
        better = replace(outfit.pack, cell=CELLS["FR6"])
        yield "cells", f"Lithium cells, {better.name}", replace(outfit, pack=better), arrivals, 1.0, ""
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
        "branch", "The branch or grass that waves before it cut", outfit, without_storms(arrivals), 1.0,
        "If every storm of blanks comes from it.",
    )  # fmt: skip
    if reckoned.hazard_per_day:
        yield (
            "higher", "Moved up the tree", outfit, arrivals, FEWER_LOSSES,
            "If it is lost half as often there, which is assumed; look again at what it then sees.",
        )  # fmt: skip


def without_storms(arrivals: Arrivals) -> Arrivals:
    """A site on which no storm of blanks comes; a few blanks a day stay."""
    calm = tuple(
        replace(count, blanks=0) if count.blanks >= STORM_DAY_BLANKS else count for count in arrivals.counts
    )
    return replace(arrivals, prior=replace(arrivals.prior, storm_start=0.0), counts=calm)

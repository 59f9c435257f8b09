"""What a camera really eats, learnt from the times its cells ended with every trigger known.

A visit that found no power is such a time, when the card of the days before came home: then the counts say how
much the cells must have given, and the cells' own curve says how much they had.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from trod import watch
from trod.planning.arrivals import DayCount
from trod.planning.card_room import usable_mb
from trod.planning.endurance import EnergyScale, Used, learn_from_dead
from trod.planning.weather import Climate
from trod.web.catalogue import outfits
from trod.web.models import Deployment, Visit

FEWEST_DAYS = 20  # a shorter life says more about a bad cell than about the camera. Ours.
CARD_SHARE = 0.9  # of a card: where it was fuller than that, it may have ended before the cells did. Ours.
KNOWN_SHARE = 0.9  # of the days of that life must be known from its card. Ours.


@dataclass(frozen=True, kw_only=True)
class Stood:
    """One deployment of a camera: its visits, oldest first, and the days its cards brought home."""

    deployment: Deployment
    visits: Sequence[Visit]
    counts: Sequence[DayCount]


def learn(stood: Iterable[Stood], *, designation: str, climate: Climate, zone: str) -> tuple[EnergyScale, str]:
    """A camera's hunger with cells of one kind, and in words where it is from.

    stood : its deployments, oldest first.
    """
    scale, lives = EnergyScale(), 0
    for one in stood:
        spec = outfits.spec_for(one.deployment)
        fresh = card_in = watch.local(one.deployment.start, zone).date()
        for n, visit in enumerate(one.visits):
            day = watch.local(visit.at, zone).date()
            life = _life(one.counts, fresh=fresh, until=day) if visit.arrival == Visit.Arrival.DEAD else []
            pack, _ = outfits.pack_at(one.deployment, spec, one.visits[:n], zone)
            if life and pack.cell.designation == designation:
                outfit = outfits.outfit_of(one.deployment, pack, spec, None, scale=scale)
                used = Used.of(outfit, life, fresh_cells=fresh, card_in=card_in)
                if used.energy_wh > 0 and used.card_mb < CARD_SHARE * usable_mb(outfit.card_gb):
                    ended = max(c.day for c in life)
                    scale, lives = learn_from_dead(outfit, climate=climate, ended=ended, used=used).scale, lives + 1
            fresh = day if visit.cells_changed else fresh
            card_in = day if visit.card_in_id else card_in
    if not lives:
        return scale, f"assumed: {100 * scale.ln_sd:.0f} % more or less; no cells of it have ended with known counts"
    times = "once" if lives == 1 else f"{lives} times"
    low, high = (math.exp(scale.ln_mean + z * scale.ln_sd) for z in (-1.2816, 1.2816))
    return scale, f"learnt from cells that ended {times} with known counts; {low:.2f} to {high:.2f}, 8 of 10"


def _life(counts: Sequence[DayCount], *, fresh: date, until: date) -> list[DayCount]:
    """The known days from fresh cells to the last night picture; none when too little is known of them.

    The flash fails first: what came by day afterwards was on cells that were called empty already.
    """
    here = [c for c in counts if fresh <= c.day <= until and c.alive]
    dark = [c.day for c in here if c.night or (c.night is None and c.animals + c.people)]
    if not dark:
        return []
    life = [c for c in here if c.day <= max(dark)]
    span = (max(dark) - fresh).days + 1
    return life if span >= FEWEST_DAYS and len(life) >= KNOWN_SHARE * span else []

"""What a camera really draws, learnt from how its sets of batteries ended, with every trigger known.

A visit that found no power ends a set, a visit that changed batteries in a working camera ends one alive; both teach
when the card of those days came home. A set whose camera was drowned, burnt or broken teaches nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from trod import clock, wording
from trod.catalogue.forecasts import outfits
from trod.catalogue.models import Deployment, Incident, Visit
from trod.planning.equipment.card_room import usable_mb
from trod.planning.ground.weather import Climate
from trod.planning.last import battery_evidence
from trod.planning.last.arrivals import DayCount
from trod.planning.last.battery_evidence import GAUGED, LEAST_SHARE, BatterySet, Learnt
from trod.planning.last.endurance import EnergyScale, Used
from trod.planning.last.stopping import Outfit, unshown_scale

FEWEST_DAYS = 5  # of a set, before it is heard at all. Ours.
CARD_SHARE = 0.9  # of a card: where it was fuller than that, it may have ended before the batteries did. Ours.
KNOWN_SHARE = 0.9  # of the days of that life must be known from its card. Ours.
UNLIKELY = 0.5  # below this chance a set is told as ended by something else
ALIVE = (Visit.Arrival.WORKING, Visit.Arrival.KNOCKED, Visit.Arrival.BLIND)
# How people write down that water, or a blow, and not empty batteries ended a camera.
BROKEN = re.compile(
    r"\b(?:drown\w*|flood\w*|under ?water|full of water|water (?:in|inside|got)|wet inside|soak\w*|leak\w*|corro\w*"
    r"|burnt|burned|smashed|crushed|broken|defect\w*|hung|frozen screen)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, kw_only=True)
class Stood:
    """One deployment of a camera: its visits, oldest first, the days its cards brought home, what it suffered."""

    deployment: Deployment
    visits: Sequence[Visit]
    counts: Sequence[DayCount]
    incidents: Sequence[Incident] = ()


def learn(stood: Iterable[Stood], *, designation: str, climate: Climate, zone: str) -> tuple[EnergyScale | None, str]:
    """What a camera draws with batteries of one kind, and in words where that is from; None where nothing taught it.

    stood : its deployments, oldest first.
    """
    sets: list[BatterySet] = []
    parts: Counter[str] = Counter()
    draw = None
    for one in stood:
        for found, outfit, days in _sets(one, designation=designation, climate=climate, zone=zone):
            sets.append(found)
            warm = sum(c.animals + c.people for c in days)
            parts.update(
                outfit.parts_j(
                    days=len(days), triggers=warm, blanks=sum(c.blanks for c in days),
                    night_share=sum(c.night or 0 for c in days) / max(1, warm),
                )
            )  # fmt: skip
            draw = outfit.draw
    if draw is None:
        return None, ""
    learnt = battery_evidence.learn(unshown_scale(draw, parts), sets)
    return learnt.scale, words(learnt)


def words(learnt: Learnt) -> str:
    """What was learnt from which sets, and how sure that is."""
    said = []
    for ended, how in (
        ("dead", "ended with known counts"), ("alive", "changed while it still worked"),
        ("gauge", "read from the camera's own percentage"),
    ):  # fmt: skip
        number = sum(s.ended == ended for s in learnt.sets)
        if number:
            said.append(f"{number} {how}")
    low, high = learnt.scale.within()
    whole = wording.plural(len(learnt.sets), "set")
    out = f"learnt from {whole} of batteries: {', '.join(said)}; {low:.2f} to {high:.2f}, 8 of 10"
    for one, chance in zip(learnt.sets, learnt.by_batteries, strict=True):
        if one.ended == "dead" and chance < UNLIKELY:
            sure = "hardly 1 in 100" if chance < 0.015 else f"{100 * chance:.0f} in 100"
            out += (
                f". The set that ended after {wording.plural(one.days, 'day')} most likely ended by something else (a "
                f"leak, a hang, a bad battery, a wet contact) and teaches hardly anything: the chance that it was empty is "  # noqa: E501
                f"{sure}"
            )
    return out


def _sets(
    one: Stood, *, designation: str, climate: Climate, zone: str
) -> Iterable[tuple[BatterySet, Outfit, list[DayCount]]]:
    """The sets of one deployment that teach something, each with its outfit and its days."""
    spec = outfits.spec_for(one.deployment)
    fresh = card_in = clock.local(one.deployment.start, zone).date()
    read: list[tuple[date, float]] = [(fresh, 100.0)]  # the gauge, from fresh batteries on
    dead = False
    for n, visit in enumerate(one.visits):
        day = clock.local(visit.at, zone).date()
        if visit.battery_percent is not None and visit.arrival in ALIVE:
            read.append((day, visit.battery_percent))
        pack, _ = outfits.pack_at(one.deployment, spec, one.visits[:n], zone)
        ends = visit.arrival == Visit.Arrival.DEAD or (visit.batteries_changed and visit.arrival in ALIVE)
        if ends and not dead and pack.battery.designation == designation and not _broken(one, visit, fresh, day):
            outfit = outfits.outfit_of(one.deployment, pack, spec, None)
            yield from _told(one, outfit, visit, fresh, card_in, day, read, climate)
        dead = (dead or visit.arrival == Visit.Arrival.DEAD) and not visit.batteries_changed
        if visit.batteries_changed:
            fresh, read = day, [(day, 100.0)]
        card_in = day if visit.card_in_id else card_in


def _told(
    one: Stood, outfit: Outfit, visit: Visit, fresh: date, card_in: date, day: date,
    read: Sequence[tuple[date, float]], climate: Climate,
) -> Iterable[tuple[BatterySet, Outfit, list[DayCount]]]:  # fmt: skip
    """What one set tells: by its end, or by the percentages read while it was in."""
    if visit.arrival == Visit.Arrival.DEAD:
        days = _life(one.counts, fresh=fresh, until=day, to_last_night=True)
        used = Used.of(outfit, days, fresh_batteries=fresh, card_in=card_in)
        if days and used.energy_wh > 0 and used.card_mb < CARD_SHARE * usable_mb(outfit.card_gb):
            until = max(c.day for c in days)
            yield BatterySet.of(outfit, climate=climate, until=until, used=used, ended="dead"), outfit, days
        return
    (first, before), (last, after) = read[1 if len(read) > 2 else 0], read[-1]
    share = (before - after) / 100
    gauge = outfit.pack.battery.designation in GAUGED and share >= LEAST_SHARE and outfit.pack.extra is None
    since, until = (first, last) if gauge else (fresh, day)
    days = _life(one.counts, fresh=since, until=until, to_last_night=False)
    used = Used.of(outfit, days, fresh_batteries=since, card_in=card_in)
    if days and used.energy_wh > 0:
        yield (
            BatterySet.of(
                outfit, climate=climate, until=until, used=used, ended="gauge" if gauge else "alive",
                share=min(1.0, share) if gauge else 1.0,
            ),
            outfit,
            days,
        )  # fmt: skip


def _broken(one: Stood, visit: Visit, fresh: date, day: date) -> bool:
    """Whether something is written down that stopped the camera and was not empty batteries."""
    if any(m.stopped and fresh < m.found_on <= day for m in one.incidents):
        return True
    return visit.arrival == Visit.Arrival.DEAD and BROKEN.search(f"{visit.note} {visit.work}") is not None


def _life(counts: Sequence[DayCount], *, fresh: date, until: date, to_last_night: bool) -> list[DayCount]:
    """The known days of a set; none when too little is known of them.

    to_last_night : of a camera found dead only those up to its last night picture: the flash fails first, and what
    came by day afterwards was on batteries that were called empty already.
    """
    here = [c for c in counts if fresh <= c.day <= until and c.alive]
    if to_last_night:
        dark = [c.day for c in here if c.night or (c.night is None and c.animals + c.people)]
        if not dark:
            return []
        until = max(dark)
    life = [c for c in here if c.day <= until]
    span = (until - fresh).days + 1
    return life if span >= FEWEST_DAYS and len(life) >= KNOWN_SHARE * (span - 1) else []

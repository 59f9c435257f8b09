"""A standing camera as rows, made into what a stop forecast reckons with; each figure with where it is from.

What nobody wrote down is assumed and told as such: no forecast is refused for want of a card's size.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from trod import clock, sky, wording
from trod.catalogue.answers.evidence import Piece
from trod.catalogue.models import Card, Deployment, Reserve, Site, Visit
from trod.catalogue.rows import specs
from trod.errors import WrongInput
from trod.planning.equipment.batteries import Pack
from trod.planning.equipment.camera import CameraSpec
from trod.planning.equipment.card_room import FileSizes
from trod.planning.equipment.energy import Draw
from trod.planning.equipment.pack_text import pack_from
from trod.planning.ground.weather import Climate
from trod.planning.last.arrivals import MOST_TRIGGERS, Arrivals, DayCount
from trod.planning.last.endurance import EnergyScale, Outfit, Used
from trod.planning.last.stopping import scale_for
from trod.planning.visit.travel import WayShare
from trod.planning.visit.upkeep import Closure
from trod.telling import endurance, measures
from trod.telling import ways as telling_ways
from trod.units import System

CARD_GB = 32.0
CLIP_S = 15.0
DARK_DEG = -6.0  # the sun so low that pictures are taken with the flash: the end of civil twilight
WATCHED_SHARE = 0.5  # of a day; one that was watched for less tells nothing about its triggers
# How people write down at a visit that what waved before the sensor is gone.
CUT = re.compile(
    r"\b(?:cut|trim\w*|mow\w*|prun\w*|scyth\w*|lopp\w*|clear\w*|removed?)\b[^.;]{0,60}"
    r"\b(?:grass\w*|branch\w*|twigs?|lea(?:f|ves)|ferns?|bush\w*|bramble\w*|reeds?|vegetation|plants?|weeds?)\b",
    re.IGNORECASE,
)
SAID = {
    "measured": "as measured",
    "claimed": "as the maker says",
    "assumed": "so that usual cameras last as long as common practice has it",
}


@dataclass(frozen=True)
class Assumed:
    """One figure behind a forecast.

    why : where it is from, or what is said beside "assumed". guessed : whether nobody stated or measured it. way : the
    same for a share of a round's way, which has lengths and speeds in it; coldest_c : the value of the nights. Both are
    worded by `told`.
    """

    what: str
    value: str
    why: str = ""
    guessed: bool = False
    way: WayShare | None = None
    coldest_c: float | None = None

    def told(self, system: System) -> Assumed:
        """The same with all of it in words."""
        value, why = self.value, self.why
        if self.coldest_c is not None:
            value = f"{measures.air(self.coldest_c, system)} in the coldest month, on the average"
        if self.way is not None:
            why = telling_ways.share(self.way, system)
        return Assumed(self.what, value, why, self.guessed or (self.way is not None and self.way.how is None))

    @property
    def source(self) -> str:
        """Where it is from, in one piece."""
        if not self.guessed:
            return self.why
        return f"assumed: {self.why}" if self.why else "assumed"


@dataclass(frozen=True, kw_only=True)
class Equipped:
    """All that a forecast of one camera needs.

    start : the day from which it is forecast, when it was last known to be alive. stopped_on : set when the
    last visit found it stopped and nobody set it going again. unknown_days : days before `start` whose
    pictures nobody has seen, for which the mean was taken. travel : what a visit takes of the way, one camera's part.
    """

    outfit: Outfit
    arrivals: Arrivals
    start: date
    used: Used
    fresh_batteries: date
    card_in: date
    card: str
    stopped_on: date | None
    stopped_how: str
    unknown_days: int
    assumed: tuple[Assumed, ...]
    travel: WayShare = field(default_factory=lambda: WayShare(minutes=0.0))


# The pack -----------------------------------------------------------------------------------------------------


def spec_for(deployment: Deployment) -> CameraSpec | None:
    """What is known of a deployment's kind of camera; None when nobody noted which it is."""
    return specs.spec_of(deployment.camera.model) if deployment.camera.model else None


def pack_at(
    deployment: Deployment, spec: CameraSpec | None, visits: Sequence[Visit], zone: str
) -> tuple[Pack, tuple[str, bool]]:
    """What fed a camera after these visits, where that is from, and whether it is assumed."""
    model = deployment.camera.model
    known = spec.figure("batteries") if spec else None
    pack, said = pack_from(
        deployment.batteries or (model.batteries if model else ""),
        kind=spec.battery if spec else "",
        number=round(known.value) if known and known.origin != "assumed" and 1 <= known.value <= 64 else None,
    )
    last = next((v for v in reversed(visits) if v.batteries_changed and (v.battery_kind or v.battery_count)), None)
    if last is None:
        return pack, (endurance.pack_source(said), said.nothing)
    put, _ = pack_from(last.battery_kind, kind=pack.battery.designation, number=last.battery_count or pack.number)
    on = clock.local(last.at, zone).date()
    return put, (f"put in on {wording.day(on)}", False)


# The reserve's own ---------------------------------------------------------------------------------------------


def climate_of(reserve: Reserve) -> Climate:
    """The reserve's night minima, else those assumed for its latitude (`Climate.assumed` tells which).

    `Reserve.climate` is {"minimum_c": twelve numbers, "sd_c": twelve numbers, "source": text}.
    """
    kept = reserve.climate if isinstance(reserve.climate, dict) else {}
    try:
        return Climate(
            minimum_c=tuple(map(float, kept["minimum_c"])),
            sd_c=tuple(map(float, kept.get("sd_c") or (4.0,) * 12)),
            source=str(kept.get("source") or "typed in"),
        )
    except (KeyError, WrongInput, TypeError, ValueError):
        return Climate.at_latitude(reserve.latitude)


def closures_of(site: Site, *, today: date, years: int = 2) -> tuple[Closure, ...]:
    """A site's closed seasons as days of this year and the next ones; one that runs over New Year is one closure.

    `Site.closed` is [{"from": "04-01", "to": "07-15", "why": "ground-nesting birds"}, …].
    """
    out: list[Closure] = []
    for row in site.closed if isinstance(site.closed, list) else []:
        try:
            (m1, d1), (m2, d2) = (tuple(map(int, str(row[end]).split("-"))) for end in ("from", "to"))
            for year in range(today.year - 1, today.year + years + 1):
                first, last = _day(year, m1, d1), _day(year + ((m2, d2) < (m1, d1)), m2, d2)
                if last >= today:
                    out.append(Closure(first=first, last=last, why=str(row.get("why") or "closed")))
        except (KeyError, TypeError, ValueError, AttributeError, WrongInput):
            continue
    return tuple(sorted(out, key=lambda c: c.first))


def _day(year: int, month: int, day: int) -> date:
    """A day of the year; 29 February is the 28th where there is none."""
    if (month, day) == (2, 29) and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        day = 28
    return date(year, month, day)


# What came -----------------------------------------------------------------------------------------------------


def day_counts(site: Site, deployment: Deployment, piece: Piece | None, *, zone: str) -> tuple[DayCount, ...]:
    """The triggers of each whole day that a deployment watched, animals and people apart from blanks.

    A sequence of n pictures counts as n / (pictures a burst) triggers. A day counts as watched when its camera did
    for more than half of it. Days with sequences nobody has looked at are told as not yet told apart.
    """
    if piece is None or piece.line is None or not piece.line.counted:
        return ()
    days = _watched_days(piece, zone)
    if not len(days):
        return ()
    first, n = int(days[0]), int(days[-1] - days[0]) + 1
    burst = max(1, deployment.burst)
    sequences = {s.sequence: s for s in reversed(piece.observations)}.values()  # the first line of each sequence's word
    at = np.array([s.utc_s for s in sequences], dtype=float)
    triggers = np.ceil(np.array([s.pictures for s in sequences], dtype=float) / burst).clip(min=1)
    kind = np.array([{"blank": 2, "human": 1, "vehicle": 1}.get(s.what, 0) for s in sequences], dtype=int)
    where = _local_days(at, zone) - first
    dark = _in_the_dark(site, at)
    unseen_at = _local_days(np.array([u.utc_s for u in piece.unseen], dtype=float), zone) - first

    def of(chosen: NDArray[np.bool_]) -> NDArray[np.int64]:
        inside = chosen & (where >= 0) & (where < n)
        found = np.bincount(where[inside], weights=triggers[inside], minlength=n)
        return np.minimum(found, MOST_TRIGGERS // 2).astype(np.int64)

    animals, people, blanks = (of(kind == k) for k in (0, 1, 2))
    night = of(dark & (kind != 2))
    unseen = np.bincount(unseen_at[(unseen_at >= 0) & (unseen_at < n)], minlength=n).clip(max=MOST_TRIGGERS // 2)
    night = np.minimum(night, animals + people)
    epoch = date(1970, 1, 1)
    return tuple(
        DayCount(
            day=epoch + timedelta(days=int(day)),
            animals=int(animals[i] + unseen[i]),
            people=int(people[i]),
            blanks=int(blanks[i]),
            night=None if unseen[i] else int(night[i]),
            told_apart=not unseen[i],
        )
        for day, i in zip(days, days - first, strict=True)
    )


def _local_days(utc_s: NDArray[np.float64], zone: str) -> NDArray[np.int64]:
    """Local days as numbers, 0 for 1 January 1970."""
    if not len(utc_s):
        return np.zeros(0, dtype=np.int64)
    return np.floor((utc_s + clock.utc_offsets_s(utc_s, zone)) / 86_400).astype(np.int64)


def _watched_days(piece: Piece, zone: str) -> NDArray[np.int64]:
    """The local days, as numbers, of which a camera watched more than half."""
    assert piece.line is not None
    spans = piece.line.counted
    cuts = np.array(clock.day_starts_s(spans[0].from_s, max(s.to_s for s in spans), zone))
    share = np.zeros(max(len(cuts) - 1, 0))
    for span in spans:
        share += np.clip(np.minimum(cuts[1:], span.to_s) - np.maximum(cuts[:-1], span.from_s), 0, None)
    whole = share / np.diff(cuts) > WATCHED_SHARE
    return _local_days((cuts[:-1] + cuts[1:])[whole] / 2, zone)


def _in_the_dark(site: Site, utc_s: NDArray[np.float64]) -> NDArray[np.bool_]:
    if not len(utc_s):
        return np.zeros(0, dtype=bool)
    height, _ = sky.sun_position(utc_s, latitude_deg=site.latitude, longitude_deg=site.longitude)
    return np.asarray(height < DARK_DEG)


def arrivals_of(site: Site, came: Iterable[tuple[Deployment, Sequence[DayCount]]]) -> Arrivals:
    """What is known of a site's triggers: the prior of its kind, and the days of all that stood there.

    Counts made with several delays are taken to have been made with that of most days.
    """
    feature = site.feature if site.feature in Site.Feature.values else "other"
    arrivals = Arrivals.for_site(feature, latitude_deg=site.latitude)  # type: ignore[arg-type]
    by_delay: dict[float, int] = {}
    days: list[DayCount] = []
    for deployment, counts in came:
        days.extend(counts)
        by_delay[deployment.delay_s] = by_delay.get(deployment.delay_s, 0) + len(counts)
    if not days:
        return arrivals
    most = max(by_delay, key=lambda delay: (by_delay[delay], delay))
    return Arrivals(prior=arrivals.prior, feature=arrivals.feature, delay_s=most).after(days)


# The camera as it hangs -----------------------------------------------------------------------------------------


def outfit_of(
    deployment: Deployment,
    pack: Pack,
    spec: CameraSpec | None,
    sizes: FileSizes | None,
    *,
    scale: EnergyScale | None = None,
    card: Card | None = None,
) -> Outfit:
    """A deployment's settings and equipment as one record. card : in it now, when not the deployment's own."""
    clips = deployment.mode in (Deployment.Mode.CLIP, Deployment.Mode.BOTH)
    card = card or deployment.card
    more = {} if sizes is None else {"sizes": sizes, "bytes_sd": 0.03}
    return Outfit(
        draw=Draw.of(spec) if spec else Draw(),
        pack=pack,
        card_gb=(card.size_gb if card else None) or CARD_GB,
        frames=0 if deployment.mode == Deployment.Mode.CLIP else max(1, deployment.burst),
        clip_s=CLIP_S if clips else 0.0,
        delay_s=deployment.delay_s,
        lapses_per_day=24 / deployment.time_lapse_h if deployment.time_lapse_h else 0.0,
        scale=scale,
        **more,  # type: ignore[arg-type]
    )


def equip(
    deployment: Deployment,
    *,
    visits: Sequence[Visit],
    piece: Piece | None,
    counts: Sequence[DayCount],
    arrivals: Arrivals,
    sizes: FileSizes | None,
    scale: EnergyScale | None,
    learnt: str,
    zone: str,
    today: date,
) -> Equipped:
    """One standing camera, ready to be forecast.

    visits : to this deployment up to now, oldest first. counts : its own days. sizes : of files that came home.
    scale, learnt : its power draw, None where nothing
    taught it, and where that is from.
    """
    spec = spec_for(deployment)
    seen_to = arrivals.posterior.last_day
    if any(CUT.search(f"{v.work} {v.note}") for v in visits if seen_to and clock.local(v.at, zone).date() >= seen_to):
        arrivals = replace(arrivals, run_ended=True)
    pack, source = pack_at(deployment, spec, visits, zone)
    card = next((v.card_in for v in reversed(visits) if v.card_in_id), None) or deployment.card
    outfit = outfit_of(deployment, pack, spec, sizes, scale=scale, card=card)

    def local(at: datetime) -> date:
        return min(clock.local(at, zone).date(), today)

    begun = local(deployment.start)
    fresh_batteries = max([begun, *(local(v.at) for v in visits if v.batteries_changed)])
    card_in = max([begun, *(local(v.at) for v in visits if v.card_in_id)])
    last = next((v for v in reversed(visits) if v.arrival != Visit.Arrival.UNKNOWN or goes_again(v)), None)
    stopped_on, how = None, ""
    if last is not None and stands_still(last):
        stopped_on, how = local(last.at), last.get_arrival_display()
    known_day = begun
    if piece is not None and piece.known_to_s is not None:
        known_day = max(begun, local(datetime.fromtimestamp(piece.known_to_s, UTC)))
    start = max([known_day, *(local(v.at) for v in visits if was_alive(v))])
    used, unknown = _used(outfit, arrivals, counts, fresh_batteries, card_in, start)
    return Equipped(
        outfit=outfit,
        arrivals=arrivals,
        start=start,
        used=used,
        fresh_batteries=fresh_batteries,
        card_in=card_in,
        card=card.label if card else "",
        stopped_on=stopped_on,
        stopped_how=how,
        unknown_days=unknown,
        assumed=_told(card, outfit, spec, arrivals, source, learnt),
    )


def goes_again(visit: Visit) -> bool:
    """Whether something was done at a visit that sets a stopped camera going."""
    return bool(visit.batteries_changed or visit.card_in_id or visit.card_out_id)


def stands_still(visit: Visit) -> bool:
    """Whether a visit found a camera stopped and left it so.

    That is: no power and old batteries, a full card left in, or gone.
    """
    if visit.arrival == Visit.Arrival.DEAD:
        return not visit.batteries_changed
    if visit.arrival == Visit.Arrival.FULL:
        return not (visit.card_in_id or visit.card_out_id)
    return visit.arrival == Visit.Arrival.GONE


def was_alive(visit: Visit) -> bool:
    """Whether the camera surely watched after a visit."""
    ran = visit.arrival in (Visit.Arrival.WORKING, Visit.Arrival.KNOCKED, Visit.Arrival.BLIND)
    return not stands_still(visit) and (ran or goes_again(visit))


def _told(
    card: Card | None,
    outfit: Outfit,
    spec: CameraSpec | None,
    arrivals: Arrivals,
    batteries: tuple[str, bool],
    learnt: str,
) -> tuple[Assumed, ...]:
    """Every figure of the camera and its site with where it is from."""
    says = [Assumed("Batteries", outfit.pack.name, *batteries)]
    draw = outfit.draw
    for name, what, value in (
        ("idle_mw", "Drawn while waiting", f"{draw.idle_w * 1000:g} mW"),
        ("wake_j", "A trigger, without its pictures", f"{draw.wake_j:g} J"),
        ("day_frame_j", "A picture by day", f"{draw.day_frame_j:g} J"),
        ("night_frame_j", "A picture by night", f"{draw.night_frame_j:g} J"),
    ):
        origin = spec.figure(name).origin if spec else "assumed"
        says.append(Assumed(what, value, SAID[origin] if spec else "no camera model noted", origin == "assumed"))
    scale = scale_for(outfit, arrivals)
    low, high = scale.within()
    nothing = "no set of its batteries has ended with known counts"
    taught = learnt or f"{low:.2f} to {high:.2f} of it, 8 of 10; {nothing}"
    says.append(Assumed("Its own power draw", f"{np.exp(scale.ln_mean):.2f} of that", taught, not learnt))
    written = card is not None and card.size_gb
    says.append(Assumed("Card", f"{outfit.card_gb:g} GB", "as written down" if written else "", not written))
    if outfit.frames:
        each = f"{outfit.sizes.day_mean_mb:.2g} MB by day, {outfit.sizes.night_mean_mb:.2g} MB by night"
        says.append(Assumed("Size of a picture", each, outfit.sizes.source, outfit.sizes.assumed))
    if outfit.clip_s:
        says.append(Assumed("Length of a clip", f"{outfit.clip_s:g} s", guessed=True))
        says.append(
            Assumed("A second of clip", f"{outfit.sizes.clip_mb_s:.2g} MB", outfit.sizes.source, outfit.sizes.assumed)
        )
    says.append(Assumed("Triggers a day", f"{arrivals.posterior.per_day:.2g}", endurance.arrivals(arrivals)))
    return tuple(says)


def _used(
    outfit: Outfit, arrivals: Arrivals, counts: Sequence[DayCount], fresh_batteries: date, card_in: date, start: date
) -> tuple[Used, int]:
    """What batteries and card gave before `start`: by the counts, and by the mean for days nobody has seen yet."""
    first = min(fresh_batteries, card_in)
    known = {c.day: c for c in counts if first <= c.day < start}
    night = arrivals.posterior.night_share
    used = Used.of(outfit, list(known.values()), fresh_batteries=fresh_batteries, card_in=card_in, night_share=night)
    wanting = [first + timedelta(days=n) for n in range((start - first).days) if first + timedelta(days=n) not in known]
    each = {day: arrivals.posterior.per_day_on(day) for day in wanting}
    power = [day for day in wanting if day >= fresh_batteries]
    room = [day for day in wanting if day >= card_in]
    of_power, of_room = (sum(each[day] for day in days) for days in (power, room))
    return (
        Used(
            energy_wh=used.energy_wh + len(power) * outfit.resting_wh_a_day + of_power * outfit.trigger_wh(night),
            card_mb=used.card_mb + len(room) * outfit.resting_mb_a_day + of_room * outfit.trigger_mb(night),
            days=float((start - fresh_batteries).days),
        ),
        len(wanting),
    )

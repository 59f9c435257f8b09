"""A standing camera as rows, made into what a stop forecast reckons with; each figure with where it is from.

What nobody wrote down is assumed and told as such: no forecast is refused for want of a card's size.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np

from trod import sky, watch
from trod.errors import WrongInput
from trod.planning.arrivals import Arrivals, DayCount
from trod.planning.card_room import FileSizes
from trod.planning.cells import CELLS, Pack
from trod.planning.endurance import Outfit, Used
from trod.planning.energy import Draw
from trod.planning.upkeep import Closure
from trod.planning.weather import DEFAULT_CLIMATE, Climate
from trod.web.catalogue import specs
from trod.web.catalogue.evidence import Piece
from trod.web.models import Deployment, Reserve, Site, Visit

# Words that stand for a kind of cell in what people write; the designations are those of IEC 60086.
CELL_WORDS: tuple[tuple[str, str], ...] = (
    (r"\bfr\s?6\b|lithium|\bli\b", "FR6"),
    (r"\bhr\s?6\b|ni-?mh|rechargeable", "HR6"),
    (r"\blr\s?6\b|alkaline", "LR6"),
)
CARD_GB = 32.0
CLIP_S = 15.0
GONE = frozenset({Visit.Arrival.DEAD, Visit.Arrival.FULL, Visit.Arrival.GONE})


@dataclass(frozen=True)
class Assumed:
    """One figure behind a forecast. source : where it is from; "assumed" when nobody said."""

    what: str
    value: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Equipped:
    """All that a forecast of one camera needs.

    start : the day from which it is forecast, when it was last known to be alive. stopped_on : set when the
    last visit found it stopped and nobody set it going again. unknown_days : days before `start` whose
    pictures nobody has seen, for which the mean was taken.
    """

    outfit: Outfit
    arrivals: Arrivals
    start: date
    used: Used
    fresh_cells: date
    card_in: date
    card: str
    stopped_on: date | None
    stopped_how: str
    unknown_days: int
    assumed: tuple[Assumed, ...]


def pack_from(text: str, *, kind: str = "", number: int | None = None) -> tuple[Pack, str]:
    """The pack that a text such as "8 × AA lithium" or "12 FR6" tells of, else kind and number, else eight LR6.

    Returns the pack and where it is from.
    """
    low = text.lower()
    word = next((cell for pattern, cell in CELL_WORDS if re.search(pattern, low)), "")
    found = re.search(r"\b(\d{1,2})\s*(?:x|×|\*|\s)", low) or re.match(r"\s*(\d{1,2})\b", low)
    count = int(found[1]) if found and 1 <= int(found[1]) <= 64 else None
    cell = word or (kind.upper() if kind.upper() in CELLS else "")
    source = "as written down" if word else "as the camera model says" if cell else "assumed"
    count = count or (number if number else None) or 8
    return Pack(cell=CELLS[cell or "LR6"], number=count), source


def climate_of(reserve: Reserve) -> Climate:
    """The reserve's night minima, else the assumed ones.

    `Reserve.climate` is {"minimum_c": twelve numbers, "sd_c": twelve numbers, "source": text}.
    """
    kept = reserve.climate if isinstance(reserve.climate, dict) else {}
    try:
        return Climate(
            minimum_c=tuple(map(float, kept["minimum_c"])),
            sd_c=tuple(map(float, kept.get("sd_c") or (4.0,) * 12)),
            source=str(kept.get("source") or "typed in"),
        )
    except KeyError:
        return DEFAULT_CLIMATE
    except (WrongInput, TypeError, ValueError):
        return DEFAULT_CLIMATE


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
        except (KeyError, TypeError, ValueError, WrongInput):
            continue
    return tuple(sorted(out, key=lambda c: c.first))


def _day(year: int, month: int, day: int) -> date:
    """A day of the year; 29 February is the 28th where there is none."""
    if (month, day) == (2, 29) and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        day = 28
    return date(year, month, day)


def day_counts(
    site: Site, stood: Sequence[tuple[Deployment, Piece]], *, zone: str, until: date | None = None
) -> tuple[DayCount, ...]:
    """The triggers of each whole day that a site's cameras watched, animals and people apart from blanks.

    An event of n pictures counts as n / (pictures a burst) triggers. A day counts as watched when its camera did
    for more than half of it. Days with events nobody has looked at are told as not yet told apart.
    """
    out: dict[date, DayCount] = {}
    for deployment, piece in stood:
        if piece.line is None:
            continue
        watched = _watched_days(piece, zone)
        burst = max(1, deployment.burst)
        kinds: dict[date, dict[str, int]] = defaultdict(lambda: defaultdict(int))
        seen: set[str] = set()
        dark = _in_the_dark(site, [s.utc_s for s in piece.sightings])
        for sighting, night in zip(piece.sightings, dark, strict=True):
            if sighting.event in seen:
                continue
            seen.add(sighting.event)
            day = watch.local(datetime.fromtimestamp(sighting.utc_s, UTC), zone).date()
            triggers = max(1, math.ceil(sighting.pictures / burst))
            kind = {"blank": "blanks", "person": "people", "vehicle": "people"}.get(sighting.what, "animals")
            kinds[day][kind] += triggers
            if kind != "blanks" and night:
                kinds[day]["night"] += triggers
        for event in piece.unseen:
            day = watch.local(datetime.fromtimestamp(event.utc_s, UTC), zone).date()
            kinds[day]["unseen"] += 1
        for day in watched:
            if until is not None and day > until:
                continue
            found = kinds.get(day, {})
            unseen = found.get("unseen", 0)
            out[day] = DayCount(
                day=day,
                animals=found.get("animals", 0) + unseen,
                people=found.get("people", 0),
                blanks=found.get("blanks", 0),
                night=None if unseen else found.get("night", 0),
                told_apart=not unseen,
            )
    return tuple(out[day] for day in sorted(out))


def _watched_days(piece: Piece, zone: str) -> list[date]:
    assert piece.line is not None
    share: dict[date, float] = defaultdict(float)
    for span in piece.line.watched:
        cuts = watch.day_starts_s(span.from_s, span.to_s, zone)
        edges = [span.from_s, *(c for c in cuts if span.from_s < c < span.to_s), span.to_s]
        for a, b in pairwise(edges):
            share[watch.local(datetime.fromtimestamp((a + b) / 2, UTC), zone).date()] += (b - a) / 86_400
    return [day for day, part in share.items() if part > 0.5]


def _in_the_dark(site: Site, utc_s: Sequence[float]) -> list[bool]:
    """Dark enough for the flash: the sun below −6°, the end of civil twilight."""
    height, _ = sky.sun_position(np.asarray(utc_s), latitude_deg=site.latitude, longitude_deg=site.longitude)
    return [bool(low) for low in height < -6.0]


def equip(
    deployment: Deployment,
    *,
    visits: Sequence[Visit],
    piece: Piece | None,
    counts: Sequence[DayCount],
    sizes: FileSizes | None,
    zone: str,
    today: date,
) -> Equipped:
    """One standing camera, ready to be forecast.

    visits : to this deployment, oldest first. counts : of its whole site. sizes : of files that came home.
    """
    spec = specs.spec_of(deployment.camera.model) if deployment.camera.model else None
    says: list[Assumed] = []

    def local(at: datetime) -> date:
        return min(watch.local(at, zone).date(), today)

    last_kind = next((v for v in reversed(visits) if v.cells_changed and (v.cells_kind or v.cells_count)), None)
    text = deployment.cells or (deployment.camera.model.cells if deployment.camera.model else "")
    pack, source = pack_from(
        text,
        kind=spec.cell if spec else "",
        number=round(spec.value("cells")) if spec and spec.figure("cells").origin != "assumed" else None,
    )
    if last_kind is not None and last_kind.cells_kind in CELLS:
        pack = Pack(cell=CELLS[last_kind.cells_kind], number=last_kind.cells_count or pack.number)
        source = f"put in on {local(last_kind.at):%-d %B %Y}"
    says.append(Assumed("cells", pack.name, source))

    draw = Draw.of(spec) if spec else Draw()
    for name, told, unit in (
        ("idle_mw", "drawn while waiting", "mW"),
        ("wake_j", "energy of a trigger", "J"),
        ("day_frame_j", "energy of a day picture", "J"),
        ("night_frame_j", "energy of a night picture", "J"),
    ):
        if spec is not None:
            known = spec.figure(name)
            says.append(Assumed(told, f"{known.value:g} {unit}", known.origin))
    if spec is None:
        says.append(Assumed("camera model", "not known", "assumed"))

    written = deployment.card.size_gb if deployment.card else None
    card_gb = written or CARD_GB
    says.append(Assumed("card", f"{card_gb:g} GB", "as written down" if written else "assumed"))
    sizes = sizes or FileSizes()
    says.append(Assumed("size of a day picture", f"{sizes.day_mean_mb:.1f} MB", sizes.source))
    clips = deployment.mode in (Deployment.Mode.CLIP, Deployment.Mode.BOTH)
    if clips:
        says.append(Assumed("length of a clip", f"{CLIP_S:g} s", "assumed"))
    outfit = Outfit(
        draw=draw,
        pack=pack,
        card_gb=card_gb,
        sizes=sizes,
        frames=0 if deployment.mode == Deployment.Mode.CLIP else deployment.burst,
        clip_s=CLIP_S if clips else 0.0,
        delay_s=deployment.delay_s,
        lapses_per_day=24 / deployment.time_lapse_h if deployment.time_lapse_h else 0.0,
        **({"bytes_sd": 0.03} if sizes.source != FileSizes().source else {}),
    )
    arrivals = Arrivals.for_site(
        deployment.site.feature or "other", latitude_deg=deployment.site.latitude  # type: ignore[arg-type]
    ).after(counts)
    says.append(Assumed("triggers a day", f"{arrivals.posterior.per_day:.3g}", arrivals.sentence()))

    begun = local(deployment.start)
    fresh_cells = max([begun, *(local(v.at) for v in visits if v.cells_changed)])
    card_in = max([begun, *(local(v.at) for v in visits if v.card_in_id)])
    last = visits[-1] if visits else None
    stopped_on, how = None, ""
    if last is not None and last.arrival in GONE and not (last.cells_changed or last.card_in_id or last.card_out_id):
        stopped_on, how = local(last.at), last.get_arrival_display()
    known_day = begun
    if piece is not None and piece.known_to_s is not None:
        known_day = max(begun, local(datetime.fromtimestamp(piece.known_to_s, UTC)))
    alive = [local(v.at) for v in visits if v.arrival == Visit.Arrival.WORKING or v.cells_changed or v.card_in_id]
    start = max([known_day, *alive])
    used, unknown = _used(outfit, arrivals, counts, fresh_cells, card_in, start)
    return Equipped(
        outfit=outfit,
        arrivals=arrivals,
        start=start,
        used=used,
        fresh_cells=fresh_cells,
        card_in=card_in,
        card=deployment.card.label if deployment.card else "",
        stopped_on=stopped_on,
        stopped_how=how,
        unknown_days=unknown,
        assumed=tuple(says),
    )


def _used(
    outfit: Outfit, arrivals: Arrivals, counts: Sequence[DayCount], fresh_cells: date, card_in: date, start: date
) -> tuple[Used, int]:
    """What cells and card gave before `start`: by the counts, and by the mean for days nobody has seen yet."""
    first = min(fresh_cells, card_in)
    known: Mapping[date, DayCount] = {c.day: c for c in counts if first <= c.day < start}
    night = arrivals.posterior.night_share
    used = Used.of(outfit, list(known.values()), fresh_cells=fresh_cells, card_in=card_in, night_share=night)
    wanting = [first + timedelta(days=n) for n in range((start - first).days) if first + timedelta(days=n) not in known]
    each = arrivals.posterior.per_day
    power = [day for day in wanting if day >= fresh_cells]
    room = [day for day in wanting if day >= card_in]
    return (
        Used(
            energy_wh=used.energy_wh + len(power) * (outfit.resting_wh_a_day + each * outfit.trigger_wh(night)),
            card_mb=used.card_mb + len(room) * (outfit.resting_mb_a_day + each * outfit.trigger_mb(night)),
            days=float((start - fresh_cells).days),
        ),
        len(wanting),
    )

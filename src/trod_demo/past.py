"""Eskerwold's year: who stood where, who came to look, what went wrong, and the sign that was seen."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np

from trod_demo.gear import CAMERAS_BY_SERIAL, MODELS_BY_SLUG
from trod_demo.places import RESERVE, SITES

DEFAULT_NOW = date(2026, 6, 30)
"""The demo's last day when none is given, so that the same seed makes the same year."""

YEAR_D = 365

TECHNICIANS = ("Ilka Marwood", "Tobin Achterfeld", "Suri Penhallick")


@dataclass(frozen=True)
class ClockStep:
    """From `since` (true, UTC) the clock is wrong by `error_s`; positive: it shows too late a time. [s]"""

    since: datetime
    error_s: float


@dataclass(frozen=True)
class Spell:
    """Something that lasts: "asked", "askew", "ice", "weak battery", "off", "full card". True times, UTC."""

    what: str
    start: datetime
    end: datetime


@dataclass(frozen=True)
class Visit:
    """A person at a camera."""

    deployment: str
    at: datetime
    by: str
    kind: str
    """set, check, card swap, retrieve"""
    found: str
    """State on arrival: working, dead, askew, card full."""
    clock_found_s: float | None
    """Camera's clock minus true time on arrival; None when it could not be read. [s]"""
    clock_set: bool
    battery_pct: int | None
    card_out: str | None
    card_in: str | None
    batteries_changed: bool
    notes: str


@dataclass(frozen=True)
class Card:
    """A memory card's stay in a camera. folder : where it is written to; None while it is in the camera."""

    name: str
    deployment: str
    size_gb: int
    put_in: datetime
    taken_out: datetime | None
    folder: str | None
    just_pulled: bool = False


@dataclass(frozen=True)
class Deployment:
    """A camera at a site for a time, at ONE fixed offset from UTC."""

    slug: str
    site: str
    camera: str
    start: datetime
    end: datetime | None
    utc_offset_min: int
    lens_height_m: float
    aim_distance_m: float
    tilt_deg: float
    heading_deg: float
    settings: tuple[tuple[str, str], ...]
    batteries: str
    clock: tuple[ClockStep, ...] = ()
    spells: tuple[Spell, ...] = ()

    @property
    def timezone(self) -> timezone:
        """The fixed offset its clock was set to."""
        return timezone(timedelta(minutes=self.utc_offset_min))

    def clock_error_s(self, at: datetime) -> float:
        """Camera's clock minus true time at a true instant: the last step plus the drift since then. [s]"""
        step = max((c for c in self.clock if c.since <= at), key=lambda c: c.since)
        drift = CAMERAS_BY_SERIAL[self.camera].drift_s_d
        return step.error_s + drift * (at - step.since).total_seconds() / 86400

    def during(self, what: str, at: datetime) -> Spell | None:
        """The spell of that name that holds at an instant."""
        for s in self.spells:
            if s.what == what and s.start <= at < s.end:
                return s
        return None


@dataclass(frozen=True)
class Sign:
    """Sign of an animal found on foot."""

    kind: str
    species: str
    latitude_deg: float
    longitude_deg: float
    on: date
    by: str
    note: str


@dataclass(frozen=True)
class Year:
    """All that hangs on the last day: deployments, visits, cards and sign of the year before it."""

    now: date
    deployments: tuple[Deployment, ...]
    visits: tuple[Visit, ...]
    cards: tuple[Card, ...]
    signs: tuple[Sign, ...] = field(default=())

    def deployment(self, slug: str) -> Deployment:
        """The deployment of that slug; KeyError if there is none."""
        for d in self.deployments:
            if d.slug == slug:
                return d
        raise KeyError(slug)


# How each camera hangs: site, camera, height, aim distance, tilt, heading, day it is set, day it is taken
# down.
_PLAN: tuple[tuple[str, str, float, float, float, float, int, int | None], ...] = (
    ("alder-track", "TB3-40117", 0.90, 6.0, 3.0, 20.0, 0, None),
    ("stone-ford", "ODW-0872", 1.10, 7.0, 4.5, 75.0, 0, 230),
    ("stone-ford", "TB3-40139", 1.10, 7.0, 4.5, 75.0, 230, None),
    ("grey-lick", "TB3-40118", 1.20, 6.0, 3.5, 340.0, 0, None),
    ("hay-stand", "DMS2209K", 3.00, 11.0, 9.0, 15.0, 0, None),
    ("larkfield-edge", "TB3-40122", 1.00, 9.0, 3.0, 255.0, 1, None),
    ("high-saddle", "ODW-0871", 0.90, 7.0, 4.0, 10.0, 2, None),
    ("closed-lane", "G8-55102", 1.00, 7.0, 2.5, 45.0, 1, None),
    ("heron-pool", "DMS2211K", 1.00, 6.5, 5.0, 330.0, 1, None),
    ("orchard-wall", "ODW-0913", 0.60, 5.5, 1.0, 115.0, 1, None),
    ("scree-foot", "G8-55107", 0.80, 7.0, -4.0, 300.0, 2, 118),
    ("scree-foot", "TB3-40140", 0.90, 7.0, -4.5, 325.0, 118, None),
    ("sett-bank", "ODW-0914", 0.55, 4.5, 0.0, 5.0, 2, None),
    ("lynx-gallery", "DMS2240K", 0.60, 5.0, 3.0, 350.0, 2, None),
)
_ROUNDS_D = (55, 118, 176, 230, 288)  # days after the first; each round takes three days
JUST_PULLED = ("larkfield-edge", "stone-ford")
TIME_LAPSE = ("hay-stand", "high-saddle", "sett-bank")
"""Sites whose camera also takes a picture by the clock, at noon every seventh day."""


ICE_FROM, ICE_D = (1, 6), 22  # month and day, and for how many days the lens is iced


def _is_summer_time(at: datetime) -> bool:
    return bool(at.astimezone(ZoneInfo(RESERVE.time_zone)).dst())


def _visit_days(set_d: int, down_d: int | None, *, late: bool) -> list[tuple[int, str]]:
    days: list[tuple[int, str]] = [(set_d, "set")]
    for d in _ROUNDS_D:
        lag = set_d if set_d <= 2 else 0
        if d > set_d and (down_d is None or d < down_d):
            days.append((d + lag, "card swap" if d == 176 else "check"))
    if down_d is not None:
        days.append((down_d, "retrieve"))
    elif late:
        days += [(318, "card swap"), (YEAR_D - 1, "card swap")]
    else:
        days.append((345 + (set_d if set_d <= 2 else 0), "card swap"))
    return days


def year(now: date = DEFAULT_NOW) -> Year:
    """The invented history of the 365 days that end on `now`.

    The same `now` gives the same history. Ice falls in January and a clock is set to summer time in summer;
    the other troubles (a knocked camera, a dying battery) hang on the day of the plan.
    """
    first = now - timedelta(days=YEAR_D)
    ice = next(date(y, *ICE_FROM) for y in (first.year, first.year + 1) if date(y, *ICE_FROM) >= first)
    winter = (ice - first).days
    offset = RESERVE.utc_offset_min
    tz = timezone(timedelta(minutes=offset))

    def instant(day: float, hour: float = 0.0) -> datetime:
        return (datetime.combine(first, time(0), tz) + timedelta(days=day, hours=hour)).astimezone(UTC)

    deployments: list[Deployment] = []
    visits: list[Visit] = []
    cards: list[Card] = []
    for i, (site, serial, height, aim, tilt, heading, set_d, down_d) in enumerate(_PLAN):
        camera = CAMERAS_BY_SERIAL[serial]
        model = MODELS_BY_SLUG[camera.model]
        days = _visit_days(set_d, down_d, late=site in JUST_PULLED and down_d is None)
        at = [instant(d, 8.0 + (i * 1.37) % 8.5) for d, _ in days]
        start, end = at[0], at[-1] if down_d is not None else None
        slug = f"{site}-{start.astimezone(tz).date().isoformat()}"
        spells: list[Spell] = []
        clock = [ClockStep(start, 0.0)]
        found: dict[int, str] = {}
        note: dict[int, str] = {}
        unread: set[int] = set()
        sets: dict[int, float] = {}
        if site == "closed-lane":
            spells.append(Spell("askew", instant(84, 3.4), at[2]))
            found[2], note[2] = (
                "askew",
                "Strap loose, case hanging to one side; straightened, strap tightened.",
            )
        if site == "high-saddle":
            iced = min(max(winter, set_d + 3), YEAR_D - ICE_D - 3)
            spells.append(Spell("ice", instant(iced, 6.0), instant(iced + ICE_D, 13.0)))
            after = [k for k, (d, _) in enumerate(days) if d > iced + ICE_D]
            if after:
                note[after[0]] = "Rime on the housing, window clear now."
        if site == "stone-ford" and down_d is not None:
            spells += [Spell("weak battery", instant(178), instant(204)), Spell("off", instant(204), at[-1])]
            found[len(days) - 1] = "dead"
            note[len(days) - 1] = "No life with fresh batteries either; camera taken home, another put up."
            unread.add(len(days) - 1)
        if site == "heron-pool":
            spells.append(Spell("off", instant(186, 21.0), instant(203, 11.0)))
            note[4] = "Working, but NiMH batteries were low; changed."
        if site == "hay-stand":
            spells.append(Spell("full card", instant(163, 22.0), at[3]))
            found[3], note[3] = "card full", "Card full; larger card put in."
        if site == "orchard-wall":
            k = max(k for k in range(1, len(days) - 1) if _is_summer_time(at[k]))
            sets[k] = 3600.0  # set by a telephone that showed summer time
            note[k + 1] = "Clock one hour ahead: it had been set to summer time. Put right."
        if site == "scree-foot" and down_d is None:
            reset = datetime(now.year - 3, 1, 1, tzinfo=tz).astimezone(UTC)
            sets[1] = (reset - at[1]).total_seconds()  # batteries changed, clock fell back and nobody looked
            note[1] = "Batteries changed."
            note[2] = "Clock stood on 1 January: it was not set after the last change of batteries. Put right."
        if site == "larkfield-edge":
            sets[6] = 3600.0
            note[7] = "Card pulled for the review."
        for k in range(1, len(days)):
            if k in sets:
                clock.append(ClockStep(at[k], sets[k]))
            elif days[k][1] != "retrieve":
                clock.append(ClockStep(at[k], 0.0))
        deployment = Deployment(
            slug=slug,
            site=site,
            camera=serial,
            start=start,
            end=end,
            utc_offset_min=offset,
            lens_height_m=height,
            aim_distance_m=aim,
            tilt_deg=tilt,
            heading_deg=heading,
            settings=(
                ("burst", str(model.burst)),
                ("burst gap", f"{model.burst_gap_s:g} s"),
                ("rest", f"{model.rearm_s:g} s"),
                ("sensitivity", "high" if site != "high-saddle" else "low"),
                *((("time lapse", "168 h"),) if site in TIME_LAPSE else ()),
            ),
            batteries=model.batteries,
            clock=tuple(clock),
            spells=tuple(spells),
        )
        deployments.append(deployment)
        # Cards: one from the set-up to the first swap, and so on.
        swaps = [0] + [k for k in range(1, len(days)) if days[k][1] in ("card swap", "retrieve")]
        names: dict[int, tuple[str | None, str | None]] = {}
        for n, k in enumerate(swaps):
            out = swaps[n + 1] if n + 1 < len(swaps) else None
            name = f"{camera.name.replace(' ', '-')}-{chr(ord('A') + n)}"
            pulled = out is not None and site in JUST_PULLED and days[out][0] == YEAR_D - 1
            if days[k][1] != "retrieve":
                cards.append(
                    Card(
                        name,
                        slug,
                        32,
                        at[k],
                        at[out] if out is not None else None,
                        f"{serial}-{n + 1}" if out is not None else None,
                        pulled,
                    )
                )
            before = f"{camera.name.replace(' ', '-')}-{chr(ord('A') + n - 1)}" if n else None
            names[k] = (before, None if days[k][1] == "retrieve" else name)
        for k, (day, kind) in enumerate(days):
            card_out, card_in = names.get(k, (None, None))
            arrival = None if k == 0 or k in unread else round(deployment.clock_error_s(at[k] - timedelta(minutes=1)))
            changed = k == 0 or (k in (3, 5) and kind != "retrieve") or note.get(k, "").startswith("Cells")
            since_cells = day - set_d if k < 3 else day - days[min(3, k)][0]
            battery = None if k in unread else 100 if k == 0 else max(20, 96 - since_cells // 3)
            visits.append(
                Visit(
                    deployment=slug,
                    at=at[k],
                    by=TECHNICIANS[(day // 50 + i // 6) % 3],
                    kind=kind,
                    found="—" if k == 0 else found.get(k, "working"),
                    clock_found_s=arrival,
                    clock_set=kind != "retrieve",
                    battery_pct=battery,
                    card_out=card_out,
                    card_in=card_in,
                    batteries_changed=changed,
                    notes=note.get(k, ""),
                )
            )
    visits.sort(key=lambda v: (v.at, v.deployment))
    return Year(now, tuple(deployments), tuple(visits), tuple(cards), _signs(first))


def _signs(first: date) -> tuple[Sign, ...]:
    rng = np.random.default_rng(4711)
    kinds = {
        "red_deer": ("tracks", "scat", "rub", "wallow"),
        "roe_deer": ("tracks", "scrape", "bed"),
        "wild_boar": ("rooting", "tracks", "rub"),
        "red_fox": ("scat", "tracks"),
        "badger": ("latrine", "tracks"),
        "brown_hare": ("tracks", "scat"),
        "grey_wolf": ("tracks", "scat"),
        "lynx": ("tracks", "scat"),
    }
    out = []
    for n in range(34):
        key = list(kinds)[int(rng.integers(len(kinds)))]
        near = [s for s in SITES if key in dict(s.draw)]
        site = near[int(rng.integers(len(near)))]
        what = kinds[key][int(rng.integers(len(kinds[key])))]
        out.append(
            Sign(
                what,
                key,
                round(site.latitude_deg + float(rng.normal(0, 0.0022)), 5),
                round(site.longitude_deg + float(rng.normal(0, 0.0032)), 5),
                first + timedelta(days=int(rng.integers(3, 360))),
                TECHNICIANS[n % 3],
                "in snow" if what == "tracks" and rng.random() < 0.3 else "",
            )
        )
    return tuple(sorted(out, key=lambda s: (s.on, s.kind, s.species)))

"""How long batteries lasted in each camera, from its visits."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from trod.catalogue.forecasts.outfits import climate_of
from trod.catalogue.imports import facts
from trod.catalogue.models import Camera, Deployment, Picture, Reserve, Visit
from trod.drawing.pen import Pen, Svg, shape
from trod.drawing.scales import Axis
from trod.planning.ground.weather import Climate
from trod.planning.visit.maintenance import (
    BatterySet,
    BatteryVisit,
    battery_sets,
)
from trod.telling import file_facts
from trod.telling import maintenance as telling
from trod.web.maintenance.common import spans
from trod.web.maintenance.stock import said_of_batteries

WIDTH, BAR, GAP, LEFT, TOP = 640, 18, 14, 8, 4
END_WORDS = {
    "dead": "found without power",
    "changed": "changed with power left",
    "still in": "still in",
    "retrieved": "retrieved with power left",
}


@dataclass(frozen=True)
class BatteryStory:
    """One camera's sets of batteries, oldest first."""

    camera: Camera
    sets: tuple[BatterySet, ...]
    says: str

    @property
    def past(self) -> str:
        """What the sets before the present one tell."""
        return telling.batteries(self.sets, present=False)

    @property
    def present(self) -> BatterySet | None:
        return self.sets[-1] if self.sets and self.sets[-1].end == "still in" else None


def nights(reserve: Reserve | None) -> Climate | None:
    """The reserve's nights, where somebody stated them; nothing is assumed here."""
    known = climate_of(reserve) if reserve else None
    return None if known is None or known.assumed else known


def stories(reserve: Reserve | None, now: datetime, *, only: Camera | None = None) -> list[BatteryStory]:
    """Every camera that has stood, with the story of its batteries. Three queries."""
    deployments = Deployment.objects.order_by("start")
    visits = Visit.objects.filter(deployment__isnull=False).order_by("at")
    if only:
        deployments, visits = deployments.filter(camera=only), visits.filter(deployment__camera=only)
    stood: dict[int, list[Deployment]] = defaultdict(list)
    batteries_of: dict[int, tuple[int, int | None, str]] = {}
    for d in deployments:
        stood[d.camera_id].append(d)
        number, kind = said_of_batteries(d.batteries)
        batteries_of[d.pk] = (d.camera_id, number, kind or d.batteries)
    told: dict[int, list[BatteryVisit]] = defaultdict(list)
    for v in visits.only(
        "deployment", "at", "batteries_changed", "arrival", "battery_percent", "battery_kind", "battery_count"
    ):
        if v.deployment_id is None:
            continue
        owner, number, kind = batteries_of[v.deployment_id]
        told[owner].append(
            BatteryVisit(
                at=v.at,
                changed=v.batteries_changed,
                dead=v.arrival == Visit.Arrival.DEAD,
                percent=v.battery_percent,
                kind=v.battery_kind or kind,
                number=v.battery_count or (None if v.battery_kind else number),
            )
        )
    climate = nights(reserve)
    cameras = [only] if only else list(Camera.objects.filter(pk__in=stood))
    out = []
    for camera in cameras:
        sets = battery_sets(told[camera.pk], spans(stood[camera.pk], now), now, climate=climate)
        out.append(BatteryStory(camera, sets, telling.batteries(sets)))
    return out


def voltages(camera: Camera, sets: Sequence[BatterySet]) -> list[str]:
    """The voltage that a camera's own files tell of each set, at its first file and at its last; "" where none does."""
    told = Picture.objects.filter(deployment__camera=camera, foreign=False, battery_v__isnull=False)
    if not told.exists():
        return [""] * len(sets)
    return [file_facts.course(*facts.voltage_ends(told.filter(taken_at__range=(s.start, s.until)))) for s in sets]


MARKS = (("dead", "found dead"), ("changed", "changed or retrieved with power left"), ("still in", "still in"))


def bars_svg(sets: Sequence[BatterySet]) -> Svg:
    """One bar a set, newest at the bottom, days to the right, with a mark of how it ended."""
    pen = Pen(key="batteries")
    longest = max((s.days for s in sets), default=0) or 1
    step = next(s for s in (7, 14, 30, 60, 90, 180, 365, 730, 3650) if longest / s <= 7 or s == 3650)
    x, base = Axis(0, longest, LEFT, WIDTH - 70), TOP + len(sets) * (BAR + GAP)
    ticks = range(0, int(longest) + 1, step)
    for days in ticks:
        pen.path(shape("M", x(days), 0, "V", base), css="rule")
        words, anchor = f"{days}{' days' if days == ticks[-1] else ''}", "start" if days == 0 else "middle"
        pen.text(x(days), base + 16, words, anchor=anchor)
    for n, one in enumerate(sets):
        tip, y = max(LEFT + 2.0, x(one.days)), TOP + n * (BAR + GAP)
        with pen.group(css=one.end.replace(" ", "-")):
            pen.rect(LEFT, y, tip - LEFT, BAR)
            _mark(pen, one.end, tip, y + BAR / 2)
            pen.text(tip + 14, y + 14, f"{one.days:.0f}")
    label = "Sets of batteries by the days they were in the field; the same stands in the table below"
    return pen.done(WIDTH, base + 20, label, css="batteries")


def _mark(pen: Pen, end: str, x: float, y: float) -> None:
    if end == "dead":
        pen.path(shape("M", x - 6, y - 6, "l12 12m-12 0l12 -12"), css="mark")
    elif end == "still in":
        pen.path(shape("M", x, y - 7, "l8 7l-8 7"), css="mark")
    else:
        pen.circle(x, y, 5.5, css="mark")


def mark_svg(end: str) -> Svg:
    """The mark of an end, for the legend."""
    pen = Pen(key="mark")
    with pen.group(css=end.replace(" ", "-")):
        _mark(pen, end, 5 if end == "still in" else 8, 8)
    return pen.done(16, 16, css="batteries key")

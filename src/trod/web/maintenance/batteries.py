"""How long batteries lasted in each camera, from its visits."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from trod.catalogue.forecasts.outfits import climate_of
from trod.catalogue.models import Camera, Deployment, Reserve, Visit
from trod.planning.ground.weather import Climate
from trod.planning.visit.maintenance import (
    BatterySet,
    BatteryVisit,
    batteries_sentence,
    battery_sets,
)
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
        return batteries_sentence(self.sets, present=False)

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
        out.append(BatteryStory(camera, sets, batteries_sentence(sets)))
    return out


def bars(sets: Sequence[BatterySet]) -> dict[str, object]:
    """Where the bars of a small chart lie: one a set, newest at the bottom, days to the right."""
    longest = max((s.days for s in sets), default=0) or 1
    step = next(s for s in (7, 14, 30, 60, 90, 180, 365, 730, 3650) if longest / s <= 7 or s == 3650)
    scale = (WIDTH - LEFT - 70) / longest
    rows = []
    for n, s in enumerate(sets):
        y = TOP + n * (BAR + GAP)
        rows.append(
            {
                "y": y,
                "middle": y + BAR / 2,
                "width": round(max(2.0, s.days * scale), 1),
                "tip": round(LEFT + max(2.0, s.days * scale), 1),
                "end": s.end.replace(" ", "-"),
                "days": round(s.days),
            }
        )
    height = TOP + len(sets) * (BAR + GAP)
    ticks = [{"x": round(LEFT + d * scale, 1), "days": d} for d in range(0, int(longest) + 1, step)]
    size = {"width": WIDTH, "height": height + 20, "base": height, "left": LEFT, "bar": BAR}
    return {"rows": rows, "ticks": ticks, **size}

"""What the pages of rounds show, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from trod import wording
from trod.catalogue.models import Reserve, Round
from trod.catalogue.rounds.due import Due
from trod.catalogue.rounds.round_plain import Planned
from trod.drawing.pen import Pen, Svg, shape
from trod.drawing.scales import Axis
from trod.field import round_sheet
from trod.planning.visit.kit import GROUPS
from trod.planning.visit.rounds import StopTime, Trip
from trod.planning.visit.travel import Way
from trod.telling import kit as telling
from trod.telling import measures
from trod.telling import rounds as rounds_told
from trod.units import system_of


@dataclass(frozen=True)
class DueLine:
    """One site of the list of who is due. now, then : chances in hundredths, None without a forecast."""

    due: Due
    saves: float
    saves_words: str
    now: int | None
    then: int | None
    by: date | None
    late: bool
    closed: str

    @property
    def of(self) -> str:
        """The deployment whose chance is told: the one that most likely stopped."""
        return max(self.due.forecasts, key=lambda f: f.chance_now).deployment if self.due.forecasts else ""

    @property
    def first(self) -> str:
        """The deployment that wants somebody first."""
        return next((f.deployment for f in self.due.forecasts if f.go_by == self.by), "")


def due_lines(found: Sequence[Due], today: date, ahead: int) -> list[DueLine]:
    """The list of who is due within so many days."""

    def per(value: float | None) -> int | None:
        return None if value is None else round(100 * value)

    out = []
    for d in found:
        saves = max(d.saves, default=0.0)
        out.append(
            DueLine(
                due=d,
                saves=saves,
                saves_words=wording.days_number(saves) if saves >= 0.05 else "none",
                now=per(d.chance(today)),
                then=per(d.chance(today + timedelta(days=ahead))),
                by=d.go_by,
                late=d.stopped or (d.go_by is not None and d.go_by <= today + timedelta(days=ahead)),
                closed=d.closed.get(today, ""),
            )
        )
    # Those late first, then by what a visit saves, then by their date.
    return sorted(out, key=lambda x: (not x.due.stopped, not x.late, -x.saves, x.by or date.max, x.due.site.name))


def length_words(metres: float, units: str) -> str:
    """A way's length in the person's units, two digits."""
    return measures.way(metres, system_of(units))


def way_words(v: StopTime, units: str) -> str:
    """How they come to a stop."""
    parts = []
    if v.way.drive_m >= 50:
        parts.append(f"{length_words(v.way.drive_m, units)} by car")
    if v.way.walk_m >= 10:
        climb = ""
        if v.way.climb_m is not None and v.way.climb_m >= 20:
            climb = f", {measures.climb(v.way.climb_m, system_of(units))} uphill"
        parts.append(f"{length_words(v.way.walk_m, units)} on foot{climb}")
    return f"{wording.lasting(60 * max(1, v.way.minutes))}: {', '.join(parts)}" if parts else "here"


def trips(planned: Planned, units: str) -> list[dict[str, Any]]:
    """Each trip for its section."""
    out = []
    all_days = len({t.day for t in planned.plan.trips}) > 1
    for n, trip in enumerate(planned.plan.trips):
        kit = planned.kits[n] if n < len(planned.kits) else ()
        lines = telling.items(kit)
        out.append(
            {
                "n": n,
                "trip": trip,
                "day": wording.weekday_day(trip.day),
                "leave": round_sheet.clock(trip.leave),
                "home": round_sheet.clock(trip.home),
                "away": wording.lasting((trip.home - trip.leave).total_seconds()),
                "foot": f"{length_words(trip.walk_m, units)} on foot" if trip.walk_m >= 10 else "hardly a step on foot",
                "car": length_words(trip.drive_m, units) if trip.drive_m >= 50 else "",
                "back": wording.lasting(60 * max(1, trip.back.minutes)),
                "light": rounds_told.light(planned.light[n]) if n < len(planned.light) else "",
                "saves": wording.camera_days(trip.saves_days) if trip.saves_days >= 0.05 else "",
                "visits": [
                    {
                        "v": v,
                        "arrive": round_sheet.clock(v.arrive),
                        "leave": round_sheet.clock(v.leave),
                        "wait": wording.lasting(60 * v.wait_min) if v.wait_min >= 1 else "",
                        "way": way_words(v, units),
                        "saves": wording.days_number(v.saves_days) if v.saves_days >= 0.05 else "",
                        "first": n == 0 and v.number == 1,
                        "last": n + 1 == len(planned.plan.trips) and v.number == len(trip.visits),
                    }
                    for v in trip.visits
                ],
                "kit": [(g, here) for g in GROUPS if (here := [i for i in lines if i.group == g])],
                "kit_words": telling.short(kit),
                "strip": day_strip(trip),
                "keys": ",".join(v.stop.key for v in trip.visits),
                "more_days": all_days,
            }
        )  # fmt: skip
    return out


def day_strip(trip: Trip) -> Svg:
    """The day as a strip: hours along it, the ways as lines, each visit as a numbered block. SVG.

    Full line by car, dashed on foot; the same stands in the table.
    """
    pen = Pen(key="strip")
    wide, high = 640.0, 74.0
    first = trip.leave.hour * 60 + trip.leave.minute
    end = first + (trip.home - trip.leave).total_seconds() / 60
    lo, hi = 60 * (first // 60), 60 * (int(end) // 60 + 1)
    x = Axis(lo, max(hi, lo + 60), 20, wide - 20)

    def at(when: datetime) -> float:
        return first + (when - trip.leave).total_seconds() / 60

    def leg(here: float, way: Way) -> None:
        on_foot = here + way.drive_min
        for css, a, b in (("drive", here, on_foot), ("walk", on_foot, on_foot + way.walk_min)):
            if b - a > 0.2:
                pen.path(shape("M", x(a), 28, "H", x(b)), css=css)

    for hour in range(lo, hi + 1, 60 if hi - lo <= 12 * 60 else 120):
        pen.path(shape("M", x(hour), 8, "V", 48), css="hour")
        pen.text(x(hour), 68, f"{hour // 60 % 24}", css="hour-told")
    here = float(first)
    for v in trip.visits:
        leg(here, v.way)
        a, here = at(v.arrive) + v.wait_min, at(v.leave)
        w = max(3.0, x(here) - x(a))
        pen.rect(x(a), 14, w, 28, css="stay", rx=2)
        pen.text(x(a) + w / 2, 33, f"{v.number}", css="stay-told")
    leg(here, trip.back)
    told = (
        f"Away from {round_sheet.clock(trip.leave)} to {round_sheet.clock(trip.home)} with {len(trip.visits)} visits; "
        "the table below says the same."
    )
    return pen.done(wide, high, told, css="daystrip")


def map_data(reserve: Reserve, planned: Planned) -> dict[str, Any]:
    """The map's data: ground, start, numbered stops, ways, and what was left out."""
    plan = planned.plan
    return {
        "middle": [reserve.latitude, reserve.longitude],
        "boundary": reserve.boundary,
        "start": [plan.start.latitude_deg, plan.start.longitude_deg],
        "trips": [
            {
                "name": f"{wording.weekday_day(trip.day, year=False)}, {trip.party.name}",
                "lines": [
                    [list(p) for p in line] for line in (*(v.line for v in trip.visits), trip.back_line) if len(line) > 1
                ],
                "stops": [
                    {
                        "n": v.number,
                        "name": v.stop.name,
                        "at": [v.stop.latitude_deg, v.stop.longitude_deg],
                        "when": round_sheet.clock(v.arrive),
                        "why": v.stop.why,
                        "key": v.stop.key,
                    }
                    for v in trip.visits
                ],
            }
            for trip in plan.trips
        ],
        "left": [{"name": x.stop.name, "at": [x.stop.latitude_deg, x.stop.longitude_deg]} for x in plan.left_out],
    }


def kept_rounds(reserve: Reserve, today: date) -> tuple[list[Round], list[Round]]:
    """Rounds to come, the next first, and those past, the last first. Their plans are not read."""
    from django.db.models import Count

    rows = list(
        Round.objects.filter(reserve=reserve).defer("plan").annotate(n=Count("stops")).order_by("-day", "-id")[:60]
    )
    return [r for r in reversed(rows) if r.day >= today], [r for r in rows if r.day < today]

"""The round on paper: the order with its times, what to carry, what to mind, and lines to write on at each stop.

For the people who go: it shows true places. Asked to blur, sensitive sites are hatched cells on the map, the ways
are left out, and no coordinates are printed for them. The same as a table, for those who write at a desk.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from importlib import resources
from typing import Any

from trod import __version__, units
from trod.errors import WrongInput
from trod.findings.sightings import Site
from trod.planning.kit import GROUPS, Caution, KitItem
from trod.planning.rounds import RoundPlan, StopTime, Trip
from trod.planning.travel import Way
from trod.report import sentences, sketch_map

PAPERS = ("a4", "us-letter")
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
# What a person writes down at a camera, in the words of a visit's record.
BLANK_COLUMNS = (
    "came_at", "left_at", "state_on_arrival", "cells_percent", "cells_changed", "card_out", "card_in",
    "clock_showed", "true_time", "walk_test", "work_done", "note",
)  # fmt: skip
ARRIVALS = (
    "working", "no power", "card full", "moved or knocked", "lens iced, dirty or grown over", "gone",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class RoundSheet:
    """All that a round sheet prints.

    reserve : its name. kits : what to carry, one list for each trip or one for all. light : for each trip in words,
    such as 'light from 6:12 to 18:20', or nothing. show_sensitive : true places; only for people with the right to.
    """

    plan: RoundPlan
    reserve: str
    kits: Sequence[Sequence[KitItem]] = ()
    cautions: Sequence[Caution] = ()
    light: Sequence[str] = ()
    start_name: str = "start"
    paper: str = "a4"
    system: sentences.System = "metric"
    made_on: date | None = None
    show_sensitive: bool = True

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise WrongInput("paper", got=self.paper, needed="a4 or us-letter")
        for name, lists in (("kits", self.kits), ("light", self.light)):
            if len(lists) not in (0, 1, len(self.plan.trips)):
                raise WrongInput(
                    name, got=len(lists), needed=f"none, one for all, or {len(self.plan.trips)}, one a trip"
                )


def round_sheet_pdf(sheet: RoundSheet) -> bytes:
    """The sheet as PDF: for each trip the order and map, the list to pack, and the stops with room to write."""
    import typst

    told = json.dumps(sentences.clean(printed(sheet)), ensure_ascii=False, allow_nan=False)
    template = resources.files("trod.report").joinpath("round_sheet.typ").read_bytes()
    made: bytes = typst.compile(
        template, format="pdf", sys_inputs={"round": told}, ignore_system_fonts=True, font_paths=[]
    )
    return made


def printed(sheet: RoundSheet) -> dict[str, Any]:
    """What the template prints, every number already in words."""
    plan = sheet.plan
    when = f" on {sentences.day(sheet.made_on)}" if sheet.made_on else ""
    return {
        "paper": sheet.paper,
        "reserve": sheet.reserve,
        "made": f"Made with Trod {__version__}{when}. Times are plans, not duties.",
        "sentence": _sentence(plan),
        "trips": [_trip(sheet, number, trip) for number, trip in enumerate(plan.trips)],
        "cautions": [{"about": c.about, "words": c.words, "sites": sentences.listed(c.sites)} for c in sheet.cautions],
        "left_out": [[left.stop.name, sentences.lengths_in(left.reason, sheet.system)] for left in plan.left_out],
        "ways": sentences.capital(sentences.lengths_in(plan.ways_told, sheet.system)) + "." if plan.ways_told else "",
        "arrivals": list(ARRIVALS),
    }


def _sentence(plan: RoundPlan) -> str:
    """What the round brings, without the lengths, which each trip tells in its own units."""
    if not plan.trips:
        return plan.sentence
    words = f"The round saves about {sentences.camera_days(plan.saves_days)}."
    if plan.left_out:
        left = len(plan.left_out)
        words += (
            f" {sentences.capital(sentences.plural(left, 'stop'))} {'is' if left == 1 else 'are'} left for another time."
        )
    if plan.searcher == "own":
        words += " Ordered by Trod's own search; the extra route finds somewhat shorter ways."
    return words


def _distance(length_m: float, system: sentences.System) -> str:
    """Two digits: no map is better."""
    return sentences.way_length(length_m, system)


def _trip(sheet: RoundSheet, number: int, trip: Trip) -> dict[str, Any]:
    day = f"{DAYS[trip.day.weekday()]}, {sentences.day(trip.day)}"
    sums = [_walk(sheet, trip.walk_m, trip.climb_m)]
    if trip.drive_m >= 50:
        sums.append(f"{_distance(trip.drive_m, sheet.system)} by car")
    if trip.load_kg > 0:
        sums.append(
            f"{sentences.number(trip.load_kg, 2)} kg to carry out" if sheet.system == "metric" else _pounds(trip)
        )
    light = _for(sheet.light, number, "")
    return {
        "day": day,
        "party": trip.party.name,
        "tiles": [
            ["leave", clock(trip.leave), sheet.start_name],
            ["back", clock(trip.home), f"{sentences.trimmed(trip.party.rest_min, 2)} minutes kept free"
             if trip.party.rest_min else ""],
            ["stops", str(len(trip.visits)), ""],
            ["away", _away(trip), ""],
        ],
        "sums": "; ".join([*sums, light] if light else sums) + ".",
        "map": _map(sheet, trip),
        "map_alt": f"Map of the {len(trip.visits)} stops of {trip.party.name} on {day}, numbered in their order.",
        "map_note": _map_note(sheet, trip),
        "rows": [_row(sheet, visit) for visit in trip.visits]
        + [["", clock(trip.home), f"back at {sheet.start_name}", *_way(sheet, trip.back), ""]],
        "kit": _kit(_for(sheet.kits, number, ())),
        "stops": [_stop(sheet, visit) for visit in trip.visits],
    }  # fmt: skip


def _kit(items: Sequence[KitItem]) -> list[list[dict[str, Any]]]:
    """The groups in two columns: what goes to the sites, and what people need."""
    told = {group: [[str(i.number), i.what, i.why] for i in items if i.group == group] for group in GROUPS}
    halves = (GROUPS[:2], GROUPS[2:])
    return [[{"group": g, "items": told[g]} for g in half if told[g]] for half in halves] if items else []


def _for(lists: Sequence[Any], number: int, otherwise: Any) -> Any:
    return otherwise if not lists else lists[0] if len(lists) == 1 else lists[number]


def clock(when: datetime) -> str:
    """A time for a person, to the nearest minute: '7:05'."""
    minute = when.hour * 60 + when.minute + (1 if when.second >= 30 else 0)
    return f"{minute // 60 % 24}:{minute % 60:02d}"


def _away(trip: Trip) -> str:
    minutes = round((trip.home - trip.leave).total_seconds() / 60)
    return f"{minutes // 60} h {minutes % 60:02d}"


def _pounds(trip: Trip) -> str:
    return f"{sentences.number(trip.load_kg / units.POUND_KG, 2)} lb to carry out"


def _walk(sheet: RoundSheet, walk_m: float, climb_m: float | None) -> str:
    climb = "" if climb_m is None or climb_m < 20 else f", {_height(sheet, climb_m)} uphill"
    return f"{_distance(walk_m, sheet.system)} on foot{climb}"


def _height(sheet: RoundSheet, height_m: float) -> str:
    if sheet.system == "us":
        return f"{round(units.feet_from_m(height_m), -1):.0f} ft"
    return f"{round(height_m, -1):.0f} m"


def _way(sheet: RoundSheet, way: Way) -> list[str]:
    """Minutes and metres of a way."""
    parts = []
    if way.drive_m >= 50:
        parts.append(f"{_distance(way.drive_m, sheet.system)} by car")
    if way.walk_m >= 10:
        parts.append(_walk(sheet, way.walk_m, way.climb_m))
    return [str(max(1, round(way.minutes))), ", ".join(parts)] if parts else ["", "here"]


def _row(sheet: RoundSheet, visit: StopTime) -> list[str]:
    wait = f", from {clock_after(visit)}" if visit.wait_min >= 1 else ""
    return [
        str(visit.number),
        f"{clock(visit.arrive)}{wait}",
        visit.stop.name,
        *_way(sheet, visit.way),
        visit.stop.why,
    ]


def clock_after(visit: StopTime) -> str:
    """When the visit may begin, after the wait."""
    return clock(visit.arrive + timedelta(minutes=visit.wait_min))


def _stop(sheet: RoundSheet, visit: StopTime) -> dict[str, Any]:
    stop = visit.stop
    hidden = stop.sensitive and not sheet.show_sensitive
    lines = [
        ["why", stop.why],
        ["do", "; ".join(stop.work)],
        ["access", stop.access],
        ["where", "" if hidden else f"{stop.latitude_deg:.5f}, {stop.longitude_deg:.5f}"],
    ]
    needs = [f"{stop.people} people"] if stop.people > 1 else []
    needs += ["ladder"] if stop.ladder else []
    if needs:
        lines.append(["needs", sentences.listed(needs)])
    return {
        "number": str(visit.number),
        "name": stop.name,
        "time": f"{clock(visit.arrive)}–{clock(visit.leave)}",
        "lines": [line for line in lines if line[1].strip()],
        "caution": stop.caution,
    }


def _map(sheet: RoundSheet, trip: Trip) -> str:
    hidden = not sheet.show_sensitive and any(v.stop.sensitive for v in trip.visits)
    ways = [] if hidden else [v.line for v in trip.visits if len(v.line) > 1]
    if not hidden and len(trip.back_line) > 1:
        ways.append(trip.back_line)
    return sketch_map.draw(
        [
            sketch_map.Marker(
                site=Site(
                    slug=v.stop.key,
                    name=v.stop.name,
                    latitude_deg=v.stop.latitude_deg,
                    longitude_deg=v.stop.longitude_deg,
                    sensitive=v.stop.sensitive,
                ),
                number=v.number,
                watched=True,
            )
            for v in trip.visits
        ],
        system=sheet.system,
        show_sensitive=sheet.show_sensitive,
        ways=ways,
        start=(sheet.plan.start.latitude_deg, sheet.plan.start.longitude_deg),
    )


def _map_note(sheet: RoundSheet, trip: Trip) -> str:
    words = f"Square: {sheet.start_name}. Numbers: the order."
    if any(v.stop.sensitive for v in trip.visits):
        words += (
            " A place here must not be given away: keep this sheet, and bring it home."
            if sheet.show_sensitive
            else " A hatched square stands for a sensitive site that lies somewhere within it; the ways are left out."
        )
    return words


def round_sheet_csv(sheet: RoundSheet) -> str:
    """The stops as a table with empty columns to fill in: RFC 4180, UTF-8, CRLF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    told = ("day", "party", "turn", "arrive", "site", "key", "latitude", "longitude", "why", "work", "access", "caution")
    writer.writerow([*told, *BLANK_COLUMNS])
    for trip in sheet.plan.trips:
        for visit in trip.visits:
            stop = visit.stop
            hidden = stop.sensitive and not sheet.show_sensitive
            row = [
                trip.day.isoformat(), trip.party.name, visit.number, clock(visit.arrive), stop.name, stop.key,
                "" if hidden else repr(stop.latitude_deg), "" if hidden else repr(stop.longitude_deg),
                stop.why, "; ".join(stop.work), stop.access, stop.caution,
            ]  # fmt: skip
            texts = {1, 4, 5, 8, 9, 10, 11}  # what people typed; numbers may begin with a minus
            writer.writerow([_safe(v) if k in texts else v for k, v in enumerate(row)] + [""] * len(BLANK_COLUMNS))
    return out.getvalue()


def _safe(text: object) -> str:
    """A text that a spreadsheet would take for a formula begins with an apostrophe."""
    words = str(sentences.clean(str(text)))
    return f"'{words}" if words.startswith(("=", "+", "-", "@", "\t", "\r")) else words

"""The round on paper: the order with its times, what to carry, what to mind, and lines to write on at each stop.

The round comes fit to leave (`trod.leaving.rounds`): of a trip with a hidden stop it prints no times, ways or order,
and the stop is a hatched battery on the map. The same as a table, for those who write at a desk.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from trod import __version__, units, wording
from trod.errors import WrongInput
from trod.leaving.rounds import FitRound, FitTrip, FitVisit
from trod.planning.visit.kit import GROUPS, KitItem
from trod.planning.visit.travel import Way
from trod.report import sentences, sketch_map
from trod.report.setting import set_pdf
from trod.telling import kit, measures, rounds, ways
from trod.units import System

PAPERS = ("a4", "us-letter")
# What a person writes down at a camera, in the words of a visit's record.
BLANK_COLUMNS = (
    "came_at", "left_at", "state_on_arrival", "battery_percent", "batteries_changed", "card_out", "card_in",
    "clock_showed", "true_time", "walk_test", "work_done", "note",
)  # fmt: skip
ARRIVALS = (
    "working", "no power", "card full", "moved or knocked", "lens iced, dirty or grown over", "gone",
)  # fmt: skip

# What the table says of a place: (hidden, shown) to words.
PLACE_WORDS = {
    (False, False): "",
    (True, False): "sensitive: left out, with times and order",
    (False, True): "sensitive: TRUE place, give it to nobody",
}


@dataclass(frozen=True, kw_only=True)
class RoundSheet:
    """All that a round sheet prints.

    reserve : its name.
    """

    plan: FitRound
    reserve: str
    start_name: str = "start"
    paper: str = "a4"
    system: System = "metric"
    made_on: date | None = None

    def __post_init__(self) -> None:
        if self.paper not in PAPERS:
            raise WrongInput("paper", got=self.paper, needed="a4 or us-letter")


def round_sheet_pdf(sheet: RoundSheet) -> bytes:
    """The sheet as PDF: for each trip the order and map, the list to pack, and the stops with room to write."""
    return set_pdf("trod.field", "round_sheet.typ", printed(sheet))


def printed(sheet: RoundSheet) -> dict[str, Any]:
    """What the template prints, every number already in words."""
    plan = sheet.plan
    when = f" on {wording.day(sheet.made_on)}" if sheet.made_on else ""
    return {
        "paper": sheet.paper,
        "reserve": sheet.reserve,
        "made": f"Made with Trod {__version__}{when}. Times are plans, not duties.",
        "sentence": _sentence(plan),
        "trips": [_trip(sheet, trip) for trip in plan.trips],
        "cautions": [
            {"about": c.about, "words": c.words, "sites": wording.listed(c.sites)} for c in kit.cautions(plan.cautions)
        ],
        "left_out": [list(one) for one in plan.left_out],
        "ways": f"{wording.capital(ways.how(plan.ways, sheet.system))}." if plan.ways else "",
        "arrivals": list(ARRIVALS),
    }


def _sentence(plan: FitRound) -> str:
    """What the round brings, without the lengths, which each trip tells in its own units."""
    if not plan.trips:
        return plan.sentence
    words = f"The round saves about {wording.camera_days(plan.saves_days)}."
    if plan.left_out:
        left = len(plan.left_out)
        words += f" {wording.plural(left, 'stop is', 'stops are')} left for another time."
    if plan.searcher == "own":
        words += " Ordered by Trod's own search; the extra route finds somewhat shorter ways."
    return words


def _distance(length_m: float, system: System) -> str:
    """Two digits: no map is better."""
    return measures.way(length_m, system)


def _trip(sheet: RoundSheet, trip: FitTrip) -> dict[str, Any]:
    day = wording.weekday_day(trip.day)
    sums = [] if trip.hides else [_walk(sheet, trip.walk_m, trip.climb_m)]
    if trip.drive_m >= 50:
        sums.append(f"{_distance(trip.drive_m, sheet.system)} by car")
    if trip.load_kg > 0:
        sums.append(f"{wording.number(trip.load_kg, 2)} kg to carry out" if sheet.system == "metric" else _pounds(trip))
    if trip.light is not None:
        sums.append(rounds.light(trip.light))
    return {
        "day": day,
        "party": trip.party.name,
        "tiles": _tiles(sheet, trip),
        "note": trip.note,
        "order_head": "The stops" if trip.hides else "The order",
        "sums": "; ".join(sums) + "." if sums else "",
        "map": _map(sheet, trip),
        "map_alt": f"Map of the {len(trip.visits)} stops of {trip.party.name} on {day}, numbered {_numbered(trip)}.",
        "map_note": _map_note(sheet, trip),
        "rows": [_row(sheet, visit) for visit in trip.visits] + _back(sheet, trip),
        "kit": _kit(trip.kit),
        "stops": [_stop(sheet, visit) for visit in trip.visits],
    }  # fmt: skip


def _kit(items: Sequence[KitItem]) -> list[list[dict[str, Any]]]:
    """The groups in two columns: what goes to the sites, and what people need."""
    told = {g: [[str(i.number), i.what, i.why] for i in kit.items(items) if i.group == g] for g in GROUPS}
    halves = (GROUPS[:2], GROUPS[2:])
    return [[{"group": g, "items": told[g]} for g in half if told[g]] for half in halves] if items else []


def _tiles(sheet: RoundSheet, trip: FitTrip) -> list[list[str]]:
    stops = ["stops", str(len(trip.visits)), ""]
    if trip.leave is None or trip.home is None:
        return [stops]
    rest = f"{wording.trimmed(trip.party.rest_min, 2)} minutes kept free" if trip.party.rest_min else ""
    minutes = round((trip.home - trip.leave).total_seconds() / 60)
    return [
        ["leave", clock(trip.leave), sheet.start_name],
        ["back", clock(trip.home), rest],
        stops,
        ["away", f"{minutes // 60} h {minutes % 60:02d}", ""],
    ]


def _back(sheet: RoundSheet, trip: FitTrip) -> list[list[str]]:
    if trip.home is None or trip.back is None:
        return []
    return [["", clock(trip.home), f"back at {sheet.start_name}", *_way(sheet, trip.back), ""]]


def _numbered(trip: FitTrip) -> str:
    return "by their names" if trip.hides else "in their order"


def clock(when: datetime) -> str:
    """A time for a person, to the nearest minute: '7:05'."""
    minute = when.hour * 60 + when.minute + (1 if when.second >= 30 else 0)
    return f"{minute // 60 % 24}:{minute % 60:02d}"


def _pounds(trip: FitTrip) -> str:
    pounds = units.scale("kg", "us")
    return f"{wording.number(pounds.from_stored(trip.load_kg), 2)} {pounds.sign} to carry out"


def _walk(sheet: RoundSheet, walk_m: float, climb_m: float | None) -> str:
    climb = "" if climb_m is None or climb_m < 20 else f", {measures.climb(climb_m, sheet.system)} uphill"
    return f"{_distance(walk_m, sheet.system)} on foot{climb}"


def _way(sheet: RoundSheet, way: Way) -> list[str]:
    """Minutes and metres of a way."""
    parts = []
    if way.drive_m >= 50:
        parts.append(f"{_distance(way.drive_m, sheet.system)} by car")
    if way.walk_m >= 10:
        parts.append(_walk(sheet, way.walk_m, way.climb_m))
    return [str(max(1, round(way.minutes))), ", ".join(parts)] if parts else ["", "here"]


def _row(sheet: RoundSheet, visit: FitVisit) -> list[str]:
    if visit.arrive is None or visit.way is None:
        return [str(visit.number), "", visit.stop.name, "", "", visit.stop.why]
    wait = f", from {clock_after(visit)}" if visit.wait_min >= 1 else ""
    return [
        str(visit.number),
        f"{clock(visit.arrive)}{wait}",
        visit.stop.name,
        *_way(sheet, visit.way),
        visit.stop.why,
    ]


def clock_after(visit: FitVisit) -> str:
    """When the visit may begin, after the wait; "" where times are not told."""
    if visit.arrive is None:
        return ""
    return clock(visit.arrive + timedelta(minutes=visit.wait_min))


def _stop(sheet: RoundSheet, visit: FitVisit) -> dict[str, Any]:
    stop = visit.stop
    place = stop.place
    lines = [
        ["why", stop.why],
        ["do", "; ".join(stop.work)],
        ["access", stop.access],
        ["where", "" if place.hidden else f"{place.latitude_deg:.5f}, {place.longitude_deg:.5f}"],
    ]
    needs = [f"{stop.people} people"] if stop.people > 1 else []
    needs += ["ladder"] if stop.ladder else []
    if needs:
        lines.append(["needs", wording.listed(needs)])
    return {
        "number": str(visit.number),
        "name": stop.name,
        "time": f"{clock(visit.arrive)}–{clock(visit.leave)}" if visit.arrive and visit.leave else "",
        "lines": [line for line in lines if line[1].strip()],
        "caution": stop.caution,
    }


def _map(sheet: RoundSheet, trip: FitTrip) -> str:
    return sketch_map.draw(
        [sketch_map.Marker(place=v.stop.place, number=v.number, watched=True) for v in trip.visits],
        system=sheet.system,
        ways=trip.lines,
        start=sheet.plan.start,
    )


def _map_note(sheet: RoundSheet, trip: FitTrip) -> str:
    words = f"Square: {sheet.start_name}. Numbers: {'the stops by name' if trip.hides else 'the order'}."
    if trip.hides:
        words += " A hatched square stands for a sensitive site that lies somewhere within it; the ways are left out."
    elif any(v.stop.place.shown for v in trip.visits):
        words += " A place here must not be given away: keep this sheet, and bring it home."
    return words


def round_sheet_csv(sheet: RoundSheet) -> str:
    """The stops as a table with empty columns to fill in: RFC 4180, UTF-8, CRLF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    told = (
        "day", "party", "turn", "arrive", "site", "key", "latitude", "longitude", "place", "why", "work", "access",
        "caution",
    )  # fmt: skip
    writer.writerow([*told, *BLANK_COLUMNS])
    for trip in sheet.plan.trips:
        for visit in trip.visits:
            stop = visit.stop
            place = stop.place
            at = ("", "") if place.hidden else (repr(place.latitude_deg), repr(place.longitude_deg))
            row = [
                trip.day.isoformat(), trip.party.name, "" if trip.hides else visit.number,
                clock(visit.arrive) if visit.arrive else "", stop.name, stop.key, *at,
                PLACE_WORDS[place.hidden, place.shown], stop.why, "; ".join(stop.work), stop.access, stop.caution,
            ]  # fmt: skip
            texts = {1, 4, 5, 9, 10, 11, 12}  # what people typed; numbers may begin with a minus
            writer.writerow([_safe(v) if k in texts else v for k, v in enumerate(row)] + [""] * len(BLANK_COLUMNS))
    return out.getvalue()


def _safe(text: object) -> str:
    """A text that a spreadsheet would take for a formula begins with an apostrophe."""
    words = str(sentences.clean(str(text)))
    return f"'{words}" if words.startswith(("=", "+", "-", "@", "\t", "\r")) else words

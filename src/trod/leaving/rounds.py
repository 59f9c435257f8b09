"""A round as it may leave.

The order of stops, the times, the ways and the reasons why others were left out are all worked out from where the
stops lie. A trip with a hidden stop therefore tells its day, who goes, and its stops by name, and none of those.
Which stops a round has, and on which trip, is what somebody kept; it is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from trod.errors import WrongInput
from trod.leaving.places import _SEAL, FitLine, FitPlace, FitToLeave, fit_line, fit_place
from trod.leaving.words import without_places
from trod.planning.visit.kit import FOR_SITES, Caution, KitItem
from trod.planning.visit.rounds import LeftOut, Party, RoundPlan, Span, Stop, StopTime, Trip
from trod.planning.visit.travel import HowGone, Way
from trod.telling import kit
from trod.telling import rounds as telling
from trod.units import System

HIDES = (
    "A sensitive site is on this trip. Its place is left out, and so are the times, the ways and the order of the "
    "stops, which would tell it; the stops stand by name."
)
SHOWS = "Sensitive sites stand here at their TRUE places: keep this to those who may know them, and bring it home."
# Cautions that follow from the ways and the hours of a trip, and what stands in their place where those are hidden.
BY_WAY = {"roads", "dark"}
HIDDEN_WAY = (Caution(about="roads, ways hidden"), Caution(about="dark, hours hidden"))


@dataclass(frozen=True, kw_only=True)
class FitStop(FitToLeave):
    """A stop. access : access in words, empty for a hidden one. The rest as of a planned stop."""

    key: str
    name: str
    place: FitPlace
    why: str = ""
    work: tuple[str, ...] = ()
    access: str = ""
    caution: str = ""
    people: int = 1
    ladder: bool = False


@dataclass(frozen=True, kw_only=True)
class FitVisit(FitToLeave):
    """One visit. number : its turn, or its turn by name where the trip hides a stop; then the rest is None."""

    number: int
    stop: FitStop
    saves_days: float
    arrive: datetime | None = None
    leave: datetime | None = None
    wait_min: float = 0.0
    way: Way | None = None
    line: FitLine | None = None


@dataclass(frozen=True, kw_only=True)
class FitTrip(FitToLeave):
    """One party on one day. hides : a stop of it is hidden; then it tells no times and no ways.

    walk_m, drive_m, climb_m : in all. light : between when it is light enough to go. kit : what to carry.
    """

    day: date
    party: Party
    visits: tuple[FitVisit, ...]
    load_kg: float
    hides: bool
    leave: datetime | None = None
    home: datetime | None = None
    back: Way | None = None
    back_line: FitLine | None = None
    walk_m: float = 0.0
    drive_m: float = 0.0
    climb_m: float | None = None
    light: Span | None = None
    kit: tuple[KitItem, ...] = ()

    @property
    def shows(self) -> bool:
        """A sensitive stop stands at its true place, because somebody decided so."""
        return any(v.stop.place.shown for v in self.visits)

    @property
    def note(self) -> str:
        """What is to be said of its places, on whatever it is put; empty where there is nothing."""
        return HIDES if self.hides else SHOWS if self.shows else ""

    @property
    def lines(self) -> tuple[FitLine, ...]:
        """Its ways, as far as they are told."""
        return tuple(x for x in (*(v.line for v in self.visits), self.back_line) if x is not None and len(x.points) > 1)


@dataclass(frozen=True, kw_only=True)
class FitRound(FitToLeave):
    """A round. left_out : (name, reason), the reason empty where it would tell a place. sentence : empty likewise.

    ways : how they were worked out; None where that would tell a place.
    """

    trips: tuple[FitTrip, ...]
    left_out: tuple[tuple[str, str], ...]
    start: FitPlace
    searcher: str
    ways: HowGone | None
    sentence: str
    saves_days: float
    cautions: tuple[Caution, ...] = ()

    @property
    def hides(self) -> bool:
        """A stop of it is hidden."""
        return any(trip.hides for trip in self.trips)

    @property
    def shows(self) -> bool:
        """A sensitive stop stands at its true place, because somebody decided so."""
        return any(trip.shows for trip in self.trips)

    @property
    def note(self) -> str:
        """What is to be said of its places, on whatever it is put; empty where there is nothing."""
        return HIDES if self.hides else SHOWS if self.shows else ""


def fit_round(
    plan: RoundPlan,
    *,
    kits: Sequence[Sequence[KitItem]] = (),
    light: Sequence[Span] = (),
    cautions: Sequence[Caution] = (),
    true_places: bool = False,
    system: System = "metric",
) -> FitRound:
    """A planned round as it may leave, told in the reader's units.

    kits, light : one for each trip, one for all, or none. cautions : of the whole round.
    true_places : somebody with the right decided that sensitive places are told.
    Raises WrongInput for as many lists as there are no trips.
    """
    for name, lists in (("kits", kits), ("light", light)):
        if len(lists) not in (0, 1, len(plan.trips)):
            raise WrongInput(name, got=len(lists), needed=f"none, one for all, or {len(plan.trips)}, one a trip")
    trips = tuple(
        _trip(trip, true_places, kit=_for(kits, n, ()), light=_for(light, n, None)) for n, trip in enumerate(plan.trips)
    )
    hides = any(trip.hides for trip in trips)
    start = fit_place(latitude_deg=plan.start.latitude_deg, longitude_deg=plan.start.longitude_deg)
    return FitRound(
        trips=trips,
        left_out=tuple(_left(left, hides=hides, true_places=true_places, system=system) for left in plan.left_out),
        start=start,
        searcher=plan.searcher,
        ways=None if hides else plan.ways,
        sentence="" if hides else telling.sentence(plan, system),
        saves_days=plan.saves_days,
        cautions=_cautions(cautions) if hides else tuple(cautions),
        seal=_SEAL,
    )


def _for(lists: Sequence[Any], number: int, otherwise: Any) -> Any:
    return otherwise if not lists else lists[0] if len(lists) == 1 else lists[number]


def _trip(trip: Trip, true_places: bool, *, kit: Sequence[KitItem], light: Span | None) -> FitTrip:
    stops = [fit_stop(v.stop, true_places=true_places) for v in trip.visits]
    if any(stop.place.hidden for stop in stops):
        by_name = sorted(zip(stops, trip.visits, strict=True), key=lambda pair: (pair[0].name.casefold(), pair[0].key))
        return FitTrip(
            day=trip.day,
            party=trip.party,
            visits=tuple(
                FitVisit(number=n, stop=stop, saves_days=v.saves_days, seal=_SEAL)
                for n, (stop, v) in enumerate(by_name, 1)
            ),
            load_kg=trip.load_kg,
            hides=True,
            light=light,
            kit=tuple(item for item in kit if item.group in FOR_SITES),
            seal=_SEAL,
        )
    return FitTrip(
        day=trip.day,
        party=trip.party,
        visits=tuple(_visit(v, stop) for v, stop in zip(trip.visits, stops, strict=True)),
        load_kg=trip.load_kg,
        hides=False,
        leave=trip.leave,
        home=trip.home,
        back=trip.back,
        back_line=fit_line(trip.back_line),
        walk_m=trip.walk_m,
        drive_m=trip.drive_m,
        climb_m=trip.climb_m,
        light=light,
        kit=tuple(kit),
        seal=_SEAL,
    )


def _visit(v: StopTime, stop: FitStop) -> FitVisit:
    return FitVisit(
        number=v.number, stop=stop, saves_days=v.saves_days, arrive=v.arrive, leave=v.leave, wait_min=v.wait_min,
        way=v.way, line=fit_line(v.line, leads_to=[stop.place]), seal=_SEAL,
    )  # fmt: skip


def fit_stop(stop: Stop, *, true_places: bool = False) -> FitStop:
    """A stop as it may leave. Of a hidden one its access is left out, and coordinates in its words."""
    place = fit_place(
        latitude_deg=stop.latitude_deg,
        longitude_deg=stop.longitude_deg,
        sensitive=stop.sensitive,
        true_places=true_places,
    )
    said = without_places if place.hidden else str
    return FitStop(
        key=stop.key,
        name=said(stop.name),
        place=place,
        why=said(stop.why),
        work=tuple(said(words) for words in stop.work),
        access="" if place.hidden else stop.access,
        caution=said(stop.caution),
        people=stop.people,
        ladder=stop.ladder,
        seal=_SEAL,
    )


def _left(left: LeftOut, *, hides: bool, true_places: bool, system: System) -> tuple[str, str]:
    stop = fit_stop(left.stop, true_places=true_places)
    return stop.name, "" if hides or stop.place.hidden else telling.left_out(left, system)


def _cautions(cautions: Sequence[Caution]) -> tuple[Caution, ...]:
    """Those that follow from the ways and the hours give place to words that hold for every round."""
    kept = [
        replace(c, said=without_places(c.said), sites=tuple(map(without_places, c.sites)))
        for c in cautions
        if c.about not in BY_WAY
    ]
    return (*kept, *HIDDEN_WAY)


def plain(made: FitRound) -> dict[str, Any]:
    """A round as JSON carries it, with full precision; null for what is not told."""

    def place(found: FitPlace) -> dict[str, Any]:
        return {
            "latitude_deg": found.latitude_deg,
            "longitude_deg": found.longitude_deg,
            "uncertainty_m": found.uncertainty_m,
            "sensitive": found.sensitive,
        }

    def when(at: datetime | None) -> str | None:
        return at.isoformat() if at is not None else None

    def way(found: Way | None) -> dict[str, Any] | None:
        return None if found is None else {**vars(found)}

    return {
        "note": made.note,
        "sentence": made.sentence,
        "saves_days": made.saves_days,
        "start": place(made.start),
        "trips": [
            {
                "day": trip.day.isoformat(),
                "party": trip.party.name,
                "leave": when(trip.leave),
                "home": when(trip.home),
                "visits": [
                    {
                        "key": v.stop.key,
                        "name": v.stop.name,
                        "place": place(v.stop.place),
                        "arrive": when(v.arrive),
                        "leave": when(v.leave),
                        "way": way(v.way),
                        "why": v.stop.why,
                        "work": list(v.stop.work),
                        "saves_days": v.saves_days,
                    }
                    for v in trip.visits
                ],
                "back": way(trip.back),
                "load_kg": trip.load_kg,
                "kit": [{**vars(item)} for item in kit.items(trip.kit)],
            }
            for trip in made.trips
        ],
        "left_out": [{"name": name, "reason": reason} for name, reason in made.left_out],
        "cautions": [{"about": c.about, "words": c.words, "sites": list(c.sites)} for c in kit.cautions(made.cautions)],
    }

"""A kept round as papers and files to take along: sheet, table, hand-held, calendar, field form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.crypto import constant_time_compare, salted_hmac

from trod import clock, wording
from trod.catalogue.forecasts import outfits
from trod.catalogue.models import Deployment, Round, Site
from trod.catalogue.rounds import round_plain
from trod.catalogue.rounds.round_plain import Planned
from trod.catalogue.rounds.wishes import Wish
from trod.catalogue.rounds.wishes import from_plain as wish_from
from trod.drawing.pen import NO_DRAWING, Svg
from trod.drawing.placement import side_svg
from trod.errors import TrodError
from trod.exchange import gpx, icalendar
from trod.field import round_sheet, setup_sheet
from trod.field.form import FieldFormCamera, FieldFormData, FieldFormStop
from trod.field.form.bounds import LONGEST_TEXT
from trod.leaving import FitPlace, fit_place, without_places
from trod.leaving.rounds import HIDES, FitRound, FitTrip, FitVisit, fit_round
from trod.planning.visit.rounds import RoundPlan, Stop
from trod.report import sketch_map
from trod.telling import kit
from trod.units import System

UPLOAD_PATH = "/fieldform/visits/"
COMING_HOME = timedelta(days=1)  # so long after its last day a round's field form still hands in: people come home late
LOOKED_BACK = timedelta(days=120)  # so far back an ended round is still told by its name
MOST_OPEN = 1000  # rounds whose field forms may hand in
MOST_SETUP_SHEETS = 60  # a placement is worked out anew for its set-up sheet; some hundredths of a second each


def planned_of(row: Round) -> Planned:
    """A kept round's plan. Raises WrongInput for one that cannot be read."""
    return round_plain.from_plain(row.plan)


def wish_of(row: Round) -> Wish:
    """What was asked of a kept round."""
    return wish_from(row.wish)


def _system(units: str) -> System:
    return "us" if units == "us" else "metric"


def fit_of(row: Round, *, true_places: bool = False) -> FitRound:
    """The round as it may leave: every paper and file of it is made of this alone.

    A site that was marked sensitive after the round was planned counts as sensitive.
    true_places : somebody with the right decided that sensitive places are told.
    """
    planned = planned_of(row)
    quiet = set(Site.objects.filter(reserve=row.reserve, sensitive=True).values_list("slug", flat=True))
    return fit_round(
        _marked(planned.plan, quiet), kits=planned.kits, light=planned.light, cautions=planned.cautions,
        true_places=true_places, system=_system(row.reserve.units),
    )  # fmt: skip


def _marked(plan: RoundPlan, quiet: set[str]) -> RoundPlan:
    def marked(stop: Stop) -> Stop:
        return replace(stop, sensitive=True) if stop.key in quiet else stop

    return replace(
        plan,
        trips=tuple(replace(t, visits=tuple(replace(v, stop=marked(v.stop)) for v in t.visits)) for t in plan.trips),
        left_out=tuple(replace(x, stop=marked(x.stop)) for x in plan.left_out),
    )


def file_stem(made: FitRound, stem: str) -> str:
    """A file's name without its ending; it says when true sensitive places are in it."""
    return f"{stem}-true-places" if made.shows else stem


def sheet(row: Round, *, units: str, paper: str = "", true_places: bool = False) -> round_sheet.RoundSheet:
    """The printed sheet's data."""
    system = _system(units)
    return round_sheet.RoundSheet(
        plan=fit_of(row, true_places=true_places),
        reserve=_title(row),
        start_name="the start",
        paper=paper or ("us-letter" if system == "us" else "a4"),
        system=system,
        made_on=clock.local(row.made_at, row.reserve.zone).date() if row.made_at else None,
    )


def _title(row: Round) -> str:
    """'West side · Larch Ground': the round and whose it is; a reserve of the demo says that it is invented."""
    return f"{row.name} · {row.reserve.titled}"


def gpx_of(row: Round, *, true_places: bool = False) -> str:
    """For a hand-held: the stops as places, each trip as a route, the ways as tracks.

    Of a trip with a hidden stop the places alone, by name.
    """
    made = fit_of(row, true_places=true_places)
    start = gpx.Waypoint(place=made.start, name="Start", kind="start")
    places: dict[str, gpx.Waypoint] = {}
    routes, lines = [], []
    for trip in made.trips:
        points = [start]
        for v in trip.visits:
            about = (f"about {round_sheet.clock(v.arrive)}",) if v.arrive else ()
            point = gpx.Waypoint(
                place=v.stop.place, name=v.stop.name, note="; ".join((*about, *v.stop.work)), kind="camera"
            )
            places.setdefault(v.stop.key, point)
            points.append(point)
        if not trip.hides:
            name = trip_name(trip, row)
            routes.append(gpx.Route(name=name, points=(*points, start)))
            lines.append(gpx.TrackLine(name=name, lines=trip.lines))
    said = [made.sentence, made.note, "" if made.hides else "Times are plans, not duties."]
    return gpx.gpx_text(
        name=_title(row), waypoints=[start, *places.values()], routes=routes, tracks=lines, made_at=row.made_at,
        note=" ".join(filter(None, said)),
    )  # fmt: skip


def trip_name(trip: FitTrip, row: Round) -> str:
    """'Saturday, 28 November 2026, Ada and Ben'."""
    return f"{wording.weekday_day(trip.day)}, {trip.party.name}"


def calendar_of(row: Round, *, true_places: bool = False, now: datetime) -> str:
    """For a calendar: one entry for each trip, the whole day where its times are not told.

    Written anew it replaces the one before.
    """
    made = fit_of(row, true_places=true_places)
    zone = row.reserve.zone
    entries = []
    for n, trip in enumerate(made.trips, 1):
        timed = trip.leave is not None and trip.home is not None
        lines = [
            f"{v.number}. {round_sheet.clock(v.arrive)} {v.stop.name}: {'; '.join(v.stop.work)}"
            if v.arrive
            else f"{v.stop.name}: {'; '.join(v.stop.work)}"
            for v in trip.visits
        ]
        starts: datetime | date = trip.day
        ends: datetime | date = trip.day
        if trip.leave is not None and trip.home is not None:
            starts = clock.utc_from_local(trip.leave, zone)
            ends = clock.utc_from_local(max(trip.home, trip.leave + timedelta(minutes=1)), zone)
        entries.append(
            icalendar.Entry(
                uid=f"{row.uuid}-{n}@trod",
                starts=starts,
                ends=ends,
                summary=f"{row.name}: {wording.plural(len(trip.visits), 'camera site')}, {trip.party.name}",
                note="\n".join([*lines, "Times are plans, not duties." if timed else HIDES]),
                location="Start of the round",
                place=made.start,
                sequence=int((row.made_at or now).timestamp()) // 60 % 2**31,
            )
        )
    return icalendar.calendar_text(entries, name=_title(row), stamp=now)


# The field form -------------------------------------------------------------------------------------------------


def token_of(field_form_id: str) -> str:
    """What opens the door for one field form's visits. Worked out from this house's secret key, kept nowhere."""
    return salted_hmac("trod.field-form", field_form_id, algorithm="sha256").hexdigest()


def token_fits(field_form_id: str, token: str) -> bool:
    """Whether a token belongs to a field form; compared in constant time."""
    return constant_time_compare(token_of(field_form_id), token)


def round_of(token: str, now: datetime) -> Round | None:
    """The round whose field form a token belongs to, ended or not. Each is compared in constant time."""
    found = None
    recent = Round.objects.select_related("reserve").defer("plan").filter(day__gte=(now - LOOKED_BACK).date())
    for row in recent.order_by("-day", "-id")[:MOST_OPEN]:
        if token_fits(str(row.uuid), token):
            found = row
    return found


def field_form_of(
    row: Round, *, units: str, now: datetime, addresses: Sequence[str] = (), true_places: bool = False
) -> FieldFormData:
    """The round's field form. true_places : carry the places of sensitive sites, too."""
    made, wish = fit_of(row, true_places=true_places), wish_of(row)
    system = _system(units)
    reserve = row.reserve
    slugs = [v.stop.key for t in made.trips for v in t.visits]
    sites = {s.slug: s for s in Site.objects.filter(reserve=reserve, slug__in=slugs)}
    standing = _standing(sites.values())
    stops: list[FieldFormStop] = []
    for trip in made.trips:
        before = made.start
        for v in trip.visits:
            site = sites.get(v.stop.key)
            if site is not None:
                stops.append(
                    _field_form_stop(
                        v, trip, site, standing.get(site.pk, []), made.start if trip.hides else before, system=system,
                        now=now, of_days=len(wish.dates), true_places=true_places, setup_sheets=len(slugs) <= MOST_SETUP_SHEETS,  # noqa: E501
                    )
                )  # fmt: skip
            before = v.stop.place
    tell = [
        (
            trip_name(trip, row),
            f"{round_sheet.clock(trip.leave)} to {round_sheet.clock(trip.home)}"
            if trip.leave is not None and trip.home is not None
            else "times are left out",
        )
        for trip in made.trips
    ]
    cautions = [f"{c.about}: {c.words}" for c in kit.cautions(made.cautions) if not c.sites]
    return FieldFormData(
        field_form_id=str(row.uuid),
        made_at=row.made_at or now,
        reserve=reserve.name,
        round_name=row.name,
        day=row.day if len({t.day for t in made.trips}) == 1 else None,
        people=wish.names(),
        stops=tuple(stops),
        system=system,
        cautions=tuple(filter(None, (made.note, *cautions))),
        tell=tuple(tell),
        addresses=tuple(addresses),
        upload_path=UPLOAD_PATH,
        upload_token=token_of(str(row.uuid)),
        invented=reserve.invented,
    )


def _standing(sites: Any) -> dict[int, list[Deployment]]:
    """The cameras that hang at each site, the one set first before the others."""
    rows = (
        Deployment.objects.filter(site__in=[s.pk for s in sites], end__isnull=True)
        .select_related("camera__model", "card", "placement__site__reserve", "placement__camera_model")
        .order_by("start", "slug")
    )
    found: dict[int, list[Deployment]] = {}
    for d in rows:
        found.setdefault(d.site_id, []).append(d)
    return found


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip()[:LONGEST_TEXT] for line in text.splitlines() if line.strip())


def _field_form_stop(
    v: FitVisit,
    trip: FitTrip,
    site: Site,
    hang: Sequence[Deployment],
    before: FitPlace,
    *,
    system: System,
    now: datetime,
    of_days: int,
    true_places: bool,
    setup_sheets: bool,
) -> FieldFormStop:
    stop = v.stop
    plan = [wording.weekday_day(trip.day, year=False)] if of_days > 1 else []
    if v.arrive is not None and v.way is not None:
        plan.append(f"about {round_sheet.clock(v.arrive)}")
        if v.way.minutes >= 0.5:
            origin = "the start" if v.number == 1 else "the stop before"
            plan.append(f"{max(1, round(v.way.minutes))} min from {origin}")
    said = without_places if stop.place.hidden else str
    closed = [
        f"Closed from {wording.day(c.first)} to {wording.day(c.last)}: {c.why}"
        for c in outfits.closures_of(site, today=trip.day)[:2]
    ]
    place = stop.place
    if not place.hidden:  # as the site stands now
        place = fit_place(
            latitude_deg=site.latitude, longitude_deg=site.longitude, sensitive=place.sensitive, true_places=true_places
        )
    return FieldFormStop(
        site_slug=site.slug,
        site_name=said(site.name),
        place=place,
        sensitive=place.sensitive,
        cameras=tuple(
            _field_form_camera(d, system=system, year=now.year, true_places=true_places, setup_sheets=setup_sheets)
            for d in hang
        ),
        plan=", ".join(plan),
        why=_lines(stop.why),
        to_do=stop.work,
        kit=("ladder",) if stop.ladder else (),
        safety=tuple(said(line) for line in (*_lines(site.safety), *closed)),
        access=() if place.hidden else _lines(site.access),
        sketch_map_svg=NO_DRAWING if place.hidden else _sketch(v, before, system, key=f"map-{site.pk}"),
    )


def _field_form_camera(
    d: Deployment, *, system: System, year: int, true_places: bool, setup_sheets: bool
) -> FieldFormCamera:
    setup_sheet: tuple[tuple[str, str], ...] = ()
    side = NO_DRAWING
    if d.placement_id and setup_sheets:
        setup_sheet, side = _setup_sheet(d, system=system, year=year, true_places=true_places)
    return FieldFormCamera(
        deployment_slug=d.slug,
        name=d.camera.name,
        serial=d.camera.serial,
        card=d.card.label if d.card else "",
        batteries=d.batteries,
        utc_offset_min=d.utc_offset_min,
        setup_sheet=setup_sheet,
        side_view_svg=side,
    )


def _setup_sheet(
    hangs: Deployment, *, system: System, year: int, true_places: bool
) -> tuple[tuple[tuple[str, str], ...], Svg]:
    from trod.catalogue.rows.setups import setup_of

    assert hangs.placement is not None
    try:
        setup = setup_of(hangs.placement, system=system, year=year, true_places=true_places)
    except TrodError as trouble:
        return (("not worked out", f"{trouble}. Look at the site's placement planner."),), NO_DRAWING
    rows = [
        *((label, f"{value}, {hint}" if hint else value) for label, value, hint in setup_sheet.tiles(setup)),
        *setup_sheet.settings_rows(setup),
    ]
    side = side_svg(
        setup.advice,
        setup.read.ground,
        setup.read.animal,
        case_height_mm=setup.read.mount.case_height_mm,
        system=system,
        key=f"side-{hangs.pk}",
        across=440,
    )
    return tuple(rows), side


def _sketch(v: FitVisit, before: FitPlace, system: System, *, key: str) -> Svg:
    return sketch_map.draw(
        [sketch_map.Marker(place=v.stop.place, number=v.number, watched=True)],
        system=system,
        ways=[v.line] if v.line is not None and len(v.line.points) > 1 else [],
        start=before,
        theme="page",
        key=key,
        size=16,  # on a phone it stands at six tenths of its size
    )


def last_day(row: Round) -> date:
    """The last day of a round."""
    try:
        return wish_of(row).dates[-1]
    except TrodError:
        return row.day


def may_still_hand_in(row: Round, now: datetime) -> bool:
    """Whether a round's field form still takes visits: until the day after its last day is over."""
    return clock.local(now, row.reserve.zone).date() <= last_day(row) + COMING_HOME

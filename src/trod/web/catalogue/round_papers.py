"""A kept round as papers and files to take along: sheet, table, hand-held, calendar, packet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.crypto import constant_time_compare, salted_hmac

from trod import watch
from trod.errors import TrodError
from trod.exchange import gpx, icalendar
from trod.findings import sightings
from trod.planning import drawing
from trod.planning.rounds import StopTime, Trip
from trod.planning.said import System
from trod.report import round_sheet, sentences, setup_slip, sketch_map
from trod.report.packet import PacketData, PacketStop
from trod.report.packet.data import LONGEST_TEXT
from trod.web.catalogue import outfits, round_plain
from trod.web.catalogue.round_plain import Planned
from trod.web.catalogue.wishes import Wish
from trod.web.catalogue.wishes import from_plain as wish_from
from trod.web.models import Deployment, Round, Site

UPLOAD_PATH = "/packet/visits/"
COMING_HOME = timedelta(days=1)  # so long after its last day a round's packet still hands in: people come home late
LOOKED_BACK = timedelta(days=120)  # so far back an ended round is still told by its name
DAYS = round_sheet.DAYS
MOST_OPEN = 1000  # rounds whose packets may hand in
MOST_SLIPS = 60  # a placement is worked out anew for its slip; some hundredths of a second each


def planned_of(row: Round) -> Planned:
    """A kept round's plan. Raises WrongInput for one that cannot be read."""
    return round_plain.from_plain(row.plan)


def wish_of(row: Round) -> Wish:
    """What was asked of a kept round."""
    return wish_from(row.wish)


def _system(units: str) -> System:
    return "us" if units == "us" else "metric"


def sheet(row: Round, *, units: str, paper: str = "", show_sensitive: bool = True) -> round_sheet.RoundSheet:
    """The printed sheet's data."""
    planned = planned_of(row)
    system = _system(units)
    return round_sheet.RoundSheet(
        plan=planned.plan,
        reserve=f"{row.name} · {row.reserve.name}" + (" (invented)" if row.reserve.invented else ""),
        kits=planned.kits,
        cautions=planned.cautions,
        light=planned.light,
        start_name="the start",
        paper=paper or ("us-letter" if system == "us" else "a4"),
        system=system,
        made_on=watch.local(row.made_at, row.reserve.zone).date() if row.made_at else None,
        show_sensitive=show_sensitive,
    )


def gpx_of(row: Round, *, blur: bool = False) -> str:
    """For a hand-held: the stops as places, each trip as a route, the ways as tracks."""
    plan = planned_of(row).plan
    start = gpx.Waypoint(
        latitude_deg=plan.start.latitude_deg, longitude_deg=plan.start.longitude_deg, name="Start", kind="start"
    )
    system = _system(row.reserve.units)
    places: dict[str, gpx.Waypoint] = {}
    routes, lines = [], []
    for trip in plan.trips:
        points = [start]
        for v in trip.visits:
            stop = v.stop
            point = gpx.Waypoint(
                latitude_deg=stop.latitude_deg,
                longitude_deg=stop.longitude_deg,
                name=stop.name,
                note="; ".join((f"about {round_sheet.clock(v.arrive)}", *stop.work)),
                kind="camera",
                sensitive=stop.sensitive,
            )
            places.setdefault(stop.key, point)
            points.append(point)
        name = trip_name(trip, row)
        routes.append(gpx.Route(name=name, points=(*points, start)))
        lines.append(gpx.TrackLine(name=name, lines=(*(v.line for v in trip.visits), trip.back_line)))
    return gpx.gpx_text(
        name=row.name, waypoints=[start, *places.values()], routes=routes, tracks=lines, made_at=row.made_at, blur=blur,
        note=f"{sentences.lengths_in(plan.sentence, system)} Times are plans, not duties.",
    )  # fmt: skip


def trip_name(trip: Trip, row: Round) -> str:
    """'Saturday, 28 November 2026, Ada and Ben'."""
    return f"{DAYS[trip.day.weekday()]}, {sentences.day(trip.day)}, {trip.party.name}"


def calendar_of(row: Round, *, blur: bool = False, now: datetime) -> str:
    """For a calendar: one entry for each trip. Written anew it replaces the one before."""
    plan = planned_of(row).plan
    zone = row.reserve.zone
    entries = []
    for n, trip in enumerate(plan.trips, 1):
        lines = [
            f"{v.number}. {round_sheet.clock(v.arrive)} {v.stop.name}: {'; '.join(v.stop.work)}" for v in trip.visits
        ]
        entries.append(
            icalendar.Entry(
                uid=f"{row.uuid}-{n}@trod",
                starts=watch.utc_from_local(trip.leave, zone),
                ends=watch.utc_from_local(max(trip.home, trip.leave + timedelta(minutes=1)), zone),
                summary=f"{row.name}: {sentences.plural(len(trip.visits), 'camera site')}, {trip.party.name}",
                note="\n".join([*lines, "Times are plans, not duties."]),
                location="Start of the round",
                place=(plan.start.latitude_deg, plan.start.longitude_deg),
                sequence=int((row.made_at or now).timestamp()) // 60 % 2**31,
            )
        )
    return icalendar.calendar_text(entries, name=row.name, stamp=now, blur=blur)


# The packet -------------------------------------------------------------------------------------------------


def token_of(packet_id: str) -> str:
    """What opens the door for one packet's visits. Worked out from this house's secret key, kept nowhere."""
    return salted_hmac("trod.packet", packet_id, algorithm="sha256").hexdigest()


def token_fits(packet_id: str, token: str) -> bool:
    """Whether a token belongs to a packet; compared in constant time."""
    return constant_time_compare(token_of(packet_id), token)


def round_of(token: str, now: datetime) -> Round | None:
    """The round whose packet a token belongs to, ended or not. Each is compared in constant time."""
    found = None
    recent = Round.objects.select_related("reserve").defer("plan").filter(day__gte=(now - LOOKED_BACK).date())
    for row in recent.order_by("-day", "-id")[:MOST_OPEN]:
        if token_fits(str(row.uuid), token):
            found = row
    return found


def packet_of(
    row: Round, *, units: str, now: datetime, addresses: Sequence[str] = (), with_sensitive: bool = True
) -> PacketData:
    """The round's packet. with_sensitive : carry the coordinates and sketch maps of sensitive sites, too."""
    planned, wish = planned_of(row), wish_of(row)
    plan = planned.plan
    system = _system(units)
    reserve = row.reserve
    slugs = [v.stop.key for t in plan.trips for v in t.visits]
    sites = {s.slug: s for s in Site.objects.filter(reserve=reserve, slug__in=slugs)}
    standing = _standing(sites.values())
    kit_lines = _kit_lines(planned)
    stops: list[PacketStop] = []
    for trip in plan.trips:
        before = (plan.start.latitude_deg, plan.start.longitude_deg)
        for v in trip.visits:
            site = sites.get(v.stop.key)
            if site is not None:
                stops.append(
                    _packet_stop(
                        v, trip, site, standing.get(site.pk), before, system=system, now=now, of_days=len(wish.dates),
                        with_place=with_sensitive or not site.sensitive, slips=len(slugs) <= MOST_SLIPS,
                        kit=kit_lines.get(v.stop.key, ()),
                    )
                )  # fmt: skip
            before = (v.stop.latitude_deg, v.stop.longitude_deg)
    tell = [
        (trip_name(trip, row), f"{round_sheet.clock(trip.leave)} to {round_sheet.clock(trip.home)}")
        for trip in plan.trips
    ]
    return PacketData(
        packet_id=str(row.uuid),
        made_at=row.made_at or now,
        reserve=reserve.name,
        round_name=row.name,
        day=row.day if len({t.day for t in plan.trips}) == 1 else None,
        people=wish.names(),
        stops=tuple(stops),
        system=system,
        cautions=tuple(f"{c.about}: {c.words}" for c in planned.cautions if not c.sites),
        tell=tuple(tell),
        addresses=tuple(addresses),
        upload_path=UPLOAD_PATH,
        upload_token=token_of(str(row.uuid)),
        invented=reserve.invented,
    )


def _standing(sites: Any) -> dict[int, Deployment]:
    """The camera that hangs at each site; where there are several, the one set first."""
    rows = (
        Deployment.objects.filter(site__in=[s.pk for s in sites], end__isnull=True)
        .select_related("camera__model", "card", "placement__site__reserve", "placement__camera_model")
        .order_by("-start")
    )
    return {d.site_id: d for d in rows}


def _kit_lines(planned: Planned) -> Mapping[str, tuple[str, ...]]:
    """What each stop's work asks to carry, in the words of its work."""
    return {
        v.stop.key: tuple(["ladder"] if v.stop.ladder else [])
        for t in planned.plan.trips
        for v in t.visits
    }


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip()[:LONGEST_TEXT] for line in text.splitlines() if line.strip())


def _packet_stop(
    v: StopTime,
    trip: Trip,
    site: Site,
    hangs: Deployment | None,
    before: tuple[float, float],
    *,
    system: System,
    now: datetime,
    of_days: int,
    with_place: bool,
    slips: bool,
    kit: tuple[str, ...],
) -> PacketStop:
    origin = "the start" if v.number == 1 else "the stop before"
    way = f"{max(1, round(v.way.minutes))} min from {origin}" if v.way.minutes >= 0.5 else ""
    day = f"{DAYS[trip.day.weekday()]} {trip.day.day} {trip.day:%B}, " if of_days > 1 else ""
    slip: tuple[tuple[str, str], ...] = ()
    side = ""
    if hangs is not None and hangs.placement_id and slips:
        slip, side = _slip(hangs, system=system, year=now.year)
    closed = [
        f"Closed from {sentences.day(c.first)} to {sentences.day(c.last)}: {c.why}"
        for c in outfits.closures_of(site, today=trip.day)[:2]
    ]
    return PacketStop(
        site_slug=site.slug,
        site_name=site.name,
        latitude_deg=site.latitude if with_place else None,
        longitude_deg=site.longitude if with_place else None,
        sensitive=site.sensitive,
        deployment_slug=hangs.slug if hangs else "",
        camera_name=hangs.camera.name if hangs else "",
        camera_serial=hangs.camera.serial if hangs else "",
        card=hangs.card.label if hangs and hangs.card else "",
        cells=hangs.cells if hangs else "",
        utc_offset_min=hangs.utc_offset_min if hangs else None,
        plan=f"{day}about {round_sheet.clock(v.arrive)}{f', {way}' if way else ''}",
        why=_lines(v.stop.why),
        to_do=v.stop.work,
        kit=kit,
        safety=(*_lines(site.safety), *closed),
        access=_lines(site.access) if with_place else (),
        slip=slip,
        side_view_svg=side,
        sketch_map_svg=_sketch(v, before, system) if with_place else "",
    )


def _slip(hangs: Deployment, *, system: System, year: int) -> tuple[tuple[tuple[str, str], ...], str]:
    from trod.web.slip.making import setup_of

    assert hangs.placement is not None
    try:
        setup = setup_of(hangs.placement, system=system, year=year)
    except TrodError as trouble:
        return (("not worked out", f"{trouble}. Look at the site's bench."),), ""
    rows = [
        *((label, f"{value}, {hint}" if hint else value) for label, value, hint in setup_slip.tiles(setup)),
        *setup_slip.settings_rows(setup),
    ]
    side = drawing.side_svg(
        setup.advice,
        setup.read.ground,
        setup.read.animal,
        case_height_mm=setup.read.mount.case_height_mm,
        system=system,
        theme="paper",
        key="side",
        across=440,
    )
    return tuple(rows), side


def _sketch(v: StopTime, before: tuple[float, float], system: System) -> str:
    stop = v.stop
    here = sightings.Site(
        slug=stop.key, name=stop.name, latitude_deg=stop.latitude_deg, longitude_deg=stop.longitude_deg,
        sensitive=stop.sensitive,
    )  # fmt: skip
    drawn = sketch_map.draw(
        [sketch_map.Marker(site=here, number=v.number, watched=True)],
        system=system,
        show_sensitive=True,
        ways=[v.line] if len(v.line) > 1 else [],
        start=before,
    )
    return drawn.replace('font-size="10"', 'font-size="16"')  # on a phone it stands at six tenths of its size


def last_day(row: Round) -> date:
    """The last day of a round."""
    try:
        return wish_of(row).dates[-1]
    except TrodError:
        return row.day


def may_still_hand_in(row: Round, now: datetime) -> bool:
    """Whether a round's packet still takes visits: until the day after its last day is over."""
    return watch.local(now, row.reserve.zone).date() <= last_day(row) + COMING_HOME

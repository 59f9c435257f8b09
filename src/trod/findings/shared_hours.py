"""Whether two kinds, people and a kind, two periods or two sites share their hours: the facts of that answer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import asking, effort, localtime, overlapping, sun_time
from trod.findings.detections import Detection, detections
from trod.findings.effort import Effort
from trod.findings.localtime import Floats
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.overlapping import Overlapped

Way = Literal["species", "people", "period", "sites"]
PEOPLE = "people"  # stands for a species where people are one side


@dataclass(frozen=True, kw_only=True)
class Side:
    """One side: what was selected, what came, how long was watched."""

    selection: Selection
    found: tuple[Detection, ...]
    worked: Effort


@dataclass(frozen=True, kw_only=True)
class SharedHours:
    """Both sides, by what they differ, and how far their hours overlap.

    overlapped : None where too little is known, with the reason in `why_not`.
    by_sun : sunrise and sunset of each day brought to those of the mean day of both sides; else by the clock, and
    `why_no_sun` tells the reason.
    mean_rise_h, mean_set_h : of that mean day. [h]
    """

    way: Way
    first: Side
    second: Side
    overlapped: Overlapped | None
    why_not: NotEnoughEvidence | None
    by_sun: bool
    why_no_sun: str
    mean_rise_h: float | None
    mean_set_h: float | None


def shared_hours(evidence: Evidence, first: Filter, second: Filter, *, people: bool = False) -> SharedHours:
    """How far the hours of two sides overlap.

    first, second : the same but for species, period or sites. people : the second side are the people in the pictures
    of the second filter, whatever its species.
    Raises WrongInput when both are the same, or differ in more; NotEnoughEvidence when no camera watched a side.
    """
    way = _way(first, second, people)
    a = _side(evidence, first, people=False)
    b = _side(evidence, second, people=people)
    instants = [np.array([d.utc_s for d in side.found], dtype=float) for side in (a, b)]
    overlapped, why_not = None, None
    rise = fall = None
    why_no_sun = ""
    clocks = [localtime.clock_hours(part, evidence.reserve.zone) for part in instants]
    hours = clocks
    if len(instants[0]) and len(instants[1]):
        try:
            sun = sun_time.sun_of(evidence.reserve, np.concatenate(instants))
            rise, fall = sun.mean_rise_h, sun.mean_set_h
            both = sun.anchored(np.concatenate(instants), np.concatenate(clocks))
            hours = [both[: len(clocks[0])], both[len(clocks[0]) :]]
        except NotEnoughEvidence as trouble:
            why_no_sun = str(trouble)
    try:
        overlapped = overlapping.overlap(
            hours[0], _days(a, instants[0]), hours[1], _days(b, instants[1]),
            first_weights=_weights(a, clocks[0]), second_weights=_weights(b, clocks[1]),
        )  # fmt: skip
    except NotEnoughEvidence as trouble:
        why_not = trouble
    return SharedHours(
        way=way, first=a, second=b, overlapped=overlapped, why_not=why_not, by_sun=rise is not None,
        why_no_sun=why_no_sun, mean_rise_h=rise, mean_set_h=fall,
    )  # fmt: skip


def _way(first: Filter, second: Filter, people: bool) -> Way:
    ways: list[Way] = []
    if people:
        ways.append("people")
    elif {*first.species} != {*second.species}:
        ways.append("species")
    if (first.first, first.last) != (second.first, second.last):
        ways.append("period")
    if {*first.sites} != {*second.sites}:
        ways.append("sites")
    rest = (first.independence_min, first.light) == (second.independence_min, second.light)
    if len(ways) != 1 or not rest:
        raise WrongInput(
            "overlap",
            got="two sides that are the same" if not ways else "two sides that differ in more than one thing",
            needed="two kinds of animals, or people and animals, or two periods, or two sites",
        )
    if ways[0] == "species" and ({*first.species} & {*second.species} or not first.species or not second.species):
        raise WrongInput("overlap", got="a kind of animal that stands on both sides", needed="a kind on each side")
    return ways[0]


def _side(evidence: Evidence, asked: Filter, *, people: bool) -> Side:
    if not people:
        selection, found, worked = asking.prepare(evidence, asked)
        return Side(selection=selection, found=found, worked=worked)
    selection, _, worked = asking.prepare(evidence, replace(asked, species=()))
    persons = [replace(o, what="animal", species=PEOPLE, picture="") for o in selection.others if o.what == "human"]
    return Side(selection=selection, found=detections(persons, asked.independence_min), worked=worked)


def _days(side: Side, instants: Floats) -> Floats:
    """Days from noon to noon, so that one night is one unit."""
    offsets = localtime.offsets_s(instants, side.selection.reserve.zone)
    return np.asarray(np.floor((instants + offsets) / localtime.DAY_S - 0.5), dtype=float)


def _weights(side: Side, clock_h: Floats) -> Floats:
    """One over the effort at each time of day, where every hour was watched."""
    by_hour = effort.hours_by_clock(side.selection, 24)
    if by_hour.min() <= 0:
        return np.ones(len(clock_h))
    return np.asarray(by_hour.mean() / by_hour[np.minimum(clock_h.astype(int), 23)], dtype=float)

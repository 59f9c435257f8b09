"""What a card's times show to be wrong with its camera's clock, in whole sentences."""

from __future__ import annotations

from datetime import UTC, datetime

from trod import clock, wording
from trod.timekeeping.faults import Basis, Fault, Kind, Stay, which_end

# What happened, as far as it is known by its name. Where it is not, the sentence says what cannot be.
_HAPPENED: dict[Kind, str] = {
    "wrong year": "The clock was set to another year",
    "day and month swapped": "Day and month were swapped when the clock was set",
    "half a day": "The clock was half a day out, as when morning and afternoon are mixed up",
    "an hour": "The clock was an hour or two out, as when summer time or another zone was set",
    "summer time": "The clock followed summer time, and this deployment's is meant to keep one offset",
    "offset": "The clock was out all the time",
    "set elsewhere": "The clock was put elsewhere while the camera hung there",
    "factory date": "The clock fell back to a factory date, as when the batteries lose their hold",
    "drift": "The clock did not keep time",
}
RIGHT = "The clock was right; somebody looked"
_RESTS: dict[Basis, str] = {
    "stay": "when the card lay in the camera",
    "order": "the order of the files",
    "ends": "the visits, taken to be on the first or last picture",
    "light": "when the camera went over to infrared and back",
    "reading": "what was read off the clock at the visits",
}


def happened(fault: Fault, stay: Stay, zone: str) -> str:
    """What is wrong, and how that is seen; one or two sentences."""
    many = fault.last - fault.first + 1
    pictures = wording.plural(many, "picture")
    first, last = (clock.raw_from_seconds(s) for s in (fault.from_s, max(fault.from_s, fault.to_s - 1)))
    span = f"{pictures}, {_between(first, last)} by the camera"
    if fault.kind == "out of order":
        return (
            f"The clock went back before {span}. Either they or the pictures before them have a wrong time; "
            "nothing on the card tells which."
        )
    if fault.kind == "outside":
        return f"{span}, cannot be from then: {_stay(stay, zone)}."
    return f"{_HAPPENED[fault.kind]}: {span}."


def proposal(fault: Fault) -> str:
    """What to add and how sure that is, or that nothing tells it."""
    if fault.add_s is None:
        return "What the right time is does not follow from the card alone."
    way = wording.lasting(abs(fault.add_s))
    add = f"{way} {'later' if fault.add_s > 0 else 'earlier'}"
    if fault.kind == "drift":
        rate = fault.drift_s_per_day
        add += f", and {wording.number(abs(rate), 2)} s more {'later' if rate > 0 else 'earlier'} each day"
    return f"Proposed: {add}, good to about {wording.lasting(fault.doubt_s or 0.0)}. It rests on {rests_on(fault)}."


def rests_on(fault: Fault) -> str:
    """The evidence, listed."""
    return wording.listed([_RESTS[basis] for basis in fault.rests_on])


def offered(add_s: float, fault: Fault, stay: Stay, zone: str) -> str:
    """The question that a person answers by looking: whether an end of the run is the visit."""
    end = which_end(add_s, fault, stay)
    visit_s = stay.begun_s if end == "first" else stay.ended_s
    if end is not None and visit_s is not None:
        return f"The {end} of these pictures shows the visit of {_day(visit_s, zone)}"
    way = "later" if add_s > 0 else "earlier"
    return f"These pictures are {wording.lasting(abs(add_s))} {way} than the camera says"


def reason(fault: Fault) -> str:
    """The reason that is kept with the correction."""
    what = _HAPPENED.get(fault.kind, "The date could not be right")
    return f"{what}; by {rests_on(fault)}"


def _between(first: datetime, last: datetime) -> str:
    return f"{wording.moment(first)} to {wording.moment(last)}" if first != last else wording.moment(first)


def _day(at_s: float, zone: str) -> str:
    return wording.day(clock.local(datetime.fromtimestamp(at_s, UTC), zone))


def _stay(stay: Stay, zone: str) -> str:
    if stay.begun_s is not None and stay.ended_s is not None:
        return f"the card lay in the camera from {_day(stay.begun_s, zone)} to {_day(stay.ended_s, zone)}"
    if stay.begun_s is not None:
        return f"the card lay in the camera from {_day(stay.begun_s, zone)} and came home by {_day(stay.now_s, zone)}"
    return f"the card came home by {_day(stay.until_s, zone)}"

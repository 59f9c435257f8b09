"""Up to when it is known what a camera did, and when it watched until then: one rule for findings and activity
timelines."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from trod.catalogue.models import Visit
from trod.pictures import timeline as timelines

# Whether a visit found the camera watching. A blind or knocked one still ran: its pictures tell what it saw.
FOUND = {
    Visit.Arrival.WORKING: True,
    Visit.Arrival.BLIND: True,
    Visit.Arrival.KNOCKED: True,
    Visit.Arrival.UNKNOWN: None,
}


@dataclass(frozen=True, kw_only=True)
class Came:
    """A visit, as far as it matters here."""

    at: datetime
    arrival: str
    card_out: bool


@dataclass(frozen=True, kw_only=True)
class Times:
    """A deployment's sequences, each an entry of the arrays. [Unix s]; lapse : taken by the clock."""

    starts: NDArray[np.float64]
    ends: NDArray[np.float64]
    lapse: NDArray[np.bool_]


def known_to(
    *, end: datetime | None, home: datetime | None, visits: Iterable[Came], last_s: float | None
) -> float | None:
    """Up to when it is known what the camera did: last picture, end, or a card that came home. [Unix s]

    home : when the last import began; None when nothing is at home. A camera in the field is no evidence of
    absence for the days whose card nobody has read yet.
    """
    known = [] if last_s is None else [last_s]
    if home is not None:
        known += [v.at.timestamp() for v in visits if v.card_out and v.at <= home]
        if end is not None and home >= end:
            known.append(end.timestamp())
    if not known:
        return None
    latest = max(known)
    return latest if end is None else min(latest, end.timestamp())


def line(
    *,
    start: datetime,
    known_s: float,
    times: Times,
    time_lapse_h: float | None,
    visits: Iterable[Came],
    zone: str,
) -> timelines.Timeline | None:
    """When the camera watched from its start until `known_s`; None when nothing lies between."""
    start_s = start.timestamp()
    if known_s <= start_s:
        return None
    lapse = times.lapse
    return timelines.timeline(
        start_s,
        known_s,
        pictures_s=np.concatenate([times.starts[~lapse], times.ends[~lapse]]),
        frames_s=times.starts[lapse],
        daily_frames=bool(time_lapse_h and time_lapse_h <= 24),
        visits=[
            timelines.CameraVisit(at_s=v.at.timestamp(), found_working=FOUND.get(Visit.Arrival(v.arrival), False))
            for v in visits
            if start_s < v.at.timestamp() <= known_s
        ],
        zone_name=zone,
    )

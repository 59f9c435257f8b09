"""A visit as it was noted on a phone: the record that comes back from a field form."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import Any, Literal

Outcome = Literal["visited", "not visited"]
Arrival = Literal["working", "dead", "full", "knocked", "blind", "gone", "unknown"]
Way = Literal["left to right", "right to left", "towards", "away"]
PictureCame = Literal["yes", "no", "unknown"]
Sensitivity = Literal["low", "medium", "high", "auto"]


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A photo that was taken with the phone. taken_at : when it was given to the page. jpeg : its bytes."""

    uuid: str
    taken_at: datetime
    width: int
    height: int
    jpeg: bytes = field(repr=False)

    @property
    def sha256(self) -> str:
        """The photo's identity."""
        return hashlib.sha256(self.jpeg).hexdigest()


@dataclass(frozen=True, kw_only=True)
class WalkPass:
    """One pass of a walk test. distance_m : from the camera [m]. picture : whether one came."""

    distance_m: float | None
    way: Way
    picture: PictureCame


@dataclass(frozen=True, kw_only=True)
class Changes:
    """What was set otherwise than before; None where nothing was said."""

    height_m: float | None = None
    tilt_deg: float | None = None
    heading_deg: float | None = None
    burst: int | None = None
    delay_s: float | None = None
    sensitivity: Sensitivity | None = None


@dataclass(frozen=True, kw_only=True)
class PhonePlace:
    """Where the phone believed to be. accuracy_m : as the phone says, 68 % or 95 % by its maker [m]."""

    latitude_deg: float
    longitude_deg: float
    accuracy_m: float
    at: datetime


@dataclass(frozen=True, kw_only=True)
class VisitNote:
    """All that one phone noted about one visit.

    uuid : made when "visited" (or "not visited") was pressed; phone : the UUID of the phone's store.
    made_at, changed_at : by the phone's clock. revision : counts every change kept, from 1.
    withdrawn : the person took the visit back; it is kept, and counts for nothing.
    at : when the person stood there. by : who.
    clock_shown : what the camera's clock showed, naive; clock_true_at : the phone's instant then;
    clock_photographed_at : when the camera was shown the phone's clock.
    harm : theft or damage, harm_note : in words.
    """

    uuid: str
    site: str
    deployment: str
    phone: str
    made_at: datetime
    changed_at: datetime
    revision: int
    outcome: Outcome
    at: datetime
    withdrawn: bool = False
    by: str = ""
    why_not: str = ""
    arrival: Arrival = "unknown"
    harm: bool = False
    harm_note: str = ""
    battery_percent: float | None = None
    batteries_changed: bool = False
    batteries: str = ""
    card_out: str = ""
    card_in: str = ""
    clock_shown: datetime | None = None
    clock_true_at: datetime | None = None
    clock_photographed_at: datetime | None = None
    walk_passes: tuple[WalkPass, ...] = ()
    changes: Changes = field(default_factory=Changes)
    work: str = ""
    note: str = ""
    place: PhonePlace | None = None
    photos: tuple[Photo, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether somebody was there, by this note."""
        return self.outcome == "visited" and not self.withdrawn

    def digest(self) -> str:
        """SHA-256 over all that the note says; the same for the same words.

        Revision and times of saving are left out: two notes that say the same are the same.
        """
        told = {
            f.name: plain(getattr(self, f.name))
            for f in fields(self)
            if f.name not in ("made_at", "changed_at", "revision", "phone")
        }
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode("utf-8")).hexdigest()


def plain(value: Any) -> Any:
    """A record's value as JSON carries it; a photo by its identity."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Photo):
        return {"uuid": value.uuid, "sha256": value.sha256}
    if isinstance(value, tuple):
        return [plain(inner) for inner in value]
    if isinstance(value, WalkPass | Changes | PhonePlace):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    return value

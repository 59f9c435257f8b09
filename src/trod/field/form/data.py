"""What a field form is made from: the round's heading and its stops in order. All of it is handed in by the caller."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Literal

from trod.drawing.pen import NO_DRAWING, Svg
from trod.errors import WrongInput
from trod.field.form.bounds import LONGEST_TEXT
from trod.leaving import FitPlace

VERSION = 1  # of the field form and of the file it gives back
MOST_STOPS = 200
LONGEST_SVG = 400_000
LONGEST_TOKEN = 200

System = Literal["metric", "us"]
Row = tuple[str, str]

_SLUG = re.compile(r"[a-z0-9]+(?:[-_][a-z0-9]+)*")
_PATH = re.compile(r"/[A-Za-z0-9/_.~-]*")
_ADDRESS = re.compile(r"https?://[A-Za-z0-9.\-\[\]:]+")
_TOKEN = re.compile(r"[A-Za-z0-9_.~:=+/-]*")  # what a header can carry


def _refuse(what: str, got: object, needed: str) -> None:
    raise WrongInput(what, got=got, needed=needed)


def _check_texts(record: object) -> None:
    """Every text of a record, also within its tuples, is text and not too long."""
    for field in fields(record):  # type: ignore[arg-type]
        value = getattr(record, field.name)
        limit = LONGEST_SVG if field.name.endswith("_svg") else LONGEST_TEXT
        waiting: list[object] = [value]
        while waiting:
            piece = waiting.pop()
            if isinstance(piece, tuple):
                waiting.extend(piece)
            elif isinstance(piece, str) and len(piece) > limit:
                _refuse(field.name, f"{len(piece)} characters", f"at most {limit} characters")


@dataclass(frozen=True, kw_only=True)
class FieldFormCamera:
    """A camera that hangs at a stop, with its deployment; it gets a form of its own.

    name, serial, card, batteries : what hangs there, as far as known.
    utc_offset_min : the fixed offset that its clock was set to [min]; None when unknown.
    set-up sheet : the set-up sheet as (label, value). side_view_svg : a drawing of the pen, with a key of its own.
    """

    deployment_slug: str
    name: str = ""
    serial: str = ""
    card: str = ""
    batteries: str = ""
    utc_offset_min: int | None = None
    setup_sheet: tuple[Row, ...] = ()
    side_view_svg: Svg = NO_DRAWING

    def __post_init__(self) -> None:
        if not _SLUG.fullmatch(self.deployment_slug):
            _refuse("deployment_slug", self.deployment_slug, "small letters, digits, dashes")
        if self.utc_offset_min is not None and not -840 <= self.utc_offset_min <= 840:
            _refuse("utc_offset_min", self.utc_offset_min, "minutes from -840 to 840, or None")
        _check_texts(self)


@dataclass(frozen=True, kw_only=True)
class FieldFormStop:
    """One stop of the round.

    site_slug, site_name : the site; a slug stands only once in a field form.
    place : where it is, fit to leave; nothing is printed of a hidden one. sensitive : the place must not become known;
    the page says so and offers no link to a map.
    cameras : all that hang there, each with its deployment; none when the site is to be set up anew.
    plan : "about 09:40, 25 min on foot from Alder Ford".
    why : why the stop is visited. to_do, kit, safety, access : lines in order.
    sketch_map_svg : a drawing of the pen, with a key of its own.
    """

    site_slug: str
    site_name: str
    place: FitPlace | None = None
    sensitive: bool = False
    cameras: tuple[FieldFormCamera, ...] = ()
    plan: str = ""
    why: tuple[str, ...] = ()
    to_do: tuple[str, ...] = ()
    kit: tuple[str, ...] = ()
    safety: tuple[str, ...] = ()
    access: tuple[str, ...] = ()
    sketch_map_svg: Svg = NO_DRAWING

    def __post_init__(self) -> None:
        if not _SLUG.fullmatch(self.site_slug):
            _refuse("site_slug", self.site_slug, "small letters, digits, dashes")
        if not self.site_name.strip():
            _refuse("site_name", self.site_name, "a name")
        deployments = [camera.deployment_slug for camera in self.cameras]
        if doubled := sorted({slug for slug in deployments if deployments.count(slug) > 1}):
            _refuse("cameras", ", ".join(doubled), "each deployment once")
        _check_texts(self)


@dataclass(frozen=True, kw_only=True)
class FieldFormData:
    """One round as it is carried on a phone.

    field_form_id : a UUID; everything the phone keeps is kept under it, so two field forms never mix.
    made_at : when the field form was made, with a time zone.
    reserve, round_name, day : the heading; `day` is None for a round without a day.
    people : who goes; the page offers them as "visited by".
    stops : in the order of the round.
    system : the units lengths are typed in. What comes back is always in metres.
    cautions : for the whole round. tell : (label, value), such as whom to call and when to be back.
    addresses : where a Trod may be found, such as "http://192.168.4.1:8000"; upload_path : below it.
    upload_token : lets the phone hand visits of this field form in, and nothing else; empty when there is no upload.
    invented : the demo's data; the page says so.
    """

    field_form_id: str
    made_at: datetime
    reserve: str
    round_name: str
    stops: tuple[FieldFormStop, ...]
    day: date | None = None
    people: tuple[str, ...] = ()
    system: System = "metric"
    cautions: tuple[str, ...] = ()
    tell: tuple[Row, ...] = ()
    addresses: tuple[str, ...] = ()
    upload_path: str = ""
    upload_token: str = ""
    invented: bool = False
    version: int = VERSION

    def __post_init__(self) -> None:
        try:
            if str(uuid.UUID(self.field_form_id)) != self.field_form_id:
                raise ValueError
        except (ValueError, AttributeError, TypeError):
            _refuse("field_form_id", self.field_form_id, "a UUID in small letters, such as str(uuid.uuid4())")
        if self.made_at.tzinfo is None:
            _refuse("made_at", self.made_at, "a time with its time zone")
        if not self.reserve.strip() or not self.round_name.strip():
            _refuse("reserve and round_name", (self.reserve, self.round_name), "a name each")
        if not 1 <= len(self.stops) <= MOST_STOPS:
            _refuse(
                "stops", f"{len(self.stops)} stops", f"1 to {MOST_STOPS}; part a longer round into several field forms"
            )
        slugs = [stop.site_slug for stop in self.stops]
        if doubled := sorted({slug for slug in slugs if slugs.count(slug) > 1}):
            _refuse("stops", ", ".join(doubled), "each site once; put what is to do there into one stop")
        if self.system not in ("metric", "us"):
            _refuse("system", self.system, "metric or us")
        if self.version != VERSION:
            _refuse("version", self.version, str(VERSION))
        if self.upload_path and not _PATH.fullmatch(self.upload_path):
            _refuse("upload_path", self.upload_path, "a path that begins with /, without a query")
        if len(self.upload_token) > LONGEST_TOKEN or not _TOKEN.fullmatch(self.upload_token):
            _refuse("upload_token", "a token", f"at most {LONGEST_TOKEN} letters, digits and - _ . ~ : = + /")
        for address in self.addresses:
            if not _ADDRESS.fullmatch(address):
                _refuse("addresses", address, "http:// or https:// with a host, without a path")
        _check_texts(self)

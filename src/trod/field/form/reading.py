"""What a field form gives back, read and held against its format (docs/fieldform.md). Nothing in it is trusted.

A file of another kind, a newer one, one that is cut off or says what cannot be is refused as a whole, with the
place and the remedy; a file is taken whole or not at all, so a person never has to guess what came in.
"""

from __future__ import annotations

import base64
import binascii
import io
import json
import math
import re
import uuid
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar, get_args

from PIL import Image

from trod import limits
from trod.errors import WrongInput
from trod.field.form.bounds import (
    FIRST_YEAR,
    KIND,
    LAST_YEAR,
    LONGEST_CARD,
    LONGEST_NAME,
    LONGEST_TEXT,
    MOST_PASSES,
    MOST_PHOTOS,
    NUMBERS,
    SHORT_TEXT,
)
from trod.field.form.data import VERSION
from trod.field.form.merging import Conflict, KnownVisit, Merge, merge
from trod.field.form.visit import (
    Arrival,
    Changes,
    Outcome,
    PhonePlace,
    Photo,
    PictureCame,
    Sensitivity,
    VisitNote,
    WalkPass,
    Way,
)
from trod.report.sentences import clean

__all__ = ["Conflict", "FieldFormReturn", "KnownVisit", "Merge", "merge", "read_field_form"]

MOST_BYTES = limits.FIELD_FORM_BYTES
MOST_VISITS = limits.FIELD_FORM_VISITS
MOST_PHOTO_BYTES = limits.FIELD_FORM_PHOTO_BYTES
MOST_PHOTO_SIDE = 4096  # the page makes smaller ones
MOST_REVISION = 10**9
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)")
_READING = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")
_SLUG = re.compile(r"[a-z0-9]+(?:[-_][a-z0-9]+)*")
_CLOCK_DOUBT = timedelta(minutes=10)

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class FieldFormReturn:
    """A field form's file, read.

    field_form_id : the field form it belongs to. phone : the UUID of the phone's store. exported_at : by its clock.
    doubts : sentences on what a person should look at, such as a phone's clock that went back.
    """

    field_form_id: str
    reserve: str
    round_name: str
    phone: str
    exported_at: datetime
    visits: tuple[VisitNote, ...]
    doubts: tuple[str, ...] = ()


def read_field_form(source: str | bytes, *, now: datetime | None = None, at_once: bool = False) -> FieldFormReturn:
    """Read the file that a field form's page has written.

    now : by the clock here; what the phone dates after it is doubted. at_once : it was written this moment, so a
    phone's clock that is behind is seen as well.

    Raises WrongInput when it is not such a file, is of a newer format, is too big, or holds what cannot be; its
    `what` names the place, such as "visits[2].battery_percent".
    """
    try:
        text = source.decode("utf-8-sig") if isinstance(source, bytes) else source.removeprefix("\ufeff")
    except UnicodeDecodeError as problem:
        raise WrongInput(
            "field form file",
            got=f"bytes that are no UTF-8 text ({problem.reason})",
            needed="the file as the phone made it",
        ) from problem
    if len(text) > MOST_BYTES:
        raise WrongInput(
            "field form file", got=f"{len(text) // 1_000_000} MB", needed=f"at most {MOST_BYTES // 1_000_000} MB"
        )
    return _field_form(_Reader(_parsed(text), ""), now, at_once)


def _parsed(text: str) -> Any:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for name, value in pairs:
            if name in found:
                raise ValueError(f"{name!r} stands twice")
            found[name] = value
        return found

    def no_number(word: str) -> Any:
        raise ValueError(f"{word} is no number")

    try:
        return json.loads(text, object_pairs_hook=once, parse_constant=no_number)
    except (ValueError, RecursionError) as problem:
        raise WrongInput(
            "field form file",
            got=f"no whole JSON ({str(problem)[:200]})",
            needed="the file as the phone made it; export it once more, it is still on the phone",
        ) from problem


class _Reader:
    """One JSON object, read field by field; what nobody asked for is refused at the end."""

    def __init__(self, value: Any, where: str) -> None:
        self.where = where
        if not isinstance(value, dict):
            self.refuse("", value, "a JSON object")
        self.value: dict[str, Any] = value
        self.asked: set[str] = set()

    def place(self, name: str) -> str:
        return ".".join(part for part in (self.where, name) if part) or "field form file"

    def refuse(self, name: str, got: object, needed: str) -> Any:
        shown = repr(got)
        raise WrongInput(self.place(name), got=got if len(shown) <= 80 else shown[:80] + "…", needed=needed)

    def take(self, name: str) -> Any:
        self.asked.add(name)
        if name not in self.value:
            self.refuse(name, "nothing", "this field; export once more with the field form's own page")
        return self.value[name]

    def finish(self) -> None:
        if strange := sorted(set(self.value) - self.asked):
            self.refuse(strange[0], self.value[strange[0]], "no such field in format 1")

    def text(self, name: str, longest: int = LONGEST_TEXT) -> str:
        value = self.take(name)
        if not isinstance(value, str) or len(value) > longest:
            self.refuse(name, value, f"a text of at most {longest} characters")
        return str(clean(value)).strip()

    def word(self, name: str, words: tuple[str, ...]) -> Any:
        value = self.take(name)
        if not isinstance(value, str) or value not in words:
            self.refuse(name, value, "one of " + ", ".join(words))
        return value

    def slug(self, name: str, *, empty: bool) -> str:
        value = self.take(name)
        fits = isinstance(value, str) and len(value) <= SHORT_TEXT
        if not fits or not (_SLUG.fullmatch(value) or (empty and not value)):
            self.refuse(name, value, "small letters, digits, dashes" + (", or nothing" if empty else ""))
        return str(value)

    def identity(self, name: str) -> str:
        value = self.take(name)
        try:
            if isinstance(value, str) and str(uuid.UUID(value)) == value:
                return value
        except ValueError:
            pass
        return str(self.refuse(name, value, "a UUID in small letters"))

    def flag(self, name: str) -> bool:
        value = self.take(name)
        if not isinstance(value, bool):
            self.refuse(name, value, "true or false")
        return bool(value)

    def number(self, name: str, low: float, high: float) -> float | None:
        value = self.take(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            self.refuse(name, value, f"a number from {low:g} to {high:g}, or null")
        return float(value)

    def bounded(self, name: str, key: str) -> float | None:
        """A number that a person typed on the page, within the limits that the page has too."""
        low, high, kind = NUMBERS[key]
        value = self.number(name, low, high)
        if kind == "whole" and value is not None and value != int(value):
            self.refuse(name, value, "a whole number, or null")
        return value

    def whole(self, name: str, low: int, high: int) -> int:
        value = self.take(name)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.refuse(name, value, f"a whole number from {low} to {high}")
        return int(value)

    def instant(self, name: str) -> datetime:
        return self._time(name, _INSTANT, "a time with its zone, such as 2026-10-17T08:30:00Z").astimezone(UTC)

    def reading(self, name: str) -> datetime | None:
        value = self.value.get(name)
        if value is None:
            self.take(name)
            return None
        return self._time(name, _READING, "a clock's reading such as 2026-10-17T08:30:00, or null")

    def instant_or_none(self, name: str) -> datetime | None:
        if self.value.get(name) is None:
            self.take(name)
            return None
        return self.instant(name)

    def _time(self, name: str, shape: re.Pattern[str], needed: str) -> datetime:
        value = self.take(name)
        found = None
        if isinstance(value, str) and shape.fullmatch(value):
            try:
                found = datetime.fromisoformat(value)
            except ValueError:
                found = None
        if found is None or not FIRST_YEAR <= found.year <= LAST_YEAR:
            self.refuse(name, value, needed)
        assert found is not None
        return found

    def inner(self, name: str) -> _Reader:
        return _Reader(self.take(name), self.place(name))

    def each(self, name: str, most: int, read: Callable[[_Reader], T]) -> tuple[T, ...]:
        value = self.take(name)
        if not isinstance(value, list) or len(value) > most:
            got = f"{len(value)} of them" if isinstance(value, list) else value
            self.refuse(name, got, f"a list of at most {most}")
        found = []
        for number, item in enumerate(value):
            reader = _Reader(item, f"{self.place(name)}[{number}]")
            found.append(read(reader))
            reader.finish()
        return tuple(found)


def _field_form(head: _Reader, now: datetime | None, at_once: bool) -> FieldFormReturn:
    kind = head.value.get("kind")
    if "trod" not in head.value or kind != KIND:
        head.refuse("kind", "nothing" if kind is None else kind, f'"{KIND}": the file that a field form\'s page exports')
    version = head.take("trod")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        head.refuse("trod", version, f"the format's number, {VERSION}")
    if version > VERSION:
        head.refuse("trod", version, f"format {VERSION} or older; use the newer Trod that made the field form")
    head.take("kind")
    about = head.inner("field_form")
    phone = head.identity("phone")
    exported_at = head.instant("exported_at")
    field_form_id = about.identity("id")
    made_at = about.instant("made_at")
    reserve, round_name = about.text("reserve"), about.text("round")
    about.finish()
    visits = head.each("visits", MOST_VISITS, lambda reader: _visit(reader, phone))
    head.finish()
    seen: set[str] = set()
    for number, visit in enumerate(visits):
        if visit.uuid in seen:
            raise WrongInput(f"visits[{number}].uuid", got=visit.uuid, needed="each visit once")
        seen.add(visit.uuid)
    return FieldFormReturn(
        field_form_id=field_form_id,
        reserve=reserve,
        round_name=round_name,
        phone=phone,
        exported_at=exported_at,
        visits=visits,
        doubts=(
            *_doubts(visits, made_at=made_at, exported_at=exported_at),
            *(_against_here(visits, exported_at, now, at_once) if now is not None else ()),
        ),
    )


def _visit(said: _Reader, phone: str) -> VisitNote:
    changes = said.inner("changes")
    burst = changes.bounded("burst", "changes.burst")
    sensitivity = changes.take("sensitivity")
    if sensitivity is not None:
        sensitivity = changes.word("sensitivity", get_args(Sensitivity))
    changed = Changes(
        height_m=changes.bounded("height_m", "changes.height_m"),
        tilt_deg=changes.bounded("tilt_deg", "changes.tilt_deg"),
        heading_deg=changes.bounded("heading_deg", "changes.heading_deg"),
        burst=None if burst is None else int(burst),
        delay_s=changes.bounded("delay_s", "changes.delay_s"),
        sensitivity=sensitivity,
    )
    changes.finish()
    clock = said.inner("clock")
    shown, true_at = clock.reading("shown"), clock.instant_or_none("true_at")
    photographed_at = clock.instant_or_none("photographed_at")
    clock.finish()
    return VisitNote(
        uuid=said.identity("uuid"),
        site=said.slug("site", empty=False),
        deployment=said.slug("deployment", empty=True),
        phone=phone,
        made_at=said.instant("made_at"),
        changed_at=said.instant("changed_at"),
        revision=said.whole("revision", 1, MOST_REVISION),
        outcome=said.word("outcome", get_args(Outcome)),
        at=said.instant("at"),
        withdrawn=said.flag("withdrawn"),
        by=said.text("by", LONGEST_NAME),
        why_not=said.text("why_not"),
        arrival=said.word("arrival", get_args(Arrival)),
        harm=said.flag("harm"),
        harm_note=said.text("harm_note"),
        battery_percent=said.bounded("battery_percent", "battery_percent"),
        batteries_changed=said.flag("batteries_changed"),
        batteries=said.text("batteries", SHORT_TEXT),
        card_out=said.text("card_out", LONGEST_CARD),
        card_in=said.text("card_in", LONGEST_CARD),
        clock_shown=shown,
        clock_true_at=true_at,
        clock_photographed_at=photographed_at,
        walk_passes=said.each("walk_passes", MOST_PASSES, _walk_pass),
        changes=changed,
        work=said.text("work"),
        note=said.text("note"),
        place=_place(said),
        photos=said.each("photos", MOST_PHOTOS, _photo),
    )


def _walk_pass(said: _Reader) -> WalkPass:
    return WalkPass(
        distance_m=said.bounded("distance_m", "distance_m"),
        way=said.word("way", get_args(Way)),
        picture=said.word("picture", get_args(PictureCame)),
    )


def _place(said: _Reader) -> PhonePlace | None:
    if said.take("place") is None:
        return None
    place = said.inner("place")
    numbers = (
        place.number("latitude_deg", -90, 90),
        place.number("longitude_deg", -180, 180),
        place.number("accuracy_m", 0, 1e7),
    )
    if None in numbers:
        place.refuse("", numbers, "latitude, longitude and accuracy, or null for the whole place")
    latitude, longitude, accuracy = (number if number is not None else math.nan for number in numbers)
    found = PhonePlace(latitude_deg=latitude, longitude_deg=longitude, accuracy_m=accuracy, at=place.instant("at"))
    place.finish()
    return found


def _photo(said: _Reader) -> Photo:
    encoded = said.take("jpeg")
    if not isinstance(encoded, str) or len(encoded) > MOST_PHOTO_BYTES * 4 // 3 + 4:
        said.refuse("jpeg", encoded, f"base64 of at most {MOST_PHOTO_BYTES // 1_000_000} MB")
    try:
        jpeg = base64.b64decode(encoded, validate=True)
    except (binascii.Error, ValueError):
        said.refuse("jpeg", encoded, "base64")
    width = said.whole("width", 1, MOST_PHOTO_SIDE)
    height = said.whole("height", 1, MOST_PHOTO_SIDE)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as picture:  # the head alone; nothing is unpacked
                size = picture.size
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        said.refuse("jpeg", f"{len(jpeg)} bytes", "a JPEG picture")
    if size != (width, height):
        said.refuse("jpeg", size, f"a picture of {width} × {height}, as the file says beside it")
    return Photo(uuid=said.identity("uuid"), taken_at=said.instant("taken_at"), width=width, height=height, jpeg=jpeg)


def _doubts(visits: tuple[VisitNote, ...], *, made_at: datetime, exported_at: datetime) -> tuple[str, ...]:
    """What is possible, and yet makes one look twice."""
    told = []
    if exported_at < made_at - _CLOCK_DOUBT:
        told.append(
            f"The phone wrote the file at {exported_at:%Y-%m-%d %H:%M} UTC, before the field form was made "
            f"({made_at:%Y-%m-%d %H:%M} UTC): its clock or the laptop's is wrong. Check the visits' times."
        )
    for visit in visits:
        if visit.changed_at < visit.made_at - _CLOCK_DOUBT:
            told.append(
                f"{visit.site}: last changed at {visit.changed_at:%Y-%m-%d %H:%M} UTC, before it was begun "
                f"({visit.made_at:%Y-%m-%d %H:%M} UTC): the phone's clock went back. Check the visit's time."
            )
        if visit.at > exported_at + _CLOCK_DOUBT:
            told.append(
                f"{visit.site}: said to be at {visit.at:%Y-%m-%d %H:%M} UTC, after the file was written "
                f"({exported_at:%Y-%m-%d %H:%M} UTC). Check the visit's time."
            )
    return tuple(told)


def _against_here(visits: tuple[VisitNote, ...], exported_at: datetime, now: datetime, at_once: bool) -> tuple[str, ...]:
    """What the clock here does not allow, or makes unlikely."""
    here = f"{now.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
    wrong = "Its clock or this one is wrong, perhaps by the same at every visit. Check the visits' times."
    told = []
    ahead = exported_at > now + _CLOCK_DOUBT
    if ahead:
        told.append(f"The phone wrote the file at {exported_at:%Y-%m-%d %H:%M} UTC, and here it is {here}. {wrong}")
    elif at_once and exported_at < now - _CLOCK_DOUBT:
        told.append(f"The phone says that it is {exported_at:%Y-%m-%d %H:%M} UTC, and here it is {here}. {wrong}")
    told += [
        f"{visit.site}: said to be at {visit.at:%Y-%m-%d %H:%M} UTC, which is still to come; here it is {here}."
        for visit in visits
        if visit.at > now + _CLOCK_DOUBT
    ]
    return tuple(told)

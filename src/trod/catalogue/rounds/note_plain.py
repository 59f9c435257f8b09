"""A visit's note as plain data and back, and in words for a person."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

from trod import clock
from trod.field.form import VisitNote
from trod.field.form.visit import Changes, Photo, WalkPass
from trod.plain import plain, record


@dataclass(frozen=True, kw_only=True)
class KeptPhoto(Photo):
    """A photo whose bytes lie in the archive, known by their sum."""

    known_sha256: str = ""

    @property
    def sha256(self) -> str:
        """The photo's identity."""
        return self.known_sha256


@dataclass(frozen=True, kw_only=True)
class _KeptNote(VisitNote):
    photos: tuple[KeptPhoto, ...] = ()


def with_identity(photos: Iterable[Photo]) -> list[Photo]:
    """Photos whose identity is known."""
    return [p for p in photos if p.jpeg or isinstance(p, KeptPhoto)]


def note_plain(note: VisitNote) -> dict[str, Any]:
    """A note as JSON carries it; photos by their identity, without their bytes."""
    told = plain(replace(note, photos=tuple(replace(photo, jpeg=b"") for photo in note.photos)))
    for photo, row in zip(note.photos, told["photos"], strict=True):
        del row["jpeg"]
        row.pop("known_sha256", None)
        row["sha256"] = photo.sha256
    return dict(told)


def note_from(row: Mapping[str, Any]) -> VisitNote:
    """A note from JSON. Raises WrongInput for what is none."""
    photos = row.get("photos", [])
    if isinstance(photos, list):
        photos = [{"jpeg": "", "known_sha256": p.get("sha256"), **p} if isinstance(p, dict) else p for p in photos]
    needed = "a note as Trod writes it"
    found = record(_KeptNote, {**row, "photos": photos}, what="field note", needed=needed)
    return VisitNote(**vars(found))


def passes_words(note: VisitNote) -> list[str]:
    """The walk test in a sentence; nothing where nobody walked."""
    if not note.walk_passes:
        return []
    came = sum(p.picture == "yes" for p in note.walk_passes)
    told = [
        f"{p.way}{f' at {p.distance_m:g} m' if p.distance_m is not None else ''}: "
        f"{ {'yes': 'a picture', 'no': 'no picture', 'unknown': 'not known'}[p.picture] }"
        for p in note.walk_passes
    ]
    return [f"Walk test, {came} of {len(told)} passes with a picture: {'; '.join(told)}."]


LABELS = (
    ("outcome", "outcome"), ("withdrawn", "taken back"), ("at", "when"), ("by", "by"), ("why_not", "why not"),
    ("deployment", "deployment"), ("arrival", "state on arrival"), ("harm_note", "theft or damage"),
    ("battery_percent", "batteries left (%)"), ("batteries_changed", "batteries changed"), ("batteries", "batteries put in"),  # noqa: E501
    ("card_out", "card out"), ("card_in", "card in"), ("clock_shown", "camera's clock showed"),
    ("clock_true_at", "true time then"), ("walk_passes", "walk test"), ("changes", "set otherwise"),
    ("work", "work done"), ("note", "note"), ("photos", "photos"), ("revision", "state number"),
)  # fmt: skip


def side_by_side(one: VisitNote | None, other: VisitNote, zone: str) -> list[tuple[str, str, str, bool]]:
    """(label, first, second, differs) of everything that either side tells, in the reserve's time."""
    out = []
    for name, label in LABELS:
        a = _words(getattr(one, name), zone) if one is not None else ""
        b = _words(getattr(other, name), zone)
        if a or b:
            out.append((label, a, b, a != b and one is not None))
    return out


def _words(value: Any, zone: str) -> str:
    if value in (None, "", (), False) or value == Changes():
        return ""
    if value is True:
        return "yes"
    if isinstance(value, datetime):
        return f"{clock.local(value, zone) if value.tzinfo else value:%Y-%m-%d %H:%M:%S}"
    if isinstance(value, Changes):
        names = ((f.name, getattr(value, f.name)) for f in fields(value))
        return ", ".join(f"{n.replace('_', ' ')} {v:g}" if isinstance(v, float) else f"{n.replace('_', ' ')} {v}"
                         for n, v in names if v is not None)  # fmt: skip
    if isinstance(value, tuple):
        if value and isinstance(value[0], WalkPass):
            return f"{len(value)} passes, {sum(p.picture == 'yes' for p in value)} with a picture"
        return f"{len(value)}"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)

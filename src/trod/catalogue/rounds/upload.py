"""A file that came home from a round: the field form's own, or the round's table filled in by hand."""

from __future__ import annotations

import json
from datetime import datetime

from trod.catalogue import texts
from trod.catalogue.models import Reserve
from trod.catalogue.rounds import field_notes, field_table
from trod.catalogue.rounds.field_notes import Origin, Taken
from trod.errors import TrodError, WrongInput
from trod.field.form import read_field_form

# First bytes by which a file is known; from memory of each format's own standard.
BEGINNINGS = (
    (b"\xff\xd8\xff", "a picture"), (b"\x89PNG", "a picture"), (b"GIF8", "a picture"), (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a spreadsheet or an archive"), (b"\xd0\xcf\x11\xe0", "a spreadsheet"), (b"\x1f\x8b", "an archive"),
    (b"<!DOCTYPE", "a web page"), (b"<!doctype", "a web page"), (b"<html", "a web page"),
    (b"<?xml", "an XML file, perhaps GPX"),
)  # fmt: skip
BRING = "Bring the file that the phone made, or the round's table with its columns filled in"


class NotOurs(TrodError):
    """The file is none that a round gives."""


def take_file(data: bytes, name: str, *, by: str, now: datetime) -> tuple[Taken, tuple[str, ...]]:
    """Take a file in. Returns what became of its visits, and doubts for a person to look at.

    Raises NotOurs for what is neither a field form's file nor a round's table, and WrongInput for one that cannot be
    read.
    """
    strange = what_else(data)
    if strange:
        raise NotOurs(f"{name or 'The file'} is {strange}, and holds no visits. {BRING}.")
    if data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"{":
        found = read_field_form(data, now=now)
        origin = Origin(field_form=found.field_form_id, reserve=found.reserve, by=by[:80], at=now)
        return field_notes.take(found.visits, origin), found.doubts
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        raise WrongInput("table", got="one without a reserve here", needed="a reserve; write it down first")
    notes = field_table.read_table(texts.decode(data), reserve)
    if not notes:
        raise WrongInput(name or "table", got="no line with a time under came_at", needed="at least one filled in")
    return field_notes.take(notes, Origin(field_form="", by=by[:80], at=now)), ()


def what_else(data: bytes) -> str:
    """What a file is, in a word or two, when it is none that a round gives; "" when it may be one."""
    bare = data.lstrip(b"\xef\xbb\xbf \t\r\n")
    if not bare:
        return "empty"
    for beginning, what in BEGINNINGS:
        if bare.startswith(beginning):
            return "the field form itself" if what == "a web page" and b'id="field-form-data"' in data else what
    if bare[:1] in (b"{", b"["):
        try:
            told = json.loads(bare)
        except (ValueError, RecursionError):
            # Cut off, or never ours: what our files begin with stands at their head.
            return "" if b'"visits"' in bare[:400] or b'"trod"' in bare[:400] else "no file of a field form"
        ours = isinstance(told, dict) and "trod" in told and told.get("kind") == "visits"
        return "" if ours else "no file of a field form"
    if b"\x00" in bare[:4096] and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "no text"
    head = texts.decode(data[:4096]).lstrip("\ufeff").splitlines()[0]
    return "" if field_table.may_head(head) else "no table of a round"

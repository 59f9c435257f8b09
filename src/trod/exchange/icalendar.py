"""iCalendar as in RFC 5545, for the week of a round: CRLF, lines folded at 75 octets, times in UTC.

Without alarms: the person sets those. A place is written as GEO only when it is given and not hidden, and so are the
words of its location. Names and notes are written as they are.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from trod.errors import WrongInput
from trod.leaving import FitPlace

OCTETS = 75  # RFC 5545, section 3.1, the line break not counted
# RFC 5545, section 3.1: text has no control characters but the tab.
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One entry. uid : stays the same when it is written again, so that calendars replace it; `sequence` grows.

    starts, ends : aware instants, or a date and the last date for whole days. place : where it begins, fit to leave.
    """

    uid: str
    starts: datetime | date
    ends: datetime | date
    summary: str
    note: str = ""
    location: str = ""
    place: FitPlace | None = None
    sequence: int = 0

    def __post_init__(self) -> None:
        if not self.uid or re.search(r"[\x00-\x1f\x7f]", self.uid):
            raise WrongInput("uid", got=self.uid, needed="a name that is unique and has no control characters")
        whole = not isinstance(self.starts, datetime)
        if whole == isinstance(self.ends, datetime):
            raise WrongInput(f"entry {self.summary!r}", got="a date and a time", needed="two dates, or two times")
        if not whole and (_zone(self.starts) is None or _zone(self.ends) is None):
            raise WrongInput(f"entry {self.summary!r}", got="a time without a zone", needed="times with their zone")
        if self.ends < self.starts or (not whole and self.ends == self.starts):
            raise WrongInput(f"entry {self.summary!r}", got="an end before its start", needed="the end after the start")


def _zone(when: datetime | date) -> object:
    return when.tzinfo if isinstance(when, datetime) else None


def calendar_text(entries: Sequence[Entry], *, name: str, stamp: datetime) -> str:
    """A calendar as text with CRLF line ends; write it as bytes, so that nothing turns them.

    stamp : when it was made, aware.
    Raises WrongInput for two entries of one uid and one sequence.
    """
    ids = [(entry.uid, entry.sequence) for entry in entries]
    if len(set(ids)) < len(ids):
        raise WrongInput("entries", got="two of one uid", needed="a uid of its own for each")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Trod//Rounds//EN", "CALSCALE:GREGORIAN"]
    if name:
        lines.append(f"X-WR-CALNAME:{escaped(name)}")
    for entry in entries:
        lines += _event(entry, stamp)
    lines.append("END:VCALENDAR")
    return "".join(folded(line) + "\r\n" for line in lines)


def _event(entry: Entry, stamp: datetime) -> list[str]:
    hide = entry.place is not None and entry.place.hidden
    lines = ["BEGIN:VEVENT", f"UID:{escaped(entry.uid)}", f"DTSTAMP:{_instant(stamp)}"]
    if isinstance(entry.starts, datetime) and isinstance(entry.ends, datetime):
        lines += [f"DTSTART:{_instant(entry.starts)}", f"DTEND:{_instant(entry.ends)}"]
    else:
        # The end of whole days is the first day that is free again: RFC 5545, section 3.6.1.
        after = entry.ends + timedelta(days=1)
        lines += [f"DTSTART;VALUE=DATE:{entry.starts:%Y%m%d}", f"DTEND;VALUE=DATE:{after:%Y%m%d}"]
    lines += [f"SEQUENCE:{entry.sequence}", f"SUMMARY:{escaped(entry.summary)}"]
    if entry.note:
        lines.append(f"DESCRIPTION:{escaped(entry.note)}")
    if entry.location and not hide:
        lines.append(f"LOCATION:{escaped(entry.location)}")
    if entry.place is not None and not hide:
        lines.append(f"GEO:{entry.place.latitude_deg:.6f};{entry.place.longitude_deg:.6f}")
    lines.append("END:VEVENT")
    return lines


def _instant(when: datetime) -> str:
    if when.tzinfo is None:
        raise WrongInput("time", got=when.isoformat(), needed="a time with its zone")
    return f"{when.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    """Text as a value: backslash, semicolon, comma and line ends escaped (RFC 5545, section 3.3.11)."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = _CONTROL.sub(" ", text)
    return text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def folded(line: str) -> str:
    """A line in pieces of at most 75 octets, never within a character; each further one begins with a space."""
    pieces, now, room = [], "", OCTETS
    for character in line:
        size = len(character.encode("utf-8"))
        if size > room:
            pieces.append(now)
            now, room = " ", OCTETS - 1
        now, room = now + character, room - size
    return "\r\n".join([*pieces, now])

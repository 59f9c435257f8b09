"""Calendars by RFC 5545 (B. Desruisseaux, 2009), read back by the package icalendar, which is not ours."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from fitted import at
from hypothesis import given, settings
from hypothesis import strategies as st

from trod.errors import WrongInput
from trod.exchange.icalendar import Entry, calendar_text, escaped, folded

VIENNA = ZoneInfo("Europe/Vienna")
STAMP = datetime(2026, 3, 1, 12, tzinfo=UTC)
ROUND = Entry(
    uid="round-7-2026-03-02-vera@eskerwold.invalid",
    starts=datetime(2026, 3, 2, 7, 0, tzinfo=VIENNA),
    ends=datetime(2026, 3, 2, 15, 40, tzinfo=VIENNA),
    summary="Round: Elm lick, Far gate; 4 stops",
    note="Leave 7:00\nC:\\trod\nKey 12",
    location="Yard, north road",
    place=at(47.3, 13.9),
    sequence=2,
)


def read(text: str) -> list[Any]:
    return icalendar.Calendar.from_ical(text.encode("utf-8")).walk("VEVENT")


def test_what_is_written_is_read_back() -> None:
    (found,) = read(calendar_text([ROUND], name="Eskerwold", stamp=STAMP))

    assert found["UID"] == ROUND.uid
    assert found.decoded("DTSTART") == datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
    assert found.decoded("DTEND") == datetime(2026, 3, 2, 14, 40, tzinfo=UTC)
    assert found.decoded("DTSTAMP") == STAMP
    assert found["SUMMARY"] == ROUND.summary
    assert found["DESCRIPTION"] == ROUND.note
    assert found["LOCATION"] == "Yard, north road"
    assert (found["GEO"].latitude, found["GEO"].longitude, found["SEQUENCE"]) == (47.3, 13.9, 2)


def test_the_head_is_as_the_standard_asks_and_there_is_no_alarm() -> None:
    text = calendar_text([ROUND], name="Eskerwold", stamp=STAMP)

    assert text.startswith("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:")
    assert text.endswith("END:VCALENDAR\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert "VALARM" not in text


def test_whole_days_end_with_the_day_after_the_last() -> None:
    week = Entry(uid="w", starts=date(2026, 3, 2), ends=date(2026, 3, 6), summary="Rounds")
    text = calendar_text([week], name="", stamp=STAMP)
    (found,) = read(text)

    assert "DTSTART;VALUE=DATE:20260302\r\nDTEND;VALUE=DATE:20260307\r\n" in text
    assert found.decoded("DTEND") - found.decoded("DTSTART") == timedelta(days=5)


def test_the_standard_s_own_example_of_escaped_text() -> None:
    # RFC 5545, section 3.3.11, the example of a TEXT value (from memory).
    told = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."

    assert escaped(told) == r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert escaped("a;b,c\\d\r\ne") == r"a\;b\,c\\d\ne"


@settings(max_examples=120, deadline=None)
@given(st.text(max_size=400))
def test_no_line_is_longer_than_75_octets_and_no_character_is_parted(words: str) -> None:
    lines = folded("DESCRIPTION:" + escaped(words)).split("\r\n")

    assert all(len(line.encode("utf-8")) <= 75 for line in lines)
    assert all(line.startswith(" ") for line in lines[1:])
    assert "".join([lines[0], *(line[1:] for line in lines[1:])]) == "DESCRIPTION:" + escaped(words)


def test_a_long_note_of_any_script_comes_back_whole() -> None:
    note = "Луг за рекой, 鹿の水飲み場; d’été — " * 12
    (found,) = read(
        calendar_text(
            [Entry(uid="n", starts=ROUND.starts, ends=ROUND.ends, summary=note, note=note)], name=note, stamp=STAMP
        )
    )

    assert found["DESCRIPTION"] == note
    assert found["SUMMARY"] == note


def test_a_name_cannot_add_lines_of_its_own() -> None:
    nasty = "x\r\nEND:VEVENT\r\nBEGIN:VALARM\x00\ud800"
    entries = [Entry(uid="n", starts=ROUND.starts, ends=ROUND.ends, summary=nasty, location=nasty)]
    text = calendar_text(entries, name=nasty, stamp=STAMP)

    assert len(read(text)) == 1
    assert "\r\nBEGIN:VALARM" not in text
    assert text.encode("utf-8")


def test_an_entry_at_a_hidden_place_has_neither_place_nor_location() -> None:
    def made(true_places: bool) -> Entry:
        return Entry(
            uid="h",
            starts=ROUND.starts,
            ends=ROUND.ends,
            summary="Visit",
            location="Eyrie",
            place=at(47.31, 13.92, sensitive=True, true_places=true_places),
        )

    (found,) = read(calendar_text([made(False)], name="", stamp=STAMP))
    (true,) = read(calendar_text([made(True)], name="", stamp=STAMP))

    assert "GEO" not in found and "LOCATION" not in found
    assert true["GEO"].latitude == 47.31


def test_entries_that_cannot_stand_are_refused_in_words() -> None:
    when = datetime(2026, 3, 2, 7, tzinfo=UTC)
    with pytest.raises(WrongInput, match=r"entry 'x': got 'an end before its start'; needed: the end after the start"):
        Entry(uid="a", starts=when, ends=when, summary="x")
    with pytest.raises(WrongInput, match="entry 'x': got 'a time without a zone'"):
        Entry(uid="a", starts=datetime(2026, 3, 2, 7), ends=datetime(2026, 3, 2, 8), summary="x")
    with pytest.raises(WrongInput, match="entry 'x': got 'a date and a time'"):
        Entry(uid="a", starts=date(2026, 3, 2), ends=when, summary="x")
    with pytest.raises(WrongInput, match="uid: got ''"):
        Entry(uid="", starts=when, ends=when + timedelta(hours=1), summary="x")
    with pytest.raises(WrongInput, match="entries: got 'two of one uid'"):
        calendar_text([ROUND, ROUND], name="", stamp=STAMP)
    with pytest.raises(WrongInput, match="time: got '2026-03-01T00:00:00'"):
        calendar_text([ROUND], name="", stamp=datetime(2026, 3, 1))

"""A round's table with its empty columns filled in by hand, read as notes of visits."""

from __future__ import annotations

import csv
import io
import re
import uuid
from datetime import date, datetime, time, timedelta
from typing import Any, get_args

from trod import clock
from trod.catalogue.models import Deployment, Reserve, Site, Visit
from trod.errors import WrongInput
from trod.field.form import VisitNote
from trod.field.form.visit import Arrival
from trod.field.round_sheet import BLANK_COLUMNS

SHEET = uuid.UUID("5f0d1c9e-7a3b-5d42-9f6b-2c8e4a71b0d3")  # names visits that were written on paper
PAPER = "paper"  # stands where a phone's store would
MOST_LINES = 2000
FIRST_YEAR, LAST_YEAR = 1990, 2200  # nobody hung such a camera before, and dates end with the year 9999
YES, NO = {"yes", "y", "true", "1", "x"}, {"", "no", "n", "false", "0", "-"}


def may_head(line: str) -> bool:
    """Whether a line may be the heading of a round's table, perhaps with a column lost."""
    names = {name.strip().strip('"') for name in re.split("[,;\t]", line)}
    return len(names & {"day", "key", *BLANK_COLUMNS}) >= 2


def read_table(text: str, reserve: Reserve) -> list[VisitNote]:
    """The lines in which somebody wrote a time of coming. Times are the reserve's own.

    The same line gives the same visit, however often it is read. Raises WrongInput with the line's number.
    """
    text = text.replace("\x00", "").lstrip("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    head = text.split("\n", 1)[0]
    sign = max(",;\t", key=head.count)
    try:
        table = csv.DictReader(io.StringIO(text), delimiter=sign)
        rows, heads = list(table), table.fieldnames or ()
    except csv.Error as trouble:
        raise WrongInput("table", got=str(trouble), needed="a table as the round gives it") from trouble
    names = {(n or "").strip() for n in heads}
    missing = [n for n in ("day", "key", *BLANK_COLUMNS[:1]) if n not in names]
    if missing:
        raise WrongInput("table", got="one without " + ", ".join(missing), needed="the round's table, with its columns")
    if len(rows) > MOST_LINES:
        raise WrongInput("table", got=f"{len(rows)} lines", needed=f"at most {MOST_LINES}; part it")
    sites = {s.slug: s for s in Site.objects.filter(reserve=reserve)}
    standing: dict[str, list[Deployment]] = {}
    for d in Deployment.objects.filter(site__reserve=reserve).select_related("site").order_by("start"):
        standing.setdefault(d.site.slug, []).append(d)
    found = []
    for number, row in enumerate(rows, 2):
        said = {str(k).strip(): (v or "").strip() if isinstance(v, str) else "" for k, v in row.items() if k}
        if not said.get("came_at"):
            continue
        try:
            found.append(_note(said, reserve, sites, standing))
        except WrongInput as trouble:
            raise WrongInput(f"line {number}, {trouble.what}", got=trouble.got, needed=trouble.needed) from trouble
    return found


def _note(
    said: dict[str, str], reserve: Reserve, sites: dict[str, Site], standing: dict[str, list[Deployment]]
) -> VisitNote:
    try:
        day = date.fromisoformat(said["day"])
    except ValueError:
        raise WrongInput("day", got=said["day"], needed="a day like 2026-05-31") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise WrongInput("day", got=said["day"], needed=f"a day of the years {FIRST_YEAR} to {LAST_YEAR}")
    key = said["key"]
    if key not in sites:
        raise WrongInput("key", got=key, needed="the site's key as the round's table has it")
    at = _instant("came_at", said["came_at"], day, reserve.zone)
    hung = [d for d in standing.get(key, ()) if d.start <= at + timedelta(hours=12) and (d.end is None or d.end >= at)]
    shown = said.get("clock_showed", "")
    left = said.get("left_at", "")
    put_in = said.get("batteries_changed", "")
    work = said.get("work_done", "")
    percent = said.get("battery_percent", "").rstrip(" %").replace(",", ".")
    if percent and not (re.fullmatch(r"\d+(\.\d+)?", percent) and 0 <= float(percent) <= 100):
        raise WrongInput("battery_percent", got=said["battery_percent"], needed="a number from 0 to 100, or nothing")
    return VisitNote(
        uuid=str(uuid.uuid5(SHEET, f"{key} {at.isoformat()}")),
        site=key,
        deployment=hung[-1].slug if hung else "",
        phone=PAPER,
        made_at=at,
        changed_at=at,
        revision=1,
        outcome="visited",
        at=at,
        by=said.get("by") or said.get("party", ""),
        arrival=_arrival(said.get("state_on_arrival", "")),  # type: ignore[arg-type]
        battery_percent=float(percent) if percent else None,
        batteries_changed=_yes("batteries_changed", said.get("batteries_changed", "")),
        batteries=put_in if any(ch.isdigit() for ch in put_in) else "",
        card_out=said.get("card_out", ""),
        card_in=said.get("card_in", ""),
        clock_shown=_moment("clock_showed", shown, day) if shown else None,
        clock_true_at=_instant("true_time", said["true_time"], day, reserve.zone) if said.get("true_time") else None,
        work="; ".join(filter(None, (work, "walk test done" if _walked(said) else ""))),
        note=". ".join(filter(None, (said.get("note", ""), f"Left at {left}" if left else ""))),
    )


def _walked(said: dict[str, str]) -> bool:
    return said.get("walk_test", "").lower() not in NO


def _yes(what: str, text: str) -> bool:
    low = text.lower()
    if low in YES or (low and low not in NO and any(ch.isdigit() for ch in low)):  # "8 FR6": what went in
        return True
    if low in NO:
        return False
    raise WrongInput(what, got=text, needed="yes or no")


def _arrival(text: str) -> str:
    low = " ".join(text.lower().split())
    if not low:
        return "unknown"
    words: dict[str, Any] = {str(label).lower(): value for value, label in Visit.Arrival.choices}
    if low in words:
        return str(words[low])
    if low in get_args(Arrival):
        return low
    raise WrongInput("state_on_arrival", got=text, needed=", ".join(words))


def _moment(what: str, text: str, day: date) -> datetime:
    """A time of the day, or a day and a time, without a zone."""
    short = re.fullmatch(r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?", text.strip())
    try:
        if short:
            return datetime.combine(day, time(int(short[1]), int(short[2]), int(short[3] or 0)))
        made = datetime.fromisoformat(text.strip())
    except ValueError:
        raise WrongInput(what, got=text, needed="a time like 10:33, or 2026-05-31 10:33") from None
    if not FIRST_YEAR <= made.year <= LAST_YEAR and what != "clock_showed":  # a camera's own clock may show any year
        raise WrongInput(what, got=text, needed=f"a time of the years {FIRST_YEAR} to {LAST_YEAR}")
    return made.replace(tzinfo=None)


def _instant(what: str, text: str, day: date, zone: str) -> datetime:
    try:
        return clock.utc_from_local(_moment(what, text, day), zone)
    except clock.AmbiguousTime as trouble:
        raise WrongInput(what, got=text, needed=f"a time that the clock has once; {trouble.why}") from trouble

"""Tags and filters of our pages. Builtins: no {% load %} needed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from django import template
from django.contrib.staticfiles import finders
from django.db import models
from django.forms import BoundField
from django.template.context import RequestContext
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.utils.html import format_html
from django.utils.safestring import SafeString

from trod import units as conversions
from trod import wording

register = template.Library()


@lru_cache(maxsize=256)
def _stamp(path: str) -> str:
    found = finders.find(path)
    return hashlib.sha256(Path(found).read_bytes()).hexdigest()[:10] if isinstance(found, str) else "0"


@register.simple_tag
def asset(path: str) -> str:
    """The address of a static file with a stamp of its bytes, so that it can be cached for long."""
    return f"{static(path)}?v={_stamp(path)}"


@register.inclusion_tag("trod/parts/map_key.html")
def map_key(*marks: str) -> dict[str, Any]:
    """What the marks on a map mean; of those that `shared.map_key` knows."""
    from trod.web.shared.map_key import MARKS

    return {"marks": [MARKS[mark] for mark in marks]}


@register.simple_tag
def figure(meaning: str, of: object, value: object) -> SafeString:
    """Attributes that say what a figure means and of what, so that a test finds where two pages tell it differently.

    A day stands as ISO 8601; nothing told stands as an empty value.
    """
    if isinstance(value, float):
        value = f"{value:.10g}"
    return format_html('data-figure="{}:{}" data-value="{}"', meaning, of, "" if value is None else value)


@register.filter
def local(when: datetime | None, reserve: Any) -> datetime | None:
    """An instant in the reserve's own time."""
    return None if when is None else _here(when, reserve)


def _here(when: datetime, reserve: Any) -> datetime:
    return when if reserve is None else when.astimezone(reserve.zone_info)


@register.simple_tag(takes_context=True)
def length(context: dict[str, Any], value_m: float | None, digits: int = 1) -> str:
    """A length in the person's units."""
    if value_m is None:
        return "–"
    shown = conversions.scale("m", context.get("units", "metric"))
    return f"{shown.from_stored(value_m):.{digits}f} {shown.sign}"


@register.filter
def stands_now(field: BoundField) -> str | None:
    """How what a field can change stands now, in words; "" for the page's script to fill in, None where none tells."""
    now: dict[str, str] = getattr(field.form, "now", {})
    return now.get(field.name)


@register.filter
def bytes_si(size: int | None) -> str:
    """A size in SI units: 4.1 MB."""
    return wording.bytes_si(size or 0)


@register.filter
def plural(number: float | str, nouns: str) -> str:
    """A count with its noun: {{ n|plural:"card" }}, {{ n|plural:"battery,batteries" }}."""
    one, _, many = nouns.partition(",")
    return wording.plural(int(number), one, many or None)


# Each says an instant, a time without a zone as it is, or a day, and nothing for None.
_DAYS: dict[str, Callable[[Any], str]] = {
    "day": wording.day,
    "short_day": wording.short_day,
    "day_month": wording.day_month,
    "weekday_day": wording.weekday_day,
    "weekday": lambda when: wording.weekday_day(when, year=False),
    "clock": lambda when: f"{when:%H:%M}",
    "moment": wording.moment,
}


def _filter_of(say: Callable[[Any], str]) -> Callable[[date | None], str]:
    return lambda when: "" if not when else say(when)


for _name in ("day", "short_day", "day_month", "weekday_day", "weekday"):
    register.filter(_name, _filter_of(_DAYS[_name]), expects_localtime=True)


@register.filter(expects_localtime=True)
def instant(when: datetime | None, exact: str = "") -> str:
    """A day and a time of day: 3 May 2031 14:05; with "seconds", 3 May 2031 14:05:09."""
    return wording.moment(when, seconds=exact == "seconds") if when else ""


@register.simple_tag
def moment(when: datetime | None, reserve: Any, form: str = "moment") -> SafeString | str:
    """A <time> element in the reserve's own time. form : moment, day, short_day or clock."""
    if when is None:
        return "–"
    return format_html('<time datetime="{}">{}</time>', when.isoformat(), _DAYS[form](_here(when, reserve)))


@register.simple_tag(takes_context=True)
def seen(context: RequestContext, what: Any, *only: str) -> SafeString:
    """In every form that changes a record: what the record held when the page was made. See `trod.web.seen`.

    what : a record's form, or the record (or list of them) that a press changes. only : the columns it touches.
    """
    from trod.web import seen as stamps

    if what is None:
        return SafeString("")
    if isinstance(what, models.Model | list | tuple):
        rows = [getattr(one, "row", one) for one in (what if isinstance(what, list | tuple) else [what])]
        return stamps.hidden(stamps.row_stamp(*rows, only=only))
    if not what.stamp:
        return SafeString("")
    return render_to_string("trod/parts/conflicts.html", {"form": what, "reserve": context.get("reserve")})

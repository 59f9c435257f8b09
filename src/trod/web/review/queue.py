"""Which sequences, in which order: a filter that gives its rows and its sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any
from urllib.parse import urlencode

from django.db.models import Exists, OuterRef, Q, QuerySet, Sum

from trod import wording
from trod.catalogue.models import (
    DaySum,
    Deployment,
    Identification,
    Observation,
    RecordImport,
    Reserve,
    Sequence,
    Site,
    Species,
)
from trod.catalogue.rows import rollups

WHICH = {
    "unseen": "Sequences nobody has looked at",
    "unknown": "Sequences somebody identified as unknown",
    "second": "Sequences for a second review: another person's word stands and you have said nothing",
    "mine": "Sequences where your identification stands",
    "species": "Sequences with an observation",
    "all": "All sequences",
}
LIGHTS = {"": "day and night", "day": "by daylight", "night": "in infrared"}
SORTS = {"old": "oldest first", "new": "newest first", "place": "camera after camera, oldest first"}
ORDERS = {
    "old": ("start_at", "id"),
    "new": ("-start_at", "-id"),
    "place": ("deployment_id", "start_at", "id"),
}
# Queues that hold what waits whatever is in it; each is walked in the order of time.
BY_TIME = frozenset({"unseen", "all"})
MOST_COUNTED = 20_000  # above, the page says "more than"


@dataclass(frozen=True, kw_only=True)
class Queue:
    """What to look through. Days are the reserve's own, both included."""

    which: str = "unseen"
    site: Site | None = None
    deployment: Deployment | None = None
    first_day: date | None = None
    last_day: date | None = None
    light: str = ""
    species: Species | None = None
    sort: str = "old"
    zone: tzinfo = UTC
    problems: tuple[str, ...] = ()

    def query(self) -> str:
        """The filter as it stands in an address."""
        pairs = {
            "which": self.which if self.which != "unseen" else "",
            "site": self.site.slug if self.site else "",
            "deployment": self.deployment.slug if self.deployment else "",
            "from": self.first_day.isoformat() if self.first_day else "",
            "to": self.last_day.isoformat() if self.last_day else "",
            "light": self.light,
            "species": self.species.slug if self.species else "",
            "sort": self.sort if self.sort != "old" else "",
        }
        return urlencode({name: value for name, value in pairs.items() if value})

    def sentence(self) -> str:
        """The filter in words: “Sequences nobody has looked at, at Alder Ford, oldest first”."""
        head = WHICH[self.which]
        if self.which == "species":
            head += f" of {self.species.name}" if self.species else " of any animal"
        parts = [head]
        if self.deployment:
            parts.append(f"of the deployment {self.deployment.slug}")
        elif self.site:
            parts.append(f"at {self.site.name}")
        if self.first_day and self.last_day:
            parts.append(f"from {wording.short_day(self.first_day)} to {wording.short_day(self.last_day)}")
        elif self.first_day:
            parts.append(f"from {wording.short_day(self.first_day)} on")
        elif self.last_day:
            parts.append(f"until {wording.short_day(self.last_day)}")
        if self.light:
            parts.append(LIGHTS[self.light])
        parts.append(SORTS[self.sort])
        return ", ".join(parts)

    def ground(self) -> QuerySet[Sequence]:
        """The sequences of the place, time and light, whatever was said of them; no time-lapse frames."""
        # Imported records without their pictures have nothing to look at.
        rows = Sequence.objects.filter(time_lapse=False).filter(Q(record_import__isnull=True) | Q(cover__isnull=False))
        if self.deployment:
            rows = rows.filter(deployment=self.deployment)
        elif self.site:
            rows = rows.filter(deployment__in=list(self.site.deployments.values_list("pk", flat=True)))
        if self.first_day:
            rows = rows.filter(start_at__gte=datetime.combine(self.first_day, time(0), self.zone))
        if self.last_day:
            rows = rows.filter(start_at__lt=datetime.combine(self.last_day + timedelta(days=1), time(0), self.zone))
        if self.light:
            rows = rows.filter(infrared=self.light == "night")
        return rows

    def rows(self, person: str) -> QuerySet[Sequence]:
        """The sequences this person is to look through, in order."""
        rows = self.ground()
        if self.which == "unseen":
            rows = rows.filter(identification__isnull=True)
        elif self.which == "unknown":
            unknown = Observation.objects.filter(species__isnull=True, what=Observation.What.UNKNOWN)
            rows = rows.filter(identification__in=unknown.values("identification"))
        elif self.which == "mine":
            rows = rows.filter(
                identification__in=Identification.objects.filter(by=person, undone_at__isnull=True).values("pk")
            )
        elif self.which == "second":
            mine = Identification.objects.filter(sequence=OuterRef("pk"), by=person, undone_at__isnull=True)
            rows = rows.filter(identification__isnull=False).filter(~Exists(mine))
        elif self.which == "species":
            seen = Observation.objects.filter(what=Observation.What.ANIMAL)
            seen = seen.filter(species=self.species) if self.species else seen
            rows = rows.filter(identification__in=seen.values("identification"))
        return rows.order_by(*ORDERS[self.sort])

    def after(self, sequence: Sequence, person: str, *, back: bool = False) -> QuerySet[Sequence]:
        """The sequences that follow one in the queue, or, with `back`, those before it, nearest first."""
        order = ORDERS[self.sort]
        beyond, same = Q(pk__in=[]), Q()
        for name in order:
            field = name.lstrip("-")
            value = getattr(sequence, field)
            downwards = name.startswith("-") != back
            beyond |= same & Q(**{f"{field}__{'lt' if downwards else 'gt'}": value})
            same &= Q(**{field: value})
        # Said apart as well, so that the database walks its index from here on.
        lead = order[0].lstrip("-")
        bound = Q(**{f"{lead}__{'lte' if order[0].startswith('-') != back else 'gte'}": getattr(sequence, lead)})
        rows = self.rows(person).filter(bound & beyond)
        return rows.reverse() if back else rows

    def counts(self, person: str) -> tuple[str, str]:
        """How many are left and how many there are in all, as written: “312”, “1 204”."""
        kept = self._kept_counts()
        if kept is None:
            return _count(self.rows(person)), _count(self.ground())
        left, every = kept
        return wording.count(left) if self.which == "unseen" else _count(self.rows(person)), wording.count(every)

    def _kept_counts(self) -> tuple[int, int] | None:
        """How many nobody has looked at and how many there are, by the sums that are kept.

        None when they cannot be trusted.
        """
        of = Deployment.objects.all()
        if self.deployment:
            of = of.filter(pk=self.deployment.pk)
        elif self.site:
            of = of.filter(site=self.site)
        light = {"night": "_dark", "day": "_light"}.get(self.light, "")
        left, every = f"unreviewed{light}", light.removeprefix("_") or "sequences"
        found = rollups.total(of, str(self.zone), left, every)
        if found is None or RecordImport.objects.filter(undone_at__isnull=True).exists():
            return None  # the sums hold sequences too that have no picture to look at
        if self.first_day or self.last_day:
            days = DaySum.objects.filter(deployment__in=of.order_by().values("pk"))
            days = days.filter(day__gte=self.first_day) if self.first_day else days
            days = days.filter(day__lte=self.last_day) if self.last_day else days
            found = days.order_by().aggregate(**{name: Sum(name) for name in (left, every)})
        return found[left] or 0, found[every] or 0


def _count(rows: QuerySet[Sequence]) -> str:
    found = rows.order_by()[: MOST_COUNTED + 1].count()
    return f"more than {wording.count(MOST_COUNTED)}" if found > MOST_COUNTED else wording.count(found)


def read(given: Any, reserve: Reserve | None) -> Queue:
    """A filter from an address. What cannot be used is left out and told in `problems`."""
    problems: list[str] = []

    def choice(name: str, allowed: Any, usual: str) -> str:
        value = given.get(name, "")
        if value and value not in allowed:
            problems.append(f"{name}: {value[:40]!r} is not one of the choices; left out.")
        return value if value in allowed else usual

    def row(name: str, model: Any) -> Any:
        slug = given.get(name, "")
        found = model.objects.filter(slug=slug).first() if slug and "\0" not in slug else None
        if slug and found is None:
            problems.append(f"{name}: there is none called {slug[:40]!r}; left out.")
        return found

    def day(name: str) -> date | None:
        text = given.get(name, "")
        try:
            value = date.fromisoformat(text) if text else None
        except ValueError:
            value = None
        if text and (value is None or not 1990 <= value.year <= 2200):
            problems.append(f"{name}: {text[:40]!r} is no day; write it like 2025-11-30. Left out.")
            return None
        return value

    first, last = day("from"), day("to")
    if first and last and last < first:
        problems.append("The last day lies before the first; they were exchanged.")
        first, last = last, first
    return Queue(
        which=choice("which", WHICH, "unseen"),
        site=row("site", Site),
        deployment=row("deployment", Deployment),
        first_day=first,
        last_day=last,
        light=choice("light", LIGHTS, ""),
        species=row("species", Species),
        sort=choice("sort", SORTS, "old"),
        zone=reserve.zone_info if reserve else UTC,
        problems=tuple(problems),
    )

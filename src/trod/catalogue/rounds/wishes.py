"""What is asked of a round: days, people, hours, start, and which sites must be in or stay out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from trod import wording
from trod.catalogue.models import Reserve
from trod.errors import WrongInput
from trod.plain import plain, record
from trod.planning.visit.rounds import DAY_MIN

MOST_DAYS = 7
MOST_PARTIES = 6
NEXT_DAYS = 30
WHICH = ("pays", "all", "named")


@dataclass(frozen=True, kw_only=True)
class Wish:
    """One round as it is asked for.

    people : parties, parted by semicolons, names by commas: "Ada, Ben; Cleo". from_min, to_min : away from home at
    most between them, wall clock. next_days : until somebody comes by again. must, leave : slugs of sites.
    which : "pays" (those worth the way), "all" that can be reached, or "named" (those in `must` alone).
    by_tracks : go along the reserve's tracks where there are any. worth_min : work that a camera-day is worth;
    None: as the reserve has it.
    """

    name: str
    first: date
    days: int = 1
    people: str = ""
    by_car: bool = True
    by_tracks: bool = True
    from_min: int = 8 * 60
    to_min: int = 17 * 60
    start_latitude: float | None = None
    start_longitude: float | None = None
    next_days: int = NEXT_DAYS
    which: str = "pays"
    must: tuple[str, ...] = ()
    leave: tuple[str, ...] = ()
    worth_min: float | None = None
    most_load_kg: float | None = None

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise WrongInput("name", got="nothing", needed="a name for the round")
        if self.which not in WHICH:
            raise WrongInput("which", got=self.which, needed=" or ".join(WHICH))
        if not 1 <= self.days <= MOST_DAYS:
            raise WrongInput("days", got=self.days, needed=f"1 to {MOST_DAYS} days")
        if not 0 <= self.from_min < self.to_min <= DAY_MIN:
            raise WrongInput(
                "hours", got=f"{told(self.from_min)} to {told(self.to_min)}", needed="two times of one day, in order"
            )
        for what, at, most in (("latitude", self.start_latitude, 90), ("longitude", self.start_longitude, 180)):
            if at is not None and not -most <= at <= most:
                raise WrongInput(f"{what} of the start", got=at, needed=f"degrees from -{most} to {most}")
        if not 1 <= self.next_days <= 365:
            raise WrongInput("next_days", got=self.next_days, needed="1 to 365 days")
        if self.worth_min is not None and not 0 <= self.worth_min <= DAY_MIN:
            raise WrongInput("worth_min", got=self.worth_min, needed="minutes from 0 to a day")
        if both := sorted(set(self.must) & set(self.leave)):
            raise WrongInput("sites", got=f"{', '.join(both)} both in and out", needed="each site one or the other")
        self.parties()

    @property
    def dates(self) -> tuple[date, ...]:
        """The days of the round."""
        return tuple(self.first + timedelta(days=n) for n in range(self.days))

    def parties(self) -> tuple[tuple[str, int], ...]:
        """(name, how many people) of each party. A number alone, such as "2", means so many unnamed people."""
        found: list[tuple[str, int]] = []
        for part in (p.strip() for p in self.people.split(";") if p.strip()):
            if re.fullmatch(r"[0-9]{1,2}", part):
                n = int(part)
                if n:
                    found.append((wording.plural(n, "person", "people"), n))
            elif names := [name.strip() for name in part.split(",") if name.strip()]:
                found.append((wording.listed(names), len(names)))
        if len(found) > MOST_PARTIES or any(n > 50 for _, n in found):
            raise WrongInput("people", got=self.people[:80], needed=f"at most {MOST_PARTIES} parties of 50")
        seen: dict[str, int] = {}
        out = []
        for name, n in found or [("one person", 1)]:
            seen[name] = seen.get(name, 0) + 1
            out.append((name if seen[name] == 1 else f"{name}, party {seen[name]}", n))
        return tuple(out)

    def names(self) -> tuple[str, ...]:
        """All people who were named."""
        parts = (name.strip() for party in self.people.split(";") for name in party.split(","))
        return tuple(dict.fromkeys(name for name in parts if name and not name.isdigit()))

    def start(self, reserve: Reserve) -> tuple[float, float] | None:
        """Where the round starts: as asked, else where the reserve's rounds start."""
        if self.start_latitude is not None and self.start_longitude is not None:
            return self.start_latitude, self.start_longitude
        if reserve.base_latitude is not None and reserve.base_longitude is not None:
            return reserve.base_latitude, reserve.base_longitude
        return None

    def taking_out(self, slug: str) -> Wish:
        """The same without a site."""
        return replace(self, must=tuple(s for s in self.must if s != slug), leave=tuple(sorted({*self.leave, slug})))

    def putting_in(self, slug: str) -> Wish:
        """The same with a site in any case."""
        return replace(self, leave=tuple(s for s in self.leave if s != slug), must=tuple(sorted({*self.must, slug})))

    def plain(self) -> dict[str, Any]:
        """As JSON carries it."""
        return dict(plain(self))


def from_plain(row: Mapping[str, Any]) -> Wish:
    """A wish from JSON. Raises WrongInput for what is none."""
    return record(Wish, row, what="round", needed="a round that this Trod has planned")


def told(minutes: float) -> str:
    """Minutes after midnight as a time."""
    return f"{int(minutes) // 60}:{int(minutes) % 60:02d}"

"""Comparing two periods, or two sites: a question of its own.

Of two periods each site is compared with itself, as one line-up of cameras watched it; of two sets of sites each month
with itself. So a moved or a better camera, other sites or another season are no difference; what only one side watched
takes no part.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date

from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import asking, comparing, line_ups, runs
from trod.findings.comparing import Compared
from trod.findings.detections import Detection
from trod.findings.effort import Effort, months_of_span
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.reviewing import Reviewed


@dataclass(frozen=True, kw_only=True)
class OneSide:
    """One side as asked for. seen, days : detections and site-days of what both sides watched."""

    selection: Selection
    found: tuple[Detection, ...]
    worked: Effort
    seen: float
    days: float


@dataclass(frozen=True, kw_only=True)
class TwoSides:
    """What the comparison of two sides comes to.

    by_period : periods are compared, else sites. here : of these very sites and times; None, and `why`, where it
    cannot be told. alike : of sites like these, of periods alone; None, and `why_not_alike`, likewise.
    other_season : the periods hold different months of the year. left : detections where or when one side alone was
    watched; they take no part.
    """

    by_period: bool
    first: OneSide
    second: OneSide
    here: Compared | None
    why: NotEnoughEvidence | None
    alike: Compared | None
    why_not_alike: NotEnoughEvidence | None
    other_season: bool
    left: int

    @property
    def found(self) -> tuple[Detection, ...]:
        """The detections of both sides."""
        return (*self.first.found, *self.second.found)


def compare(evidence: Evidence, first: Filter, second: Filter) -> TwoSides:
    """How often the animals came on one side over how often on the other; `telling.two_sides` makes the answer of it.

    first, second : the same but for period or sites. Between periods sites are compared with themselves; between sites
    months are.
    Raises WrongInput when both sides are the same, or differ in more; NotEnoughEvidence when no camera watched a side.
    """
    by_period = _way(first, second)
    a, found_a, worked_a = asking.prepare(evidence, first)
    b, found_b, worked_b = asking.prepare(evidence, second)
    sides = (_parts(a, found_a, by_period), _parts(b, found_b, by_period))
    shared = sorted(sides[0].keys() & sides[1].keys(), key=repr)
    columns = [
        [side[key][n] for key in shared] for side in sides for n in (0, 1)
    ]  # seen and days of the first, of the second
    here: Compared | None = None
    alike: Compared | None = None
    why: NotEnoughEvidence | None = None
    why_not_alike: NotEnoughEvidence | None = None
    try:
        blocks = [asking.blocks(a, found_a), asking.blocks(b, found_b)]
        scatter = runs.scatter([*blocks[0][0], *blocks[1][0]], [*blocks[0][1], *blocks[1][1]])
        here = comparing.here(columns[0], columns[1], columns[2], columns[3], scatter)
    except NotEnoughEvidence as trouble:
        why = trouble
    if by_period:
        try:
            alike = comparing.like_these(columns[0], columns[1], columns[2], columns[3])
        except NotEnoughEvidence as trouble:
            why_not_alike = trouble
    seen = [sum(column) for column in columns]
    return TwoSides(
        by_period=by_period,
        first=OneSide(selection=a, found=found_a, worked=worked_a, seen=seen[0], days=seen[1]),
        second=OneSide(selection=b, found=found_b, worked=worked_b, seen=seen[2], days=seen[3]),
        here=here,
        why=why,
        alike=alike,
        why_not_alike=why_not_alike,
        other_season=by_period and _other_season(a, b),
        left=len(found_a) + len(found_b) - round(seen[0] + seen[2]),
    )


def _way(first: Filter, second: Filter) -> bool:
    """Whether periods are compared (else sites). Raises WrongInput when it is neither, or both."""
    other_period = (first.first, first.last) != (second.first, second.last)
    other_sites = {*first.sites} != {*second.sites}
    rest = (sorted(first.species), first.independence_min, first.light) == (
        sorted(second.species), second.independence_min, second.light,
    )  # fmt: skip
    if other_period == other_sites or not rest:
        raise WrongInput(
            "compare",
            got="two sides that are the same" if not (other_period or other_sites) and rest else
            "two sides that differ in more than one thing",
            needed="two periods of the same sites, or two sites in the same period",
        )  # fmt: skip
    if other_sites and ({*first.sites} & {*second.sites} or not first.sites or not second.sites):
        raise WrongInput("compare", got="sites that stand on both sides", needed="sites named once, on one side")
    return other_period


def _parts(selection: Selection, found: Sequence[Detection], by_period: bool) -> dict[Hashable, tuple[float, float]]:
    def key(site: str, line_up: tuple[str, ...], month: date) -> Hashable:
        return (site, line_up) if by_period else month

    return line_ups.parts(selection, found, Reviewed(selection), key)


def _other_season(a: Selection, b: Selection) -> bool:
    def months(selection: Selection) -> set[int]:
        worked = {month for _, spans in selection.watched.values() for month in _of(spans, selection.reserve.zone)}
        return {month.month for month in worked}

    return months(a) != months(b)


def _of(spans: Sequence[tuple[float, float]], zone: str) -> set[date]:
    return {month for start, end in spans for month, _, _ in months_of_span(start, end, zone)}

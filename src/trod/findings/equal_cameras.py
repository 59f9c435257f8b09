"""Rates as if every camera were equally good: each detection carried by the chance that its camera had of making it.

A camera that catches half of what passes records half as often. Where such a chance is known of every camera, site and
month, by day and by night, a detection stands for one over it (D. G. Horvitz & D. J. Thompson (1952) Journal of the
American Statistical Association 47:663–685), times the chance of the reference: the mean over the site-days of the
answer, day and night alike. So only what differs between cameras changes anything; what is wrong with all chances by
one factor falls out, and no number of animals that passed is claimed: an index stays an index.

The doubt of the chances is carried by the delta method: each chance says by how much a step in each cause of doubt (the
range of one kind of camera, the path at one site) moves it, so causes that cameras share cancel as far as they move
both alike. It is joined to the interval of the runs on the log scale, each end for itself, after G. Y. Zou & A. Donner
(2008) Construction of confidence limits about effect measures, Statistics in Medicine 27:1693–1702 (from memory). How
often it holds: docs/models/equal-cameras.md, by benchmarks/equal_cameras.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

import numpy as np
from scipy import stats

from trod import sky, wording
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import asking, effort, localtime, rates, reviewing, runs
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.rates import LEVEL, PER_DAYS, Days, Interval, Seen
from trod.findings.reviewing import Carried, Reviewed

Light = Literal["day", "night"]
LIGHTS: tuple[Light, ...] = ("day", "night")
Basis = Literal["modelled", "measured figures"]
Unknown = Literal["left out", "kept"]
Why = Literal["no chance known", "two cameras", "too low", "too doubtful"]
Place = tuple[str, date]
# What may be kept as it is where a person says so: of a chance too low or too doubtful it is known that it is not so.
KEEPABLE: tuple[Why, ...] = ("no chance known", "two cameras")

# Ours: a camera that catches fewer than 1 in 20 tells too little of what passes; one detection would stand for twenty.
LEAST_CHANCE = 0.05
# Ours: a chance of which one step of doubt (standard deviation of its logarithm) reaches further than that is no chance
# that can be divided by; the delta method would not hold either.
MOST_OWN_DOUBT_LN = 1.0
# Ours: the rate is refused where the doubt of the chances alone reaches more than a factor of three either way (95 %).
MOST_DOUBT = 3.0
# Ours: and where less than half of the site-days stand behind it.
LEAST_SHARE = 0.5
BY_CHANCES = "allowing for detections that come in runs and for the doubt of the cameras' chances"


@dataclass(frozen=True, kw_only=True)
class Chance:
    """How likely one deployment's camera is to catch an animal that passes, in one month, by day or by night.

    deployment : "site/slug", as `Selection.watched` has it. month : its first day.
    value : 0 to 1. effects : by cause of doubt, how much one standard deviation of it moves ln(value), with its sign;
    a cause of the same name moves all chances that bear it at once.
    basis : what it rests on: a model with figures as makers state them or as is usual, or with measured ones.
    """

    deployment: str
    month: date
    light: Light
    value: float
    effects: Mapping[str, float] = field(default_factory=dict)
    basis: Basis = "modelled"

    def __post_init__(self) -> None:
        if not 0 <= self.value <= 1:  # also catches nan
            raise WrongInput("chance", got=self.value, needed="a number from 0 to 1")
        if not all(math.isfinite(effect) for effect in self.effects.values()):
            raise WrongInput("effects", got=dict(self.effects), needed="finite numbers")


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A site and months that take no part, or that are kept as they are. days : site-days of them."""

    site: str
    why: Why
    months: tuple[date, ...]
    days: float


@dataclass(frozen=True, kw_only=True)
class OfSite:
    """One site of the answer.

    chance : of an animal that passes, the mean over its site-days, day and night alike; doubt_ln : of it over the
    reference's, as a standard deviation of its logarithm. plain, equal : detections per 100 site-days as recorded, and
    as if its camera were as good as the reference. shown : interval of `equal`; None where none was seen, or too little
    is known.
    """

    site: str
    found: int
    days: float
    chance: float
    doubt_ln: float
    plain: float
    equal: float
    shown: Interval | None


@dataclass(frozen=True, kw_only=True)
class Ratio:
    """How often they came at the first of two sites over the second, cameras as good as each other, with interval."""

    sites: tuple[str, str]
    plain: float
    ratio: float
    interval: Interval


@dataclass(frozen=True, kw_only=True)
class EqualCameras:
    """The answer as facts. Rates are detections per 100 site-days.

    found : detections that take part. plain : as recorded at the same sites and times. equal, shown : as if every camera
    were as good as the reference, with its interval. reference : the mean chance of the site-days that take part.
    doubt_ln : what the doubt of the chances adds, as a standard deviation of the logarithm of `equal`.
    share : of the site-days of the question, those that take part.
    bases : what the chances rest on. unknown : what is done where no chance is known; apart : those places.
    """

    selection: Selection
    worked: Effort
    found: tuple[Detection, ...]
    days: float
    plain: float
    equal: float
    shown: Interval
    reference: float
    doubt_ln: float
    share: float
    sites: tuple[OfSite, ...]
    ratio: Ratio | None
    bases: tuple[Basis, ...]
    unknown: Unknown
    apart: tuple[LeftOut, ...]

    @property
    def single(self) -> bool:
        """Whether too few weeks tell how the detections run."""
        return self.shown.kind == rates.SINGLY


def equal_cameras(
    evidence: Evidence, asked: Filter, chances: Iterable[Chance], *, unknown: Unknown = "left out"
) -> EqualCameras:
    """The rate of one kind as if every camera were equally good, in all and by site.

    chances : of the animal asked for; those of other deployments and months take no part.
    unknown : whether sites' months without a chance are left out, or kept as they are, as good as the reference.
    Raises NotEnoughEvidence where nothing can be said, with the reason.
    """
    if len(asked.species) != 1:
        raise NotEnoughEvidence("no single kind of animal was asked for", need="one species: a chance is of one animal")
    selection, found, worked = asking.prepare(evidence, asked)
    if selection.reserve.place is None:
        raise NotEnoughEvidence(
            "where the reserve lies is not entered, so day and night are not known", need="enter the reserve's place"
        )
    cells, apart = _cells(selection, worked, chances)
    table = _Table(selection, worked, found, cells, kept=[a for a in apart if unknown == "kept" and a.why in KEEPABLE])
    share = table.days.counted / worked.site_days
    if share < LEAST_SHARE:
        raise NotEnoughEvidence(
            f"the cameras' chances are known for {wording.share(share)} of the site-days",
            need="deployments made from placements that say which camera and path, for at least half of the site-days",
        )
    if len({deployment for cell in cells.values() for deployment in cell.deployments}) < 2:
        raise NotEnoughEvidence("the chance is known of one camera alone", need="at least two cameras to be made equal")
    whole = table.answer()
    sites = tuple(table.of_site(site) for site in sorted({site for site, _ in table.places}))
    return EqualCameras(
        selection=selection,
        worked=worked,
        found=table.found,
        days=table.days.counted,
        plain=whole[0],
        equal=whole[1],
        shown=whole[2],
        reference=table.reference,
        doubt_ln=table.doubt_ln(),
        share=share,
        sites=sites,
        ratio=table.ratio(sites[0], sites[1]) if len(sites) == 2 else None,
        bases=tuple(sorted({basis for cell in cells.values() for basis in cell.bases})),
        unknown=unknown,
        apart=apart,
    )


@dataclass(frozen=True)
class _Cell:
    """A site's month: its chance by light, with what moves it, and the deployments behind it."""

    chance: Mapping[Light, float]
    effects: Mapping[Light, Mapping[str, float]]
    deployments: frozenset[str]
    bases: frozenset[Basis]


def lights_of(asked: Filter) -> tuple[Light, ...]:
    """The halves of the day that a question looks at."""
    return LIGHTS if asked.light == "any" else (asked.light,)


def _cells(
    selection: Selection, worked: Effort, chances: Iterable[Chance]
) -> tuple[dict[Place, _Cell], tuple[LeftOut, ...]]:
    """The chance of every site's month, its cameras' by the days of each; and those of which none is known."""
    known = {(one.deployment, one.month, one.light): one for one in chances}
    zone, lights = selection.reserve.zone, lights_of(selection.filter)
    days: dict[Place, dict[str, float]] = {}
    for of in (selection.watched, selection.open):
        for deployment, (site, spans) in of.items():
            for start, end in spans:
                for month, a, b in effort.months_of_span(start, end, zone):
                    own = days.setdefault((site, month), {})
                    own[deployment] = own.get(deployment, 0.0) + (b - a) / effort.DAY_S
    cells: dict[Place, _Cell] = {}
    without: dict[tuple[str, Why], list[date]] = {}
    for place in sorted(worked.possible):
        site, month = place
        own = days.get(place, {})
        told = {light: [known.get((deployment, month, light)) for deployment in own] for light in lights}
        why: Why
        if worked.by_site_month.get(place, 0.0) > worked.site_days_by_site_month.get(place, 0.0) + 1e-6:
            why = "two cameras"
        elif not own or any(one is None for of in told.values() for one in of):
            why = "no chance known"
        else:
            cell = _joined({light: [one for one in of if one] for light, of in told.items()}, list(own.values()))
            if min(cell.chance.values()) < LEAST_CHANCE:
                why = "too low"
            elif max(_length(of) for of in cell.effects.values()) > MOST_OWN_DOUBT_LN:
                why = "too doubtful"
            else:
                cells[place] = cell
                continue
        without.setdefault((site, why), []).append(month)
    apart = [
        LeftOut(
            site=site, why=why, months=tuple(months),
            days=sum(worked.site_days_by_site_month.get((site, month), 0.0) for month in months),
        )
        for (site, why), months in without.items()
    ]  # fmt: skip
    return cells, tuple(sorted(apart, key=lambda one: (one.why, one.site)))


def _joined(told: Mapping[Light, Sequence[Chance]], days: Sequence[float]) -> _Cell:
    """Cameras one after another in a month: the mean chance by their days, and what moves it."""
    share = np.asarray(days) / sum(days)
    chance: dict[Light, float] = {}
    effects: dict[Light, dict[str, float]] = {}
    for light, of in told.items():
        mean = float(sum(s * one.value for s, one in zip(share, of, strict=True)))
        chance[light], effects[light] = mean, {}
        for s, one in zip(share, of, strict=True):
            for cause, effect in one.effects.items():
                weight = float(s) * one.value / mean if mean else 0.0
                effects[light][cause] = effects[light].get(cause, 0.0) + weight * effect
    every = [one for of in told.values() for one in of]
    return _Cell(chance, effects, frozenset(o.deployment for o in every), frozenset(o.basis for o in every))


class _Table:
    """Detections with their weights, the days that take part, and what moves their sums."""

    def __init__(
        self,
        selection: Selection,
        worked: Effort,
        found: Sequence[Detection],
        cells: Mapping[Place, _Cell],
        kept: Sequence[LeftOut],
    ) -> None:
        self.selection, self.worked, self.cells = selection, worked, cells
        self.lights = lights_of(selection.filter)
        reviewed = Reviewed(selection)
        zone = selection.reserve.zone
        # Of sites' months of which nothing was reviewed nothing is known; they are no effort.
        unseen = {place for place in worked.possible if reviewed.nothing_reviewed(*place)}
        as_they_are = {(one.site, month) for one in kept for month in one.months}
        self.places = {place for place in (*cells, *as_they_are) if place not in unseen}
        may = effort.possible_at(selection)
        months = localtime.months_of([one.utc_s for one in found], zone)
        inside = [
            (one, (one.site, month))
            for one, month in zip(found, months, strict=True)
            if (one.site, month) in self.places and may(one.site, one.utc_s)
        ]
        self.found = tuple(one for one, _ in inside)
        self.where = [place for _, place in inside]
        self.light = _lights(selection, self.found)
        self.days = self._days(self.places)
        self.reference = self._reference()
        self.by_chance = np.array(
            [
                self.reference / cells[place].chance[light] if place in cells else 1.0
                for place, light in zip(self.where, self.light, strict=True)
            ],
            dtype=float,
        )
        self.left_out = frozenset(place for place in worked.possible if place not in self.places)
        self.reviewed = reviewed
        waits = reviewing.carried(selection, self.found, reviewed, watched=worked.possible)
        whole = reviewed.complete()
        self.waits = np.ones(len(self.found)) if whole else waits.weights

    def _days(self, places: Iterable[Place]) -> Days:
        taken = set(places)
        return Days(*self.worked.ends(lambda place: float(place in taken)))

    def _reference(self) -> float:
        """The mean chance over the site-days, day and night alike."""
        total = sum(self._effort(place) for place in self.places if place in self.cells)
        if total <= 0:
            return 1.0
        return sum(self._effort(p) * self._mean(p) for p in self.places if p in self.cells) / total

    def _effort(self, place: Place) -> float:
        return self.worked.site_days_by_site_month.get(place, 0.0)

    def _mean(self, place: Place) -> float:
        chance = self.cells[place].chance
        return sum(chance[light] for light in self.lights) / len(self.lights)

    def _moves(self, at: Sequence[int], weights: np.ndarray) -> dict[str, float]:
        """By how much one step in each cause moves ln of the sum of these weights (without the reference)."""
        out: dict[str, float] = {}
        total = float(sum(weights[n] for n in at))
        for n in at:
            cell = self.cells.get(self.where[n])
            for cause, effect in cell.effects[self.light[n]].items() if cell and total > 0 else ():
                out[cause] = out.get(cause, 0.0) - weights[n] / total * effect
        return out

    def _reference_moves(self) -> dict[str, float]:
        out: dict[str, float] = {}
        known = [place for place in self.places if place in self.cells]
        total = sum(self._effort(place) * self._mean(place) for place in known)
        for place in known:
            cell = self.cells[place]
            for light in self.lights:
                part = self._effort(place) * cell.chance[light] / len(self.lights) / total if total > 0 else 0.0
                for cause, effect in cell.effects[light].items():
                    out[cause] = out.get(cause, 0.0) + part * effect
        return out

    def doubt_ln(self, at: Sequence[int] | None = None) -> float:
        """What the chances' doubt adds to ln of a rate, as a standard deviation; of all, or of these detections."""
        every = range(len(self.found)) if at is None else at
        return _length(_sum(self._moves(list(every), self.by_chance * self.waits), self._reference_moves()))

    def _limited(self, at: Sequence[int], days: Days, left_out: frozenset[Place]) -> tuple[float, float, Interval]:
        """(as recorded, with equal cameras, its interval) from these detections; the chances' doubt not in it yet."""
        found = [self.found[n] for n in at]
        weights = (self.by_chance * self.waits)[list(at)]
        plain = PER_DAYS * float(self.waits[list(at)].sum()) / days.counted
        value, shown = self._interval(found, weights, days, left_out)
        if self.reviewed.order != "time":  # what was reviewed may have been picked: as if what waits held none
            least = self._interval(found, self.by_chance[list(at)], days, left_out)[1]
            shown = replace(shown, low=min(shown.low, least.low))
        return plain, value, shown

    def _interval(
        self, found: Sequence[Detection], weights: np.ndarray, days: Days, left_out: frozenset[Place]
    ) -> tuple[float, Interval]:
        carried = Carried(weights=weights, left_out=left_out)
        scatter = runs.scatter(*asking.blocks(self.selection, found, carried=carried), single=carried.single)
        seen = Seen(
            found=len(found), carried=float(weights.sum()), largest=carried.largest, single=carried.single
        )  # fmt: skip
        return rates.limited(seen, days, scatter, LEVEL)

    def answer(self) -> tuple[float, float, Interval]:
        """(as recorded, with equal cameras, its interval). Raises NotEnoughEvidence by the rules above."""
        if not self.found:
            raise NotEnoughEvidence(
                "none was seen where the cameras' chances are known",
                need="at least one detection: nothing can be carried",
            )
        if self.days.tell_too_little:
            raise NotEnoughEvidence(
                f"of {wording.number(self.days.possible)} site-days {wording.number(self.days.proven)} are known to have"
                " been watched",
                need="a word on whether the cameras watched in their silences",
            )
        doubt = self.doubt_ln()
        if too_doubtful(doubt):
            raise NotEnoughEvidence(
                "the cameras' chances are so doubtful that they alone spread the rate by a factor of "
                f"{wording.number(_factor(doubt))} either way",
                need="walk tests, so that range, zone and trigger time are measured rather than stated",
            )
        plain, value, shown = self._limited(range(len(self.found)), self.days, self.left_out)
        return plain, value, widened(value, shown, doubt)

    def of_site(self, site: str) -> OfSite:
        """One site."""
        at = [n for n, one in enumerate(self.found) if one.site == site]
        own = {place for place in self.places if place[0] == site}
        days = self._days(own)
        total = sum(self._effort(place) for place in own)
        chance = (
            sum(self._effort(p) * (self._mean(p) if p in self.cells else self.reference) for p in own) / total
            if total > 0
            else self.reference
        )
        bare = OfSite(
            site=site,
            found=len(at),
            days=days.counted,
            chance=chance,
            doubt_ln=0.0,
            plain=0.0,
            equal=0.0,
            shown=None,
        )
        if not at or days.counted <= 0:
            return bare
        doubt = self.doubt_ln(at)
        if days.tell_too_little:
            carried = self.by_chance * self.waits
            plain, value = (PER_DAYS * float(weights[at].sum()) / days.counted for weights in (self.waits, carried))
            return replace(bare, doubt_ln=doubt, plain=plain, equal=value)
        others = frozenset(place for place in self.worked.possible if place not in own)
        plain, value, shown = self._limited(at, days, others)
        wide = None if too_doubtful(doubt) else widened(value, shown, doubt)
        return replace(bare, doubt_ln=doubt, plain=plain, equal=value, shown=wide)

    def ratio(self, a: OfSite, b: OfSite) -> Ratio | None:
        """The first site over the second; None where one saw none, weeks are too few or chances too doubtful."""
        if not a.found or not b.found or a.days <= 0 or b.days <= 0:
            return None
        weights = self.by_chance * self.waits
        parts = [[n for n, one in enumerate(self.found) if one.site == site.site] for site in (a, b)]
        doubt = _length(_sum(self._moves(parts[0], weights), self._moves(parts[1], weights), -1.0))
        # Every site about its own rate, so that a site whose detections stand for more scatters no more for it.
        scale = np.ones(len(self.found))
        for part in parts:
            scale[part] = weights[part] * len(part) / weights[part].sum()
        left = self.left_out
        scaled = Carried(weights=scale, left_out=left)
        scatter = runs.scatter(
            *asking.blocks(self.selection, self.found, carried=scaled), single=max(1.0, scaled.single)
        )
        if scatter.tells_too_little(len(self.found)) or too_doubtful(doubt):
            return None
        spread = scatter.student(LEVEL) * math.sqrt(scatter.phi * (1 / a.found + 1 / b.found))
        wide = math.exp(math.hypot(spread, _z() * doubt))
        ratio = a.equal / b.equal
        interval = Interval(low=ratio / wide, high=ratio * wide, level=LEVEL, kind=BY_CHANCES)
        return Ratio(sites=(a.site, b.site), plain=a.plain / b.plain, ratio=ratio, interval=interval)


def _lights(selection: Selection, found: Sequence[Detection]) -> list[Light]:
    """Whether the sun was up at each detection."""
    if selection.filter.light != "any":
        return [selection.filter.light] * len(found)
    place = selection.reserve.place
    if not found or place is None:
        return ["day"] * len(found)
    heights, _ = sky.sun_position(np.array([d.utc_s for d in found]), latitude_deg=place[0], longitude_deg=place[1])
    return ["day" if up else "night" for up in heights >= sky.RISE_SET_ELEVATION_DEG]


def widened(value: float, shown: Interval, doubt_ln: float) -> Interval:
    """An interval of a rate above 0 with a further doubt of its logarithm; unchanged where there is none.

    Notes : each end moves by √(a² + (z·doubt)²) on the log scale, a its own distance from the value.
    """
    if doubt_ln == 0:
        return shown
    more = _z() * doubt_ln
    low = value * math.exp(-math.hypot(math.log(value / shown.low), more)) if shown.low > 0 else 0.0
    high = value * math.exp(math.hypot(math.log(shown.high / value), more))
    kind = shown.kind if shown.kind == rates.SINGLY else BY_CHANCES
    return replace(shown, low=low, high=high, kind=kind)


def too_doubtful(doubt_ln: float) -> bool:
    """Whether the chances' doubt alone reaches more than a factor of three either way."""
    return _factor(doubt_ln) > MOST_DOUBT


def _factor(doubt_ln: float) -> float:
    return math.exp(min(_z() * doubt_ln, 50.0))


def _z() -> float:
    return float(stats.norm.isf((1 - LEVEL) / 2))


def _sum(one: Mapping[str, float], two: Mapping[str, float], times: float = 1.0) -> dict[str, float]:
    return {cause: one.get(cause, 0.0) + times * two.get(cause, 0.0) for cause in {*one, *two}}


def _length(moves: Mapping[str, float]) -> float:
    return math.sqrt(sum(move * move for move in moves.values()))

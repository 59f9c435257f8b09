"""What a record says of change: what happened in it, what lasts beyond good and bad years, or why neither is told.

The refusals come in a fixed order, each with what is missing:

    R1  under 24 months, or under nine calendar months that one unit watched in two years: season is not change
    R2  under three sites with detections, or under twenty detections in months watched in two years
    R3  the lasting factor is known no better than to a halving or a doubling in one year
    R4  sequences picked for review by what is in them: the months they lie in are left out, and too much is out

R5 is a caution: one site holds more than half, or other sites were watched at the end than at the beginning.
The rules are ours, from simulation; docs/models/change.md tells how they do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy import stats

from trod import wording
from trod.errors import NotEnoughEvidence
from trod.findings import yearly_fit
from trod.findings.observations import YEARLY_ALLOWANCE
from trod.findings.yearly_fit import Cells, Factor

FEWEST_MONTHS = 24
FEWEST_TWICE = 9
FEWEST_SITES = 3
FEWEST_DETECTIONS = 20
MOST_HALF_WIDTH = math.log(2)
MOST_LEFT_OUT = 0.25
MOST_OF_ONE_SITE = 0.5
LEAST_SHARED = 0.5
# Ours: "about steady" is said only of a lasting factor that lies wholly within a tenth up and down.
STEADY_LOW, STEADY_HIGH = 0.90, 1.11
FEWEST_DAYS = 1.0

Rule = Literal["R1", "R2", "R3", "R4"]
Claim = Literal["more", "fewer", "later more", "later fewer", "steady", "unclear"]


class NoYearlyFactor(NotEnoughEvidence):
    """No yearly factor is told of this record. rule : which refusal; need : what is missing."""

    def __init__(self, rule: Rule, have: str, *, need: str) -> None:
        super().__init__(have, need=need)
        self.rule = rule


@dataclass(frozen=True, kw_only=True)
class Record:
    """A record of cells, and which site each unit is at.

    site : (units,) a number for each unit. picked : (cells,) whether something in the cell waits for review and what
    was reviewed was picked by what is in it.
    """

    cells: Cells
    site: tuple[int, ...]
    picked: np.ndarray | None = None

    def __post_init__(self) -> None:
        if self.picked is not None and len(self.picked) != len(self.cells.unit):
            raise ValueError("picked: one for every cell")

    @property
    def sites(self) -> np.ndarray:
        """(cells,) the site of each cell."""
        return np.asarray(self.site, dtype=np.int64)[self.cells.unit]

    def only(self, keep: np.ndarray) -> Record:
        """The chosen cells."""
        return Record(
            cells=self.cells.only(keep),
            site=self.site,
            picked=None if self.picked is None else self.picked[keep],
        )


@dataclass(frozen=True, kw_only=True)
class YearlyChange:
    """The two factors (log scale), what may be said, and what they rest on.

    months : from the first to the last that was watched. allowance : for years, on the log scale.
    left_out_days : share of the effort left out, because it was reviewed by what is in it.
    cautions : one-site, other-sites.
    """

    claim: Claim
    happened: Factor
    lasting: Factor
    allowance: float
    scatter: float
    months: int
    sites: int
    detections: int
    left_out_days: float
    cautions: tuple[str, ...]


def usable(cells: Cells) -> np.ndarray:
    """(cells,) those of units with a detection that were watched for a day or more."""
    enough = cells.days >= FEWEST_DAYS
    seen = np.bincount(cells.unit[enough], cells.seen[enough], int(cells.unit.max(initial=-1)) + 1)
    return np.asarray(enough & (seen[cells.unit] > 0))


def matched(cells: Cells) -> np.ndarray:
    """(cells,) those in calendar months that one and the same unit watched in two different years."""
    key = cells.unit * yearly_fit.MONTHS_A_YEAR + cells.calendar_months
    _, at = np.unique(key, return_inverse=True)
    return np.asarray(np.bincount(at)[at] > 1 if len(at) else np.zeros(0, dtype=bool))


def span(cells: Cells) -> int:
    """Months from the first to the last that was watched."""
    return int(cells.month.max() - cells.month.min() + 1) if len(cells.month) else 0


def season_apart(cells: Cells) -> None:
    """R1. Raises NoYearlyFactor when season and change cannot be told apart."""
    months = span(cells)
    twice = len(np.unique(cells.calendar_months[matched(cells)]))
    if months < FEWEST_MONTHS:
        raise NoYearlyFactor(
            "R1",
            f"the record goes over {wording.plural(months, 'month')}, so season and change cannot be told apart",
            need=f"at least {FEWEST_MONTHS} months from the first to the last that was watched",
        )
    if twice < FEWEST_TWICE:
        raise NoYearlyFactor(
            "R1",
            f"only {twice} calendar months were watched in two years by the same cameras at the same site, so season "
            "and change cannot be told apart",
            need=f"at least {FEWEST_TWICE} calendar months watched so in two different years",
        )


def enough_seen(record: Record) -> None:
    """R2. Raises NoYearlyFactor when too few sites or detections are left to tell a change from luck."""
    cells = record.cells
    sites = len(np.unique(record.sites[cells.seen > 0]))
    kept = round(float(cells.seen[matched(cells)].sum()))
    if sites < FEWEST_SITES:
        raise NoYearlyFactor(
            "R2",
            f"detections at {wording.plural(sites, 'site')} only; a fallen tree or a new path there would look "
            "like change everywhere",
            need=f"detections at {FEWEST_SITES} sites or more",
        )
    if kept < FEWEST_DETECTIONS:
        raise NoYearlyFactor(
            "R2",
            f"{wording.plural(kept, 'detection')} in the months that were watched in two years",
            need=f"at least {FEWEST_DETECTIONS}",
        )


def what_the_record_says(record: Record, allowance: float = YEARLY_ALLOWANCE) -> YearlyChange:
    """Both factors of a record and what may be said of them.

    allowance : how much years differ by themselves, as a standard deviation on the log scale.
    Raises NoYearlyFactor with the first rule that refuses.
    """
    whole = record.only(usable(record.cells))
    season_apart(whole.cells)
    enough_seen(whole)
    left_out, kept = 0.0, whole
    if whole.picked is not None and whole.picked.any():
        kept, left_out = _without_picked(whole)
    known, (happened, lasting) = yearly_fit.fit(kept.cells, (0.0, allowance))
    if not max(lasting.half_width, happened.half_width) <= MOST_HALF_WIDTH:  # also catches nan
        raise NoYearlyFactor(
            "R3",
            "this record could not tell a halving in one year from a doubling",
            need="more years, or more detections at more sites",
        )
    return YearlyChange(
        claim=claim(happened, lasting),
        happened=happened,
        lasting=lasting,
        allowance=allowance,
        scatter=known.scatter,
        months=span(kept.cells),
        sites=len(np.unique(kept.sites[kept.cells.seen > 0])),
        detections=round(float(kept.cells.seen.sum())),
        left_out_days=left_out,
        cautions=cautions(kept),
    )


def bounded(records: Sequence[Record], allowance: float = YEARLY_ALLOWANCE) -> YearlyChange:
    """As `what_the_record_says` of the first record, its intervals widened to hold those of the others.

    For sequences not reviewed of which the order is not known: the first with effort taken by the reviewed share, the
    second with what is not reviewed holding nothing. If likely ones were opened first, the truth lies between.
    Raises NoYearlyFactor when the first is refused, or the two together are too wide.
    """
    told = [what_the_record_says(record, allowance) for record in records]
    happened = hull([each.happened for each in told])
    lasting = hull([each.lasting for each in told])
    if max(lasting.half_width, happened.half_width) > MOST_HALF_WIDTH:
        raise NoYearlyFactor(
            "R4",
            "with what is not reviewed either way, this record could not tell a halving in one year from a doubling",
            need="review what is still unreviewed",
        )
    return replace(told[0], claim=claim(happened, lasting), happened=happened, lasting=lasting)


def _without_picked(whole: Record) -> tuple[Record, float]:
    """R4: the record without the cells that were reviewed by what is in them; how much effort went with them."""
    assert whole.picked is not None
    left_out = float(whole.cells.days[whole.picked].sum() / whole.cells.days.sum())
    need = "review what is still unreviewed, or review by time or at random"
    have = (
        f"{wording.share(left_out)} of the effort lies in months of which part is not reviewed, and what was reviewed "
        "was picked by what is in it"
    )
    if left_out > MOST_LEFT_OUT:
        raise NoYearlyFactor("R4", have, need=need)
    kept = whole.only(~whole.picked)
    kept = kept.only(usable(kept.cells))
    try:
        season_apart(kept.cells)
        enough_seen(kept)
    except NoYearlyFactor as trouble:
        raise NoYearlyFactor("R4", f"{have}; without them, {trouble.have}", need=need) from trouble
    return kept, left_out


def claim(happened: Factor, lasting: Factor) -> Claim:
    """What may be said. Only the lasting factor may say more or fewer, and only it may say steady."""
    if lasting.low > 0:
        return "more"
    if lasting.high < 0:
        return "fewer"
    if math.log(STEADY_LOW) <= lasting.low and lasting.high <= math.log(STEADY_HIGH):
        return "steady"
    if happened.low > 0:
        return "later more"
    if happened.high < 0:
        return "later fewer"
    return "unclear"


def cautions(record: Record) -> tuple[str, ...]:
    """R5: one-site when a site holds more than half, other-sites when the last third was watched elsewhere."""
    cells = record.cells
    out = []
    by_site = np.bincount(record.sites, cells.seen)
    if by_site.max() > MOST_OF_ONE_SITE * by_site.sum():
        out.append("one-site")
    first, last = cells.month.min(), cells.month.max()
    third = (last - first + 1) / 3
    early = _shares(record, cells.month < first + third)
    late = _shares(record, cells.month > last - third)
    if float(np.minimum(early, late).sum()) < LEAST_SHARED:
        out.append("other-sites")
    return tuple(out)


def _shares(record: Record, where: np.ndarray) -> np.ndarray:
    days = np.bincount(record.sites[where], record.cells.days[where], len(record.site) + 1)
    return np.asarray(days / max(days.sum(), 1e-12))


def power(*, slope: float, half_width: float, level: float = yearly_fit.LEVEL) -> float:
    """How often an interval of this half-width would leave out 0 if the truth were `slope` (log scale, a year)."""
    z = float(stats.norm.isf((1 - level) / 2))
    sd = half_width / z
    return float(stats.norm.cdf((abs(slope) - half_width) / sd))


# Ours: what is supposed of a record that is not there yet.
USUAL_SCATTER = 2.0
USUAL_LUCK = 0.3
USUAL_GOES_ON = 0.6
HALVING_IN_YEARS = 3.0


def outlook(
    *, years: int, sites: int, seen_a_month: float, allowance: float, scatter: float = USUAL_SCATTER,
    slope: float = -math.log(2) / HALVING_IN_YEARS,
) -> float:  # fmt: skip
    """Told beforehand: how often a record of whole years would show such a change as lasting. [share of records]

    sites : watched the whole time, alike. seen_a_month : detections at one site in a month. scatter : φ.
    slope : per year on the log scale; a halving in three years by default.
    Notes : the information of the counts expected under the model, with usual luck of months; the normal formula.
    Simulated records come within about 10 in 100 of it (docs/models/change.md).
    """
    months = years * yearly_fit.MONTHS_A_YEAR
    unit, month = np.divmod(np.arange(sites * months), months)
    cells = Cells(
        unit=unit, month=month, days=np.full(len(unit), 30.0), seen=np.full(len(unit), seen_a_month / scatter),
        months=months, calendar=0,
    )  # fmt: skip
    known = yearly_fit.levels(cells)
    luck = yearly_fit.luck_covariance(known.years, luck=USUAL_LUCK, goes_on=USUAL_GOES_ON, allowance=allowance)
    error = yearly_fit.slope_error(known, luck)
    return power(slope=slope, half_width=float(stats.norm.isf(0.025)) * error)


def hull(factors: Sequence[Factor]) -> Factor:
    """The interval that holds all of these; the middle is the first one's."""
    return Factor(middle=factors[0].middle, low=min(f.low for f in factors), high=max(f.high for f in factors))

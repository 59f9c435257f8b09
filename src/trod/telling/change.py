"""Is it changing, told: the finding with its sentences, from the two yearly factors or from why there are none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from trod import __version__, wording
from trod.errors import NotEnoughEvidence
from trod.findings import asking, yearly
from trod.findings.changing import Changing, Outlook, SameMonths, change
from trod.findings.effort import Effort
from trod.findings.finding import Column, Finding
from trod.findings.months import MonthRate
from trod.findings.observations import Evidence, Filter
from trod.findings.rates import LEVEL, Interval
from trod.findings.yearly import YearlyChange
from trod.findings.yearly_fit import Factor
from trod.telling import shared

_ALL = Filter()
_PER = "per 100 camera-days"
COLUMNS = (
    Column(key="month", title="Month", kind="date"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="camera_days", title="Camera-days", kind="days"),
    Column(key="reviewed", title="Reviewed", kind="share"),
    Column(key="rate", title="Rate", kind="rate", unit=_PER),
    Column(key="low", title="From", kind="rate", unit=_PER),
    Column(key="high", title="To", kind="rate", unit=_PER),
    Column(key="exact_low", title="Exact Poisson from", kind="rate", unit=_PER),
    Column(key="exact_high", title="Exact Poisson to", kind="rate", unit=_PER),
)
LASTING = "lasting: good and bad years allowed for"
HAPPENED = "in this record: the luck of months allowed for, not that of years"
UNIT = "times as often each year"
_METHOD = (
    "Detections of each site, line-up of cameras and month are fitted together (penalised quasi-Poisson, McCullagh & "
    "Nelder 1989): a level for each line-up, a season common to all and one of its own, a drift of its own. What is "
    "left of each month's common level carries the change; luck that all share in a month, and that goes on into the "
    "next, is integrated out, and for what lasts also the luck of years, by the stated allowance. The factor is the "
    "middle of what fits, its ends hold 95 % of it. Rates by month allow for detections that come in runs; the exact "
    "Poisson limits (Garwood 1936) beside them hold only if animals come singly."
)
_ASSUMES = (
    "Each year changes the rate by the same factor; a crash that has mended since is told as little change.",
    "A camera of one line-up sees as well at the end as at the beginning: cover, battery and lens as they were.",
)


def answer(evidence: Evidence, filter: Filter = _ALL) -> Finding:
    """`findings.changing.change`, told. Raises NotEnoughEvidence as that does."""
    return finding(change(evidence, filter))


def finding(known: Changing) -> Finding:
    """What is known of change as a finding.

    Its `value` is the lasting factor per year (1: no change), with what happened in this record among
    `other_intervals`; both None with the reason in the sentence where no factor can be told.
    """
    selection, found, told = known.selection, known.found, known.told
    lines = [rests(told)] if told else []
    if found and (line := outlook(known.outlooks, known.sites_seen)):
        lines.append(line)
    return Finding(
        kind="change",
        question="Is it changing?",
        sentence=_sentence(known),
        told=tuple(lines),
        value=math.exp(told.lasting.middle) if told else None,
        unit=UNIT,
        interval=_interval(told.lasting, LASTING) if told else None,
        other_intervals=(_interval(told.happened, HAPPENED),) if told else (),
        effort=known.worked.to_dict(),
        filter=selection.filter.to_dict(),
        filter_sentence=shared.sentence(selection),
        method=_METHOD,
        assumptions=(shared.WATCHED, *_ASSUMES, shared.NOT_NUMBERS, shared.SHORT_RUNS),
        cautions=(*shared.cautions_of(selection, found, known.reviewed), *_cautions(known)),
        columns=_columns(known.worked, known.rows),
        rows=tuple(_row(row) for row in known.rows),
        series={
            "change": _numbers(told, known.trouble, selection.reserve.yearly_allowance),
            "outlook": {str(one.years): one.share for one in known.outlooks},
            "same_months": _same_months(known.same_months),
        },
        made=__version__,
        **asking.opened(found),
    )


def _sentence(known: Changing) -> str:
    selection = known.selection
    name = shared.who(selection.evidence, selection.filter, known.found)
    if not known.found:
        period = wording.period(selection.first, selection.last) if selection.first and selection.last else ""
        return f"{name} did not come by at all, {period}, so nothing can be said about change."
    if known.told is not None:
        return headline(name, known.told)
    assert known.trouble is not None
    return refusal(name, known.trouble)


def times(log_value: float) -> str:
    """A yearly factor as it is said: '0.75'. Only factors that a refusal let through come here."""
    return wording.number(math.exp(log_value), 2)


def ends(factor: Factor) -> str:
    """Both ends of a yearly factor, '0.62 to 0.92'."""
    return f"{times(factor.low)} to {times(factor.high)}"


def allowance(share: float) -> str:
    """How much years are taken to differ: 'about a fifth'."""
    if share == 0:
        return "nothing"
    named = {0.1: "a tenth", 0.2: "a fifth", 0.25: "a quarter", 0.3: "three tenths", 0.5: "a half"}
    return f"about {named.get(round(share, 2), wording.share(share))}"


def years(months: int) -> str:
    """'2 years', '2.5 years'."""
    number = wording.trimmed(months / 12, 2)
    return f"{number} year{'' if number == '1' else 's'}"


def headline(name: str, found: YearlyChange) -> str:
    """Both numbers in plain words. name : whom it is about, as a subject."""
    lasting, happened = found.lasting, found.happened
    inside = "animals" if name == "Animals" else name
    here = f"In this record: {times(happened.middle)} times as often each year ({ends(happened)})."
    if found.claim in ("more", "fewer"):
        word = "more" if found.claim == "more" else "less"
        beyond = ", by more than good and bad years usually explain" if found.allowance > 0 else ""
        return (
            f"{name} came {word} often{beyond}: {times(lasting.middle)} times as often each year "
            f"({ends(lasting)}, 95 %). {here}"
        )
    if found.claim == "steady":
        return (
            f"{name} came about as often each year: {times(lasting.middle)} times ({ends(lasting)}, 95 %), good and "
            f"bad years allowed for. {here}"
        )
    if found.claim in ("later more", "later fewer"):
        word = "more" if found.claim == "later more" else "less"
        return (
            f"{name} {'were' if name == 'Animals' else 'was'} recorded {word} often later than earlier in this record: "
            f"{times(happened.middle)} times as often each year ({ends(happened)}, 95 %). Whether it lasts cannot be "
            f"told from {years(found.months)}: years differ by {allowance(found.allowance)} by themselves, and with "
            f"that allowed for anything from {ends(lasting)} times would fit."
        )
    fall, rise = times(-lasting.half_width), times(lasting.half_width)
    return (
        f"No clear change in how often {inside} came. Good and bad years allowed for, anything from {ends(lasting)} "
        f"times as often each year would fit (95 %); a change smaller than {fall} or {rise} times a year could not "
        f"have been seen. {here}"
    )


def refusal(name: str, trouble: NotEnoughEvidence) -> str:
    """Why no yearly change is told, and what it would take."""
    inside = "animals" if name == "Animals" else name
    return f"Whether {inside} came more or less often cannot be told: {trouble.have}. It takes {trouble.need}."


def rests(found: YearlyChange) -> str:
    """What a change rests on, always named."""
    parts = (
        f"{years(found.months)}, {wording.plural(found.sites, 'site')} and "
        f"{wording.plural(found.detections, 'detection')}"
    )
    left = (
        f" {wording.share(found.left_out_days)} of the effort is left out, for part of it is not reviewed and the rest "
        "was picked by what is in it."
        if found.left_out_days > 0
        else ""
    )
    allowed = (
        f" Years are taken to differ by {allowance(found.allowance)} by themselves; that is a setting of the reserve, "
        "for no record of a few years can tell it."
        if found.allowance > 0
        else " Nothing is allowed for good and bad years, as the reserve is set."
    )
    return f"It rests on {parts}.{allowed}{left}"


def outlook(told: tuple[Outlook, ...], sites: int) -> str:
    """What such sites would show, in a sentence; '' without."""
    if not told:
        return ""
    each = wording.listed([f"{round(100 * one.share)} of 100 records of {one.years} years" for one in told])
    return (
        f"Told beforehand: with {wording.plural(sites, 'site')} that see as many, a halving in three years would be "
        f"shown as lasting by about {each}."
    )


def _interval(factor: Factor, kind: str) -> Interval:
    return Interval(low=math.exp(factor.low), high=math.exp(factor.high), level=LEVEL, kind=kind)


def _cautions(known: Changing) -> list[str]:
    selection, worked, rows, cells, told = known.selection, known.worked, known.rows, known.cells, known.told
    out = []
    if known.reviewed.order == "unknown":
        out.append(
            "It is not known how the reviewed sequences were chosen. So the change is told with both ends: as if those "
            "that wait were like the reviewed ones, and as if they held none."
        )
    if told is not None and "one-site" in told.cautions:
        out.append("One site holds more than half of all detections: what changed there looks like change everywhere.")
    if told is not None and "other-sites" in told.cautions:
        out.append("The sites watched at the end are mostly others than those watched at the beginning.")
    changed = sorted(
        {unit.site for unit in cells.units if len({u.line_up for u in cells.units if u.site == unit.site}) > 1}
    )
    if changed:
        names = wording.listed_at_most([selection.evidence.site(site).name for site in changed])
        out.append(
            f"At {names} the cameras changed (another number, model, setting or aim); each line-up has a level of its "
            "own, so only change within one counts."
        )
    if 0 < len([site for site, days in worked.by_site.items() if days > 0]) < yearly.FEWEST_SITES:
        out.append("One or two sites: a fallen tree or a new path at one of them looks like change everywhere.")
    bare = [row for row in rows if row.rate is None]
    if bare:
        out.append(
            f"{wording.plural(len(bare), 'month')} with less than a day of reviewed effort "
            f"{'has' if len(bare) == 1 else 'have'} no rate."
        )
    sites = [site for site, days in worked.by_site.items() if days > 0]
    partly = {
        row.month
        for row in rows
        if row.rate is not None and any(worked.by_site_month.get((site, row.month), 0) <= 0 for site in sites)
    }
    if partly:
        out.append(
            f"In {wording.plural(len(partly), 'month')} not every site was watched; the rate of such a month "
            "also depends on which were. The yearly change takes that into account, the monthly rates do not."
        )
    return out


def _row(row: MonthRate) -> dict[str, Any]:
    doors = asking.opened(row.detections)
    return {
        "month": row.month.isoformat()[:7],
        "detections": len(row.detections),
        "camera_days": row.effort_days,
        "reviewed": row.share,
        "rate": row.rate,
        "low": row.shown.low if row.shown else None,
        "high": row.shown.high if row.shown else None,
        "level": row.shown.level if row.shown else None,
        "interval_kind": row.shown.kind if row.shown else None,
        "exact_low": row.exact.low if row.exact else None,
        "exact_high": row.exact.high if row.exact else None,
        "pictures": doors["pictures"],
        "sequence_keys": doors["sequences"],
    }


def _numbers(told: YearlyChange | None, trouble: NotEnoughEvidence | None, allowance: float) -> dict[str, Any]:
    """Both factors with what they rest on; or which rule refused, and what is missing."""
    if told is None:
        return {
            "told": False,
            "rule": getattr(trouble, "rule", None),
            "have": trouble.have if trouble else None,
            "need": trouble.need if trouble else None,
            "yearly_allowance": allowance,
        }
    return {
        "told": True,
        "says": told.claim,
        "lasting": _factor(told.lasting),
        "happened": _factor(told.happened),
        "yearly_allowance": allowance,
        "scatter": told.scatter,
        "months": told.months,
        "sites": told.sites,
        "detections": told.detections,
        "left_out": told.left_out_days,
    }


def _factor(factor: Factor) -> dict[str, float]:
    return {
        "factor_per_year": math.exp(factor.middle), "low": math.exp(factor.low), "high": math.exp(factor.high),
    }  # fmt: skip


def _same_months(known: SameMonths | None) -> dict[str, Any] | None:
    if known is None:
        return None
    compared = known.compared
    return {
        "earlier": known.earlier,
        "later": known.later,
        "months": list(known.months),
        "earlier_detections": known.earlier_detections,
        "later_detections": known.later_detections,
        "earlier_site_days": known.earlier_site_days,
        "later_site_days": known.later_site_days,
        "ratio": compared.ratio if compared else None,
        "interval": compared.interval if compared else None,
        "p": compared.p if compared else None,
        "note": f"No comparison is given: {known.trouble}."
        if known.trouble
        else "Allows for detections that come in runs, and speaks of these very sites in these months.",
    }


def _columns(worked: Effort, rows: Sequence[MonthRate]) -> tuple[Column, ...]:
    """The columns that say something here, in the days that the rates are of."""
    shown = COLUMNS if any(row.share < 1 for row in rows) else tuple(c for c in COLUMNS if c.key != "reviewed")
    return shared.of_site_days(shown) if worked.doubled else shown

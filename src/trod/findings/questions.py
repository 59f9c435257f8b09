"""The three questions, each a door from evidence and filter to a finding.

what_comes(evidence, filter)   which species come here, and how often
when(evidence, filter)         at what time of day they come
change(evidence, filter)       whether they come more or less often than before
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from trod import __version__, sky
from trod.errors import NotEnoughEvidence
from trod.findings import activity as activities
from trod.findings import change as changes
from trod.findings import circular, effort, localtime, rates, wording
from trod.findings.effort import Effort
from trod.findings.finding import Column, Finding
from trod.findings.passages import Passage, passages
from trod.findings.sightings import Evidence, Filter, Selection, select

WEEK_S = 7 * 86_400.0
_NOTHING = Filter()

_STEADY_DETECTION = (
    "An animal that passes is photographed equally often at all sites and times; cover, snow, height and "
    "the camera's make change that, and it is not corrected here."
)
_NOT_NUMBERS = "Passages are not animals: one animal may come many times, and the rate is not a density."
_WATCHED = "The cameras worked all the time that counts as watched; time known to be lost is taken off."


def _prepare(evidence: Evidence, asked: Filter) -> tuple[Selection, tuple[Passage, ...], Effort]:
    selection = select(evidence, asked)
    worked = effort.effort(selection)
    if worked.camera_days <= 0:
        raise NotEnoughEvidence(
            f"no camera watched in what was asked for ({selection.sentence})",
            need="choose a period and sites with a deployment whose card has been brought in",
        )
    return selection, passages(selection.animals, asked.independence_min), worked


def _cautions(selection: Selection, found: Sequence[Passage]) -> list[str]:
    """What in the evidence speaks against the answer, the same for every question."""
    out = []
    unseen, seen = len(selection.unseen), selection.events_seen
    if unseen:
        out.append(
            f"{wording.plural(unseen, 'event')} of {wording.count(unseen + seen)} "
            f"({wording.share(unseen / (unseen + seen))}) {'is' if unseen == 1 else 'are'} not yet sorted; "
            "counts can only grow when they are."
        )
    unsure = len(
        {s.event for s in selection.others if s.what == "unsure" or (s.what == "animal" and not s.species)}
    )
    if unsure:
        out.append(
            f"{wording.plural(unsure, 'event')} could not be told to a species and {'is' if unsure == 1 else 'are'} left out."
        )
    outside = sum(1 for p in found if not effort.is_watched(selection, p.site, p.utc_s))
    if outside:
        out.append(
            f"{wording.plural(outside, 'passage')} {'falls' if outside == 1 else 'fall'} into time that counts as "
            "not watched; the passages are kept, so the rate is a little high. Check the deployments' dates and clocks."
        )
    return out


def _open(found: Sequence[Passage]) -> dict[str, Any]:
    """The doors from a number to what is behind it: first pictures and events, in time order."""
    return {
        "pictures": [p.picture for p in found if p.picture],
        "events": [event for p in found for event in p.events],
    }


def _weeks(selection: Selection, sites: Sequence[str]) -> tuple[dict[str, dict[int, float]], float]:
    """Camera-days per site and week; weeks count from the first local midnight watched."""
    spans = effort.all_spans(selection)
    origin = localtime.day_start_s(
        localtime.local_date(min(a for a, _ in spans), selection.reserve.zone), selection.reserve.zone
    )
    out: dict[str, dict[int, float]] = {site: {} for site in sites}
    for site, own in selection.watched.values():
        for start, end in own:
            while start < end:
                week = int((start - origin) // WEEK_S)
                stop = min(end, origin + (week + 1) * WEEK_S)
                out[site][week] = out[site].get(week, 0.0) + (stop - start) / effort.DAY_S
                start = stop
    return out, origin


def rate_of(selection: Selection, worked: Effort, found: Sequence[Passage]) -> rates.Rate:
    """The rate of these passages in the selection, its interval chosen by their scatter."""
    sites = list(selection.sites)
    weeks, origin = _weeks(selection, sites)
    by_site = {site: [p for p in found if p.site == site] for site in sites}
    week_counts, week_efforts = [], []
    for site in sites:
        counts = dict.fromkeys(weeks[site], 0)
        for passage in by_site[site]:
            week = int((passage.utc_s - origin) // WEEK_S)
            if week in counts:
                counts[week] += 1
        # A ragged week of a few hours would give the scatter's test expected counts near zero.
        kept = [week for week in sorted(counts) if weeks[site][week] >= 1.0]
        week_counts.append([counts[week] for week in kept])
        week_efforts.append([weeks[site][week] for week in kept])
    return rates.rate(
        [len(by_site[site]) for site in sites],
        [worked.by_site.get(site, 0.0) for site in sites],
        week_counts=week_counts,
        week_efforts=week_efforts,
    )


def what_comes(evidence: Evidence, filter: Filter = _NOTHING) -> Finding:
    """Which species come here: per species passages, rate per 100 camera-days with limits, first and last seen.

    Returns a Finding. With exactly one species asked for, `value` is its rate per 100 camera-days; else it is
    the number of species said, which is a count of what was seen and has no interval.
    Raises NotEnoughEvidence when no camera watched.
    """
    selection, found, worked = _prepare(evidence, filter)
    zone = selection.reserve.zone
    names = {**filter.species_names, **evidence.species_names()}
    keys = sorted({p.species for p in found} | set(filter.species))
    table: list[dict[str, Any]] = []
    rate_by_key: dict[str, rates.Rate] = {}
    for key in keys:
        own = [p for p in found if p.species == key]
        own_rate = rate_by_key[key] = rate_of(selection, worked, own)
        table.append({
            "species": names.get(key, key),
            "species_key": key,
            "passages": len(own),
            "events": sum(len(p.events) for p in own),
            "individuals_max": max((p.count for p in own), default=0),
            "sites": len({p.site for p in own}),
            "rate": own_rate.value,
            "low": own_rate.shown.low,
            "high": own_rate.shown.high,
            "level": own_rate.shown.level,
            "interval_kind": own_rate.shown.kind,
            "exact_low": own_rate.exact.low,
            "exact_high": own_rate.exact.high,
            "why": own_rate.why,
            "scatter_sites": own_rate.by_site.index if own_rate.by_site else None,
            "scatter_weeks": own_rate.by_week.index if own_rate.by_week else None,
            "first": localtime.local_date(own[0].utc_s, zone).isoformat() if own else None,
            "last": localtime.local_date(own[-1].utc_s, zone).isoformat() if own else None,
            "by_site": {site: sum(1 for p in own if p.site == site) for site in selection.sites},
            "picture_list": None,
            **_open(own),
        })  # fmt: skip
        del table[-1]["picture_list"]
    table.sort(key=lambda row: (-row["passages"], row["species"].lower(), row["species_key"]))
    seen = [row for row in table if row["passages"]]
    cautions = _cautions(selection, found)
    if worked.camera_days < 30:
        cautions.append(
            f"Only {wording.number(worked.camera_days)} camera-days: a species that is there may well not have come by."
        )
    if seen and any(row["interval_kind"] not in (rates.EXACT, rates.ONE_SIDED) for row in seen):
        cautions.append(
            "Where passages scatter more than chance between sites or weeks, the interval shown is widened; "
            "the exact Poisson limits stand beside it and hold only for these very cameras and passages that fall singly."
        )

    single = rate_by_key[keys[0]] if len(filter.species) == 1 else None
    days = f"{wording.number(worked.camera_days)} camera-days"
    if single is not None:
        name = wording.capital(names.get(keys[0], keys[0]))
        shown = single.shown
        if single.count == 0:
            sentence = (
                f"{name} did not come in {days}; the true rate is probably below "
                f"{wording.number(shown.high)} per 100 camera-days."
            )
        else:
            sentence = (
                f"{name} came {wording.plural(single.count, 'time')} in {days}: "
                f"{wording.number(single.value)} per 100 camera-days ({wording.between(shown.low, shown.high)}, "
                f"{round(100 * shown.level)} %)."
            )
    elif not seen:
        sentence = f"No animal was seen in {days}."
    else:
        top = seen[0]
        sentence = (
            f"{wording.capital(wording.plural(len(seen), 'species', 'species', words=True))} came in {days}. "
            f"{wording.capital(top['species'])} most often: {wording.plural(top['passages'], 'passage')}, "
            f"{wording.number(top['rate'])} per 100 camera-days ({wording.between(top['low'], top['high'])}, "
            f"{round(100 * top['level'])} %)."
        )
        rare = [row["species"] for row in seen if row["passages"] == 1 and row is not top]
        if rare:
            sentence += f" Seen only once: {wording.listed_at_most(rare)}."
    return Finding(
        kind="what-comes",
        question="What comes here?",
        sentence=sentence,
        value=single.value if single else float(len(seen)),
        unit="passages per 100 camera-days" if single else "species",
        interval=single.shown if single else None,
        other_intervals=single.others if single else (),
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=selection.sentence,
        method=(
            "Sightings of one species at one site closer than the chosen interval are one passage. Rate = passages "
            "over camera-days, times 100. Exact Poisson limits after Garwood (1936), one-sided when none was seen "
            "(Hanley & Lippman-Hand 1983); a quasi-Poisson interval with Student's t (McCullagh & Nelder 1989) is "
            "shown instead where sites, or the weeks of a site, scatter more than chance (p < 0.05)."
            + (f" {single.why}" if single else "")
        ),
        assumptions=(_WATCHED, _STEADY_DETECTION, _NOT_NUMBERS,
                     "A species that is not listed was not seen; that does not show it is absent."),
        cautions=tuple(cautions),
        columns=(
            Column(key="species", title="Species", kind="name"),
            Column(key="passages", title="Passages", kind="count"),
            Column(key="events", title="Events", kind="count"),
            Column(key="individuals_max", title="Most at once", kind="count"),
            Column(key="sites", title="Sites", kind="count"),
            Column(key="rate", title="Rate", kind="rate", unit="per 100 camera-days"),
            Column(key="low", title="From", kind="rate", unit="per 100 camera-days"),
            Column(key="high", title="To", kind="rate", unit="per 100 camera-days"),
            Column(key="exact_low", title="Exact Poisson from", kind="rate", unit="per 100 camera-days"),
            Column(key="exact_high", title="Exact Poisson to", kind="rate", unit="per 100 camera-days"),
            Column(key="first", title="First seen", kind="date"),
            Column(key="last", title="Last seen", kind="date"),
        ),
        rows=tuple(table),
        **_open(found),
        made=__version__,
    )  # fmt: skip


def when(evidence: Evidence, filter: Filter = _NOTHING) -> Finding:
    """At what time of day animals pass, by the clock and by the sun.

    Returns a Finding whose `value` is the busiest hour of the day (by the sun's clock when the sun rises and
    sets on all these days, else by the wall clock); its interval may go round midnight, so low may exceed high.
    Raises NotEnoughEvidence under 10 passages.
    """
    selection, found, worked = _prepare(evidence, filter)
    if len(filter.species) != 1 and len({p.species for p in found}) > 1:
        mixed = True
    else:
        mixed = False
    known = activities.activity(selection, found)
    main = known.by_sun or known.by_clock
    name = _who(evidence, filter, found)
    cautions = _cautions(selection, found)
    if main.n < activities.ADVISED:
        cautions.append(
            f"{wording.plural(main.n, 'passage')}; at least {activities.ADVISED} are advised for a pattern over the "
            "day, so read the curve as a hint."
        )
    if mixed:
        cautions.append("Several species are drawn as one curve; ask for one species to see its own.")
    if known.why_no_sun:
        cautions.append(f"Not shown by the sun: {known.why_no_sun}.")
    if filter.light != "any":
        cautions.append(
            "Only one light was asked for, so the curve is cut off at sunrise and sunset by the question itself."
        )

    parts = sorted(known.lights, key=lambda part: -part.share)
    spread = wording.listed([
        f"{wording.share(part.share)} {'in twilight' if part.light == 'twilight' else 'by ' + part.light}"
        for part in parts if part.passages
    ])  # fmt: skip
    even = main.even_p >= 0.05
    if even:
        sentence = f"{name} came at all hours: no time of day stands out in {wording.plural(main.n, 'passage')} ({spread})."
    else:
        sentence = f"{name} came mostly {_mostly(parts[0].light)}: {spread}."
        if main.peak_interval_h is None:
            sentence += f" The curve is highest around {wording.clock(main.peak_h)}, but other hours could well be as busy."
        else:
            sentence += (
                f" Busiest around {wording.clock(main.peak_h)} ({wording.clock(main.peak_interval_h[0])} to "
                f"{wording.clock(main.peak_interval_h[1])})"
            )
            sentence += _by_anchor(known) + "."
    interval = (
        rates.Interval(
            low=main.peak_interval_h[0],
            high=main.peak_interval_h[1],
            level=activities.LEVEL,
            kind="shortest arc of bootstrap peaks, whole days drawn; may go round midnight",
        )
        if main.peak_interval_h and not even
        else None
    )
    heights = activities.light_of(
        sky.sun_position(
            np.array([p.utc_s for p in found]),
            latitude_deg=selection.reserve.latitude_deg,
            longitude_deg=selection.reserve.longitude_deg,
        )[0]
    )
    rows = tuple(
        {
            "light": part.light,
            "passages": part.passages,
            "watched_h": part.watched_h,
            "share": part.share,
            "low": part.interval.low,
            "high": part.interval.high,
            "level": part.interval.level,
            "preference": part.preference,
            **_open([p for p, light in zip(found, heights, strict=True) if light == index]),
        }
        for index, part in enumerate(known.lights)
    )
    direction = circular.direction(circular.angles(known.clock_h))
    return Finding(
        kind="when",
        question="When do they come?",
        sentence=sentence,
        value=None if even else main.peak_h,
        unit="hour of the day, by the sun (sunrise and sunset at their means)"
        if known.by_sun
        else "hour of the day",
        interval=interval,
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=selection.sentence,
        method=(
            "Kernel curve on the circle with von Mises kernels; width by Taylor's (2008) rule at the clearest of three "
            "harmonics (Ridout & Linkie 2009); each passage weighs by the inverse of the effort at its hour. Band: "
            f"{activities.DRAWS} bootstrap draws of whole days (noon to noon), 95 % at each point. Evenness: Rayleigh on "
            "the times and on the doubled times. By the sun: double anchoring to mean sunrise and sunset (Nouvellet et "
            "al. 2012; Vazquez et al. 2019). Twilight: sun between the horizon and 12° below it. Shares of light are "
            "corrected for hours watched."
        ),
        assumptions=(
            _WATCHED,
            "An active animal is equally likely to be photographed at every hour; a flash or sensor that reaches less "
            "far at night hides night passages.",
            "Days are independent of one another.",
        ),
        cautions=tuple(cautions),
        columns=(
            Column(key="light", title="Light", kind="name"),
            Column(key="passages", title="Passages", kind="count"),
            Column(key="watched_h", title="Watched", kind="days", unit="camera-hours"),
            Column(key="share", title="Share of activity", kind="share"),
            Column(key="low", title="From", kind="share"),
            Column(key="high", title="To", kind="share"),
            Column(key="preference", title="Against an even day", kind="rate", unit="times"),
        ),
        rows=rows,
        series={
            "clock": _curve_series(known.by_clock),
            "sun": _curve_series(known.by_sun) if known.by_sun else None,
            "sun_refused": known.why_no_sun,
            "mean_sunrise_h": known.sun.mean_rise_h if known.sun else None,
            "mean_sunset_h": known.sun.mean_set_h if known.sun else None,
            "rug_clock_h": known.clock_h.tolist(),
            "rug_sun_h": known.sun_hours.tolist() if known.sun_hours is not None else None,
            "activity_level": main.activity,
            "activity_level_interval": main.activity_interval,
            "mean_direction_h": float(circular.hours(direction.mean_rad)),
            "resultant_length": direction.r,
            "rayleigh_p": circular.rayleigh(direction).p,
            "even_p": main.even_p,
            "twilight_deg": activities.TWILIGHT_DEG,
        },
        **_open(found),
        made=__version__,
    )


def _by_anchor(known: activities.Activity) -> str:
    if known.by_sun is None or known.sun is None:
        return ", by the clock"
    return (
        f", with sunrise set to {wording.clock(known.sun.mean_rise_h)} and sunset to "
        f"{wording.clock(known.sun.mean_set_h)}"
    )


def _mostly(light: str) -> str:
    return {"day": "by day", "night": "by night", "twilight": "in twilight"}[light]


def _who(evidence: Evidence, asked: Filter, found: Sequence[Passage]) -> str:
    names = {**asked.species_names, **evidence.species_names()}
    keys = sorted(asked.species) or sorted({p.species for p in found})
    if not asked.species and len(keys) != 1:
        return "Animals"
    return wording.capital(wording.listed_at_most([names.get(key, key) for key in keys]))


def _curve_series(curve: activities.Curve) -> dict[str, Any]:
    return {
        "hours": curve.hours.tolist(),
        "density": curve.density.tolist(),
        "low": curve.low.tolist(),
        "high": curve.high.tolist(),
        "peak_h": curve.peak_h,
        "kappa": curve.kappa,
        "n": curve.n,
    }


def change(evidence: Evidence, filter: Filter = _NOTHING) -> Finding:
    """Whether the rate is changing: rate by month with intervals, effort under each, and a plain test of trend.

    Returns a Finding whose `value` is the factor by which the rate changes in a year (1 is no change), or None
    with the reason among the cautions when no trend can be fitted.
    Raises NotEnoughEvidence when no camera watched, or there is but one month of effort.
    """
    selection, found, worked = _prepare(evidence, filter)
    zone = selection.reserve.zone
    months = changes.monthly(found, worked, zone, selection.sites)
    watched = [row for row in months if row.effort_days > 0]
    if len(watched) < 2:
        raise NotEnoughEvidence(
            f"effort in only {wording.plural(len(watched), 'month', words=True)}",
            need="change needs at least two months; widen the period",
        )
    name = _who(evidence, filter, found)
    cautions = _cautions(selection, found)
    trend = None
    try:
        trend = changes.trend(found, worked, zone)
    except NotEnoughEvidence as trouble:
        cautions.append(f"No trend is given: {trouble}.")

    span = wording.period(selection.first, selection.last) if selection.first and selection.last else ""
    if not found:
        sentence = f"{name} did not come at all, {span}, so nothing can be said about change."
    elif trend is None:
        sentence = f"Too little is known to say whether {name[:1].lower() + name[1:] if name == 'Animals' else name} came more or less often, {span}."
    else:
        sentence = _trend_sentence(name, trend, span)
    if trend is not None and not trend.with_season:
        cautions.append(
            "The evidence does not cover the same months of two years, so season and lasting change cannot be told "
            "apart: animals that simply move with the seasons look the same as animals that grow more or fewer."
        )
    if len({site for site, days in worked.by_site.items() if days > 0}) < 3:
        cautions.append(
            "One or two sites: a fallen tree or a new path at one of them looks like change everywhere."
        )

    pair = changes.same_months(months)
    compared = None
    if len(pair) == 2 and sum(part[1] for part in pair.values()) > 0:
        (early, a), (late, b) = sorted(pair.items())
        ratio = rates.ratio_of_rates(count_a=b[1], effort_a=b[2], count_b=a[1], effort_b=a[2])
        compared = {
            "earlier": early,
            "later": late,
            "months": [m.month for m in b[0]],
            "earlier_passages": a[1],
            "later_passages": b[1],
            "earlier_camera_days": a[2],
            "later_camera_days": b[2],
            "ratio": ratio.ratio,
            "interval": ratio.interval,
            "p": ratio.p,
            "note": "Exact Poisson comparison of the same months; too narrow where passages come in runs.",
        }
    rows = tuple(
        {
            "month": row.month.isoformat()[:7],
            "passages": len(row.passages),
            "camera_days": row.effort_days,
            "rate": row.rate,
            "low": row.shown.low if row.shown else None,
            "high": row.shown.high if row.shown else None,
            "level": row.shown.level if row.shown else None,
            "interval_kind": row.shown.kind if row.shown else None,
            "exact_low": row.exact.low if row.exact else None,
            "exact_high": row.exact.high if row.exact else None,
            **_open(row.passages),
        }
        for row in months
    )
    return Finding(
        kind="change",
        question="Is it changing?",
        sentence=sentence,
        value=trend.factor_per_year if trend else None,
        unit="times as often after one year",
        interval=trend.interval if trend else None,
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=selection.sentence,
        method=(
            "Rates per 100 camera-days by calendar month, each with exact Poisson limits (Garwood 1936), or a "
            "quasi-Poisson interval where the month's sites scatter more than chance. Trend: log-linear quasi-Poisson "
            "regression of passages per site and month, effort as exposure, a level for each site"
            + (" and each calendar month" if trend and trend.with_season else "")
            + " (McCullagh & Nelder 1989)."
        ),
        assumptions=(
            _WATCHED,
            _STEADY_DETECTION,
            _NOT_NUMBERS,
            "The rate changes by the same factor at every site, evenly over time.",
            "Months are independent once site"
            + (" and season" if trend and trend.with_season else "")
            + " and trend are taken out.",
        ),
        cautions=tuple(cautions),
        columns=(
            Column(key="month", title="Month", kind="date"),
            Column(key="passages", title="Passages", kind="count"),
            Column(key="camera_days", title="Camera-days", kind="days"),
            Column(key="rate", title="Rate", kind="rate", unit="per 100 camera-days"),
            Column(key="low", title="From", kind="rate", unit="per 100 camera-days"),
            Column(key="high", title="To", kind="rate", unit="per 100 camera-days"),
            Column(key="exact_low", title="Exact Poisson from", kind="rate", unit="per 100 camera-days"),
            Column(key="exact_high", title="Exact Poisson to", kind="rate", unit="per 100 camera-days"),
        ),
        rows=rows,
        series={
            "trend": None
            if trend is None
            else {
                "factor_per_year": trend.factor_per_year,
                "interval": trend.interval,
                "p": trend.p,
                "with_season": trend.with_season,
                "scatter": trend.index,
                "site_months": trend.cells,
                "degrees": trend.degrees,
                "from": trend.first.isoformat()[:7],
                "to": trend.last.isoformat()[:7],
            },
            "same_months": compared,
        },
        **_open(found),
        made=__version__,
    )


def _trend_sentence(name: str, trend: changes.Trend, span: str) -> str:
    """The change in words, over the span that was watched when that is under a year, else per year."""
    years = min(1.0, max(trend.span_years, 1 / 12))
    factor, low, high = trend.over(years)
    within = (
        "from year to year, season taken out"
        if trend.with_season
        else f"from the first month to the last, {span}"
    )
    ends = f"between {_factor(low)} and {_factor(high)}, 95 %"
    if low <= 1 <= high:
        return (
            f"No clear change in how often {name if name != 'Animals' else 'animals'} came {within}: the rate became "
            f"{_factor(factor)} as large, and anything {ends} would fit."
        )
    word = "more" if factor > 1 else "less"
    return f"{name} came {word} often {within}: the rate became {_factor(factor)} as large ({ends})."


def _factor(value: float) -> str:
    return f"{wording.number(value, 2)} times" if value < 1000 else "over a thousand times"

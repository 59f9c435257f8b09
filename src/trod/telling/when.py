"""When do they come: the answer by hours of the day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from trod import __version__, sky, wording
from trod.findings import activity as activities
from trod.findings import asking, circular, day_curve, lights
from trod.findings.activity import Activity, HeightPart
from trod.findings.day_curve import Curve
from trod.findings.finding import Column, Finding
from trod.findings.lights import LightShare
from trod.findings.observations import Evidence, Filter, Reserve
from trod.findings.rates import Interval
from trod.telling import shared

_ALL = Filter()
EVEN_P = 0.05
COLUMNS = (
    Column(key="light", title="Light", kind="name"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="watched_h", title="Watched", kind="days", unit="site-hours"),
    Column(key="share", title="Share of activity", kind="share"),
    Column(key="low", title="From", kind="share"),
    Column(key="high", title="To", kind="share"),
    Column(key="preference", title="Against an even day", kind="rate", unit="times"),
)
_METHOD = (
    "Kernel curve on the circle with von Mises kernels, detections over the time watched (and reviewed) at each hour, "
    "every site by how often animals come to it. Kernel: the least expected error for the roughest of four harmonics "
    f"(after Taylor 2008), {day_curve.NARROWER:g} times narrower, so that the band need not allow for what smoothing "
    "takes off a peak. Band: Garwood's (1936) limits on the detections within the kernel, 95 % at each point, divided "
    "by how much a site's days, whole days (noon to noon) and a site's weeks scatter beyond single detections. "
    "Evenness: Rayleigh's test on the times and on the doubled times, a site's day, a day and a site's week each turned "
    "as one. Busiest time: the shortest arc with 99 % of the peaks of "
    f"{day_curve.DRAWS} bootstrap curves. Activity level: 1/(24 × the curve's peak) (Rowcliffe et al. 2014), mended for "
    "what chance adds to the peak; its interval from the band. Sun time: double anchoring to mean sunrise and sunset "
    "(Nouvellet et al. 2012; Vazquez et al. 2019). Twilight: sun between the horizon and 12° below it. Shares of light "
    "are those of a day watched whole, with exact binomial limits of as many single detections as the comings are "
    "worth (Korn & Graubard 1998)."
)


def answer(evidence: Evidence, filter: Filter = _ALL) -> Finding:
    """At what time of day animals pass, by clock time and by sun time.

    Returns a Finding whose `value` is the busiest hour of the day (by the sun's clock when the sun rises and
    sets on all these days, else by the wall clock); None when no one hour stands out, or when two busy times
    leave it without an interval. Its interval may go round midnight, so low may exceed high.
    Raises NotEnoughEvidence under 10 detections, or when they came together on too few days.
    """
    selection, found, worked = asking.prepare(evidence, filter)
    known = activities.activity(selection, found)
    main = known.by_sun or known.by_clock
    even = main.even_p >= EVEN_P
    interval = None
    if main.peak_interval_h and not even and len(main.peaks_h) == 1:
        interval = Interval(
            low=main.peak_interval_h[0],
            high=main.peak_interval_h[1],
            level=day_curve.LEVEL,
            kind="arc of 99 % of bootstrap peaks, simulated to hold 95 %; may go round midnight",
        )
    return Finding(
        kind="when",
        question="When do they come?",
        sentence=_sentence(shared.who(evidence, filter, found), known, main, even=even, interval=interval),
        value=main.peak_h if interval else None,  # no number without its interval
        unit="hour of the day, sun time" if known.by_sun else "hour of the day by the clock",
        interval=interval,
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=shared.sentence(selection),
        method=_METHOD,
        assumptions=(
            shared.WATCHED,
            "An active animal is equally likely to be photographed at every hour; a flash or sensor that "
            "reaches less far at night hides night detections.",
            "What comes at one site in one week hangs together; weeks, and sites, are independent of one another.",
            "The answer speaks of these sites in this time.",
        ),
        cautions=(*shared.cautions_of(selection, found), *_cautions(evidence, filter, known, main)),
        columns=COLUMNS,
        rows=_rows(selection.reserve, known),
        series=_series(known, main),
        made=__version__,
        **asking.opened(found),
    )


def _cautions(evidence: Evidence, filter: Filter, known: Activity, main: Curve) -> list[str]:
    out = []
    if main.worth < day_curve.ADVISED:
        together = ""
        if main.worth < 0.9 * main.n:
            together = f", which came together and say as much as about {round(main.worth)} that come by themselves"
        out.append(
            f"{wording.plural(main.n, 'detection')}{together}; at least {day_curve.ADVISED} are advised for a pattern "
            "over the day, so read the curve as a hint."
        )
    if not main.whole:
        out.append(
            f"Hardly or not watched: {wording.listed(_unwatched(main))}. Nothing is known of these hours"
            + (" (sun time)." if known.by_sun else ".")
        )
    if known.left_out:
        one = known.left_out == 1
        out.append(
            f"{wording.plural(known.left_out, 'detection')} {'lies' if one else 'lie'} at a site or hour in which no "
            f"camera counts as watching; {'it takes' if one else 'they take'} no part in the curve."
        )
    if len({p.species for p in known.detections}) > 1:
        out.append("Several species are drawn as one curve; ask for one species to see its own.")
    site, many = Counter(p.site for p in known.detections).most_common(1)[0]
    if 2 * many > len(known.detections) and len({p.site for p in known.detections}) > 1:
        out.append(
            f"{many} of {len(known.detections)} detections are of one site, {evidence.site(site).name}; these may be "
            "its hours rather than those of the others."
        )
    if known.why_no_sun:
        out.append(f"Not shown in sun time: {known.why_no_sun}.")
    if filter.light != "any":
        out.append("Only one light was asked for, so the curve ends at sunrise and sunset by the question itself.")
    return out


def _unwatched(main: Curve) -> list[str]:
    """Stretches of the day without a curve: '06:00 to 18:00'."""
    off = ~main.watched
    starts = np.flatnonzero(off & ~np.roll(off, 1))
    ends = np.flatnonzero(off & ~np.roll(off, -1))
    out = []
    for start in starts.tolist():
        end = next((e for e in ends.tolist() if e >= start), int(ends[0]))
        half = day_curve.STEP_H / 2
        out.append(f"{wording.clock(main.hours[start] - half)} to {wording.clock(main.hours[end] + half)}")
    return out


def _rows(reserve: Reserve, known: Activity) -> tuple[dict[str, Any], ...]:
    if reserve.place is None:
        return ()
    latitude, longitude = reserve.place
    heights, _ = sky.sun_position(
        np.array([p.utc_s for p in known.detections]), latitude_deg=latitude, longitude_deg=longitude
    )
    light_of = lights.light_of(heights)
    out = []
    for index, part in enumerate(known.lights):
        doors = asking.opened([p for p, light in zip(known.detections, light_of, strict=True) if light == index])
        interval, ratio = part.interval, part.preference_interval
        out.append(
            {
                "light": part.light,
                "detections": part.detections,
                "watched_h": part.watched_h,
                "share": part.share,
                "low": interval.low if interval else None,
                "high": interval.high if interval else None,
                "level": day_curve.LEVEL,
                "interval_kind": lights.KIND,
                "preference": part.preference,
                "preference_low": ratio.low if ratio else None,
                "preference_high": ratio.high if ratio else None,
                "pictures": doors["pictures"],
                "sequence_keys": doors["sequences"],
            }
        )
    return tuple(out)


def _sentence(name: str, known: Activity, main: Curve, *, even: bool, interval: Interval | None) -> str:
    parts = sorted((p for p in known.lights if p.share is not None), key=lambda part: -(part.share or 0.0))
    shares = [f"{wording.share(part.share or 0.0)} {_in(part)}" for part in parts if part.detections]
    if even:
        none = "No time of day" if main.whole else "Of the hours watched none"
        told = f" ({wording.listed(shares)})" if shares else ""
        return f"{none} stands out in {wording.plural(main.n, 'detection')} of {shared.inside(name)}{told}."
    if not main.whole and not shares:
        return f"{name} came at some of the hours watched more than at others.{_busy(known, main, interval)}."
    return f"{_by_light(name, parts, shares)}{_busy(known, main, interval)}."


def _by_light(name: str, parts: Sequence[LightShare], shares: Sequence[str]) -> str:
    """Where the most falls, said only as far as the intervals keep the lights apart."""
    if not shares:
        return f"{name} came at some hours more than at others."
    top = parts[0]
    rest = f" ({shares[0]}; {wording.listed(shares[1:])})" if len(shares) > 1 else ""
    others = [p for p in parts[1:] if p.interval is not None]
    if top.interval is not None and top.interval.low > 0.5:
        sentence = f"{name} came mostly {_in(top)}{rest}."
    elif top.interval is not None and all(top.interval.low > p.interval.high for p in others if p.interval):
        sentence = f"{name} came most often {_in(top)}{rest}."
    else:
        sentence = f"{name} came {wording.listed(shares)}."
    by_hour = sorted((p for p in parts if p.preference_interval is not None), key=lambda p: -(p.preference or 0.0))
    if len(by_hour) > 1 and by_hour[0] is not top:
        first, rest_of = by_hour[0], by_hour[1:]
        clear = first.preference_interval is not None and all(
            p.preference_interval is not None and first.preference_interval.low > p.preference_interval.high
            for p in rest_of
        )
        if clear:
            sentence += f" Hour for hour they came most {_in(first)}."
    return sentence


def _busy(known: Activity, main: Curve, interval: Interval | None) -> str:
    anchors = ""
    if known.by_sun is not None and known.sun is not None:
        anchors = (
            f", with sunrise brought to {wording.clock(known.sun.mean_rise_h)} and sunset to "
            f"{wording.clock(known.sun.mean_set_h)}"
        )
    if len(main.peaks_h) > 1:
        peaks = sorted(main.peaks_h[:3])
        number = wording.capital(wording.small_count(len(peaks)))
        sentence = f" {number} busy times, around {wording.listed([wording.clock(h) for h in peaks])}"
    elif interval is None:
        sentence = f" The curve is highest around {wording.clock(main.peak_h)}, but other hours may be as busy"
    else:
        sentence = (
            f" Busiest around {wording.clock(main.peak_h)} ({wording.clock(interval.low)} to "
            f"{wording.clock(interval.high)})"
        )
    return sentence + anchors


def _in(part: LightShare) -> str:
    return {"day": "by day", "night": "by night", "twilight": "in twilight"}[part.light]


def _series(known: Activity, main: Curve) -> dict[str, Any]:
    direction = circular.direction(circular.angles(known.clock_h))
    sun = known.sun
    return {
        "clock": _curve(known.by_clock),
        "sun": _curve(known.by_sun) if known.by_sun else None,
        "sun_refused": known.why_no_sun,
        "heights": [_height(part) for part in known.heights],
        "mean_sunrise_h": sun.mean_rise_h if sun else None,
        "mean_sunset_h": sun.mean_set_h if sun else None,
        "dawn_length_h": sun.dawn_length_h if sun else None,
        "dusk_length_h": sun.dusk_length_h if sun else None,
        "rug_clock_h": known.clock_h.tolist(),
        "rug_sun_h": known.sun_hours.tolist() if known.sun_hours is not None else None,
        "activity_level": main.activity,
        "activity_level_interval": main.activity_interval,
        "activity_level_refused": main.activity_why,
        "mean_direction_h": float(circular.hours(direction.mean_rad)),
        "resultant_length": direction.r,
        "even_p": main.even_p,
        "comings": main.comings,
        "scatter": main.scatter,
        "worth": main.worth,
        "twilight_deg": lights.TWILIGHT_DEG,
    }


def _height(part: HeightPart) -> dict[str, Any]:
    ratio = part.share.preference_interval
    return {
        "from_deg": part.from_deg,
        "to_deg": part.to_deg,
        "detections": part.share.detections,
        "watched_h": part.share.watched_h,
        "against_even": part.share.preference,
        "low": ratio.low if ratio else None,
        "high": ratio.high if ratio else None,
    }


def _curve(curve: Curve) -> dict[str, Any]:
    def told(values: Any) -> list[float | None]:
        return [float(v) if seen else None for v, seen in zip(values, curve.watched, strict=True)]

    return {
        "hours": curve.hours.tolist(),
        "density": told(curve.density),
        "low": told(curve.low),
        "high": told(curve.high),
        "peak_h": curve.peak_h,
        "peaks_h": list(curve.peaks_h),
        "kappa": curve.kappa,
        "n": curve.n,
    }

"""When do they come: the answer by hours of the day."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from trod import __version__, sky, wording
from trod.findings import activity as activities
from trod.findings import asking, circular
from trod.findings.activity import Activity, Curve, LightShare
from trod.findings.detections import Detection
from trod.findings.finding import Column, Finding
from trod.findings.observations import Evidence, Filter, Reserve
from trod.findings.rates import Interval

_ALL = Filter()
EVEN_P = 0.05
COLUMNS = (
    Column(key="light", title="Light", kind="name"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="watched_h", title="Watched", kind="days", unit="camera-hours"),
    Column(key="share", title="Share of activity", kind="share"),
    Column(key="low", title="From", kind="share"),
    Column(key="high", title="To", kind="share"),
    Column(key="preference", title="Against an even day", kind="rate", unit="times"),
)
_METHOD = (
    "Kernel curve on the circle with von Mises kernels; their width by Taylor's (2008) rule at the clearest "
    "of three harmonics (Ridout & Linkie 2009); each detection weighs by the inverse of the effort at its "
    "hour. "
    f"Band: {activities.DRAWS} bootstrap draws of whole days, noon to noon, 95 % at each point. Evenness: "
    "Rayleigh's test on the times and on the doubled times. Sun time: double anchoring to mean sunrise "
    "and sunset (Nouvellet et al. 2012; Vazquez et al. 2019). Twilight: sun between the horizon and 12° "
    "below it. "
    "Shares of light are corrected for the hours watched."
)


def when(evidence: Evidence, filter: Filter = _ALL) -> Finding:
    """At what time of day animals pass, by clock time and by sun time.

    Returns a Finding whose `value` is the busiest hour of the day (by the sun's clock when the sun rises and
    sets on all these days, else by the wall clock); None when no one hour stands out, or when two busy times
    leave it without an interval. Its interval may go round midnight, so low may exceed high.
    Raises NotEnoughEvidence under 10 detections.
    """
    selection, found, worked = asking.prepare(evidence, filter)
    known = activities.activity(selection, found)
    main = known.by_sun or known.by_clock
    even = main.even_p >= EVEN_P
    cautions = asking.cautions_of(selection, found)
    if main.n < activities.ADVISED:
        cautions.append(
            f"{wording.plural(main.n, 'detection')}; at least {activities.ADVISED} are advised for a pattern "
            "over the day, so read the curve as a hint."
        )
    if len({p.species for p in found}) > 1:
        cautions.append("Several species are drawn as one curve; ask for one species to see its own.")
    if known.why_no_sun:
        cautions.append(f"Not shown in sun time: {known.why_no_sun}.")
    if filter.light != "any":
        cautions.append("Only one light was asked for, so the curve ends at sunrise and sunset by the question itself.")
    interval = None
    if main.peak_interval_h and not even:
        interval = Interval(
            low=main.peak_interval_h[0],
            high=main.peak_interval_h[1],
            level=activities.LEVEL,
            kind="shortest arc of bootstrap peaks, whole days drawn; may go round midnight",
        )
    return Finding(
        kind="when",
        question="When do they come?",
        sentence=_sentence(asking.who(evidence, filter, found), known, main, even=even),
        value=main.peak_h if interval else None,  # no number without its interval
        unit="hour of the day, sun time" if known.by_sun else "hour of the day by the clock",
        interval=interval,
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=selection.sentence,
        method=_METHOD,
        assumptions=(
            asking.WATCHED,
            "An active animal is equally likely to be photographed at every hour; a flash or sensor that "
            "reaches less far at night hides night detections.",
            "Days are independent of one another.",
        ),
        cautions=tuple(cautions),
        columns=COLUMNS,
        rows=_rows(selection.reserve, known, found),
        series=_series(known, main),
        made=__version__,
        **asking.opened(found),
    )


def _rows(reserve: Reserve, known: Activity, found: Sequence[Detection]) -> tuple[dict[str, Any], ...]:
    heights, _ = sky.sun_position(
        np.array([p.utc_s for p in found]),
        latitude_deg=reserve.latitude_deg,
        longitude_deg=reserve.longitude_deg,
    )
    light_of = activities.light_of(heights)
    out = []
    for index, part in enumerate(known.lights):
        doors = asking.opened([p for p, light in zip(found, light_of, strict=True) if light == index])
        out.append(
            {
                "light": part.light,
                "detections": part.detections,
                "watched_h": part.watched_h,
                "share": part.share,
                "low": part.interval.low,
                "high": part.interval.high,
                "level": part.interval.level,
                "interval_kind": part.interval.kind,
                "preference": part.preference,
                "pictures": doors["pictures"],
                "sequence_keys": doors["sequences"],
            }
        )
    return tuple(out)


def _sentence(name: str, known: Activity, main: Curve, *, even: bool) -> str:
    parts = sorted(known.lights, key=lambda part: -part.share)
    shares = [f"{wording.share(part.share)} {_in(part)}" for part in parts if part.detections]
    if even:
        return (
            f"{name} came at all hours: no time of day stands out in {wording.plural(main.n, 'detection')} "
            f"({wording.listed(shares)})."
        )
    most = "mostly" if parts[0].share > 0.5 else "most often"
    rest = f" ({shares[0]}; {wording.listed(shares[1:])})" if len(shares) > 1 else ""
    sentence = f"{name} came {most} {_in(parts[0])}{rest}."
    busiest = max((p for p in parts if p.detections), key=lambda part: part.preference)
    if busiest is not parts[0] and busiest.preference > 1:
        sentence += f" Hour for hour they came most {_in(busiest)}."
    anchors = ""
    if known.by_sun is not None and known.sun is not None:
        anchors = (
            f", with sunrise brought to {wording.clock(known.sun.mean_rise_h)} and sunset to "
            f"{wording.clock(known.sun.mean_set_h)}"
        )
    if len(main.peaks_h) > 1:
        peaks = sorted(main.peaks_h[:3])
        number = wording.capital(wording.small_count(len(peaks)))
        sentence += f" {number} busy times, around {wording.listed([wording.clock(h) for h in peaks])}"
    elif main.peak_interval_h is None:
        sentence += f" The curve is highest around {wording.clock(main.peak_h)}, but other hours may be as busy"
    else:
        low, high = main.peak_interval_h
        sentence += f" Busiest around {wording.clock(main.peak_h)} ({wording.clock(low)} to {wording.clock(high)})"
    return sentence + anchors + "."


def _in(part: LightShare) -> str:
    return {"day": "by day", "night": "by night", "twilight": "in twilight"}[part.light]


def _series(known: Activity, main: Curve) -> dict[str, Any]:
    direction = circular.direction(circular.angles(known.clock_h))
    sun = known.sun
    return {
        "clock": _curve(known.by_clock),
        "sun": _curve(known.by_sun) if known.by_sun else None,
        "sun_refused": known.why_no_sun,
        "mean_sunrise_h": sun.mean_rise_h if sun else None,
        "mean_sunset_h": sun.mean_set_h if sun else None,
        "dawn_length_h": sun.dawn_length_h if sun else None,
        "dusk_length_h": sun.dusk_length_h if sun else None,
        "rug_clock_h": known.clock_h.tolist(),
        "rug_sun_h": known.sun_hours.tolist() if known.sun_hours is not None else None,
        "activity_level": main.activity,
        "activity_level_interval": main.activity_interval,
        "mean_direction_h": float(circular.hours(direction.mean_rad)),
        "resultant_length": direction.r,
        "rayleigh_p": circular.rayleigh(direction).p,
        "even_p": main.even_p,
        "twilight_deg": activities.TWILIGHT_DEG,
    }


def _curve(curve: Curve) -> dict[str, Any]:
    return {
        "hours": curve.hours.tolist(),
        "density": curve.density.tolist(),
        "low": curve.low.tolist(),
        "high": curve.high.tolist(),
        "peak_h": curve.peak_h,
        "peaks_h": list(curve.peaks_h),
        "kappa": curve.kappa,
        "n": curve.n,
    }

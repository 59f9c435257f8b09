"""How far two sides share their hours, told: the finding with its sentences."""

from __future__ import annotations

from typing import Any

from trod import __version__, wording
from trod.findings import asking
from trod.findings.finding import Column, Finding
from trod.findings.observations import Evidence
from trod.findings.shared_hours import SharedHours, Side
from trod.telling import shared

QUESTION = "Do they share their hours?"
DIFFER_P = 0.05
COLUMNS = (
    Column(key="side", title="Side", kind="text"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="effective", title="Worth", kind="count", unit="detections on days of their own"),
    Column(key="camera_days", title="Watched", kind="days", unit="camera-days"),
)
_METHOD = (
    "Kernel curves on the circle, one for each side, each detection weighing by the inverse of the effort at its hour; "
    "overlap Δ = ∫ min(f, g), by Δ̂₁ where the smaller sample is worth under 50 detections, else by Δ̂₄ (Schmid & Schmidt "
    "2006; Ridout & Linkie 2009). Interval: bootstrap of whole days, noon to noon, the wider of two widths of kernel. "
    "Test: Watson's U² (1962) against shuffled days. Sun time: double anchoring to the mean sunrise and sunset of both "
    "sides together (Nouvellet et al. 2012)."
)
_ASSUMPTIONS = (
    shared.WATCHED,
    "An active animal is equally likely to be photographed at every hour; a flash or sensor that reaches less far at "
    "night hides night detections of both.",
    "Days are independent of one another.",
)


def finding(evidence: Evidence, known: SharedHours) -> Finding:
    """The answer of `findings.shared_hours` as a finding: sentence, interval, both curves."""
    names = _names(evidence, known)
    over = known.overlapped
    rows = tuple(
        _row(
            ("first", "second")[n],
            name,
            side,
            over.effective[n] if over else None,
            opens=n == 0 or known.way != "people",
        )
        for n, (name, side) in enumerate(zip(names, (known.first, known.second), strict=True))
    )
    return Finding(
        kind="overlap",
        question=QUESTION,
        sentence=_sentence(names, known),
        told=_told(known),
        value=over.overlap if over else None,
        unit="share of hours, 0 to 1",
        interval=over.interval if over else None,
        effort={
            "camera_days": known.first.worked.camera_days + known.second.worked.camera_days
            if known.way in ("period", "sites")
            else known.first.worked.camera_days,
            "by_side": {
                name: side.worked.to_dict()
                for name, side in zip(names, (known.first, known.second), strict=True)
            },
        },
        filter={
            "first": known.first.selection.filter.to_dict(),
            "second": {**known.second.selection.filter.to_dict(), "people": known.way == "people"},
        },
        filter_sentence=_asked(known),
        method=_METHOD,
        assumptions=_ASSUMPTIONS,
        cautions=_cautions(names, known),
        columns=COLUMNS,
        rows=rows,
        series={
            "overlap": {
                "p": over.p, "estimator": over.estimator, "hours": over.hours.tolist(), "first": over.first.tolist(),
                "second": over.second.tolist(), "names": list(names), "by_sun": known.by_sun,
                "mean_sunrise_h": known.mean_rise_h, "mean_sunset_h": known.mean_set_h,
            }
        } if over else {},
        made=__version__,
        **_doors(known),
    )  # fmt: skip


def _names(evidence: Evidence, known: SharedHours) -> tuple[str, str]:
    """What each side is called: a kind, people, a period or sites."""
    out = []
    for side in (known.first, known.second):
        selection = side.selection
        if known.way == "species":
            out.append(shared.who(evidence, selection.filter, side.found))
        elif known.way == "people":
            out.append("People" if side is known.second else shared.who(evidence, selection.filter, side.found))
        elif known.way == "sites":
            sites = [evidence.site(slug).name for slug in sorted(selection.filter.sites)]
            out.append(wording.listed_at_most(sites, noun="other sites") if sites else "All sites")
        elif selection.first and selection.last:
            out.append(wording.period(selection.first, selection.last))
        else:
            out.append("All that was watched")
    return out[0], out[1]


def _subject(names: tuple[str, str], known: SharedHours) -> tuple[str, str]:
    """How the sentence begins, and its verb's object: whose hours, and of what two sides."""
    if known.way in ("species", "people"):
        second = shared.inside(names[1])
        return f"{names[0]} and {second[:1].lower() + second[1:] if known.way == 'people' else second}", ""
    filter = known.first.selection.filter
    who = shared.who(known.first.selection.evidence, filter, (*known.first.found, *known.second.found))
    between = "in" if known.way == "period" else "at"
    return who, f" {between} {names[0]} and {between} {names[1]}"


def _sentence(names: tuple[str, str], known: SharedHours) -> str:
    who, where = _subject(names, known)
    over = known.overlapped
    inside = shared.inside(who)
    if over is None:
        assert known.why_not is not None
        return (
            f"How far {inside} share their hours{where} cannot be told: {known.why_not.have}. It takes "
            f"{known.why_not.need}."
        )
    differ = over.p < DIFFER_P
    low, high = wording.share(over.interval.low), wording.share(over.interval.high)
    middle = f"{wording.share(over.overlap)} ({low} to {high}, 95 %)"
    if known.way in ("species", "people"):
        tail = "Their hours differ." if differ else "No difference between their hours is shown."
        return f"{who} share {middle} of their hours. {tail}"
    tail = "The hours differ." if differ else "No difference between the hours is shown."
    return f"{who} keep {middle} of their hours{where}. {tail}"


def _told(known: SharedHours) -> tuple[str, ...]:
    if known.overlapped is None:
        return ()
    lines = ["100 % would be the very same hours, 0 % none shared."]
    if known.way in ("species", "people"):
        lines.append("To share hours is not to meet: this says nothing of places and days.")
    if known.overlapped.p >= DIFFER_P:
        lines.append("That none is shown does not make them alike: the interval says what else would fit.")
    return tuple(lines)


def _asked(known: SharedHours) -> str:
    a, b = shared.sentence(known.first.selection), shared.sentence(known.second.selection)
    if known.way == "people":
        return f"{a}; against the people in the pictures"
    return f"{a}; against {b[:1].lower()}{b[1:]}"


def _cautions(names: tuple[str, str], known: SharedHours) -> tuple[str, ...]:
    first = shared.cautions_of(known.first.selection, known.first.found)
    second = shared.cautions_of(known.second.selection, known.second.found)
    out = [line for line in first if line in second]  # what holds for both is said once
    out += [f"{names[0]}: {line}" for line in first if line not in out]
    out += [f"{names[1]}: {line}" for line in second if line not in out]
    if known.why_no_sun:
        out.append(f"Compared by the clock, not in sun time: {known.why_no_sun}.")
    if known.first.selection.filter.light != "any":
        out.append("Only one light was asked for, so both curves end at sunrise and sunset by the question itself.")
    if known.way == "people":
        out.append("People whose pictures were deleted, or who kept away from cameras, are not among them.")
    return tuple(out)


def _row(key: str, name: str, side: Side, effective: float | None, *, opens: bool) -> dict[str, Any]:
    """opens : whether its pictures are opened from here; of people none are."""
    doors = asking.opened(side.found if opens else ())
    return {
        "key": key,
        "side": name,
        "detections": len(side.found),
        "effective": None if effective is None else round(effective),
        "camera_days": side.worked.camera_days,
        "pictures": doors["pictures"],
        "sequence_keys": doors["sequences"],
    }


def _doors(known: SharedHours) -> dict[str, Any]:
    """The pictures behind both; of people none are opened from here."""
    sides = (known.first,) if known.way == "people" else (known.first, known.second)
    return asking.opened(sorted((d for side in sides for d in side.found), key=lambda d: (d.utc_s, d.site, d.species)))

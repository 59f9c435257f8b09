"""A rate as if every camera were equally good, told: the finding with its sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trod import __version__, wording
from trod.findings import asking
from trod.findings.equal_cameras import LEAST_CHANCE, EqualCameras, LeftOut, OfSite
from trod.findings.finding import Column, Finding
from trod.findings.reviewing import Reviewed
from trod.telling import shared

QUESTION = "What if every camera were equally good?"
_PER = "per 100 site-days"
COLUMNS = (
    Column(key="site", title="Site", kind="name"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="site_days", title="Site-days", kind="days"),
    Column(key="chance", title="Chance to catch one that passes", kind="share"),
    Column(key="rate", title="Rate as recorded", kind="rate", unit=_PER),
    Column(key="equal", title="Rate with equal cameras", kind="rate", unit=_PER),
    Column(key="low", title="From", kind="rate", unit=_PER),
    Column(key="high", title="To", kind="rate", unit=_PER),
)
_METHOD = (
    "The chance that a camera catches an animal that passes is simulated from its range, zone, trigger time and "
    "settings and from the path before it, for each month's air, by day and by night. Each detection counts as the "
    "average chance of the site-days over its own camera's (Horvitz & Thompson 1952), the average taken by day and by "
    "night alike. How far each chance moves when range, zone, trigger time, path, pace or warmth are off is carried "
    "into the interval (delta method); what moves all cameras alike falls out. The interval of runs is that of the "
    "question of what comes. Sizes of the doubts are assumed."
)
ASSUMES = (
    "Animals pass on the path of the placement. Where they go elsewhere before the camera, its chance is another.",
    "Cover, height of the camera and weather are taken to be as planned.",
    "It is an index still: how many animals passed, or live there, it does not tell.",
)
TOLD_FROM = 1.1  # ours: a site whose rate changes by less is not worth naming


def finding(known: EqualCameras) -> Finding:
    """The answer of `findings.equal_cameras` as a finding."""
    selection = known.selection
    evidence, asked = selection.evidence, selection.filter
    key = asked.species[0]
    name = wording.capital(evidence.names_for(asked).get(key, key))
    return Finding(
        kind="equal-cameras",
        question=QUESTION,
        sentence=sentence(name, known),
        told=tuple(_lines(known)),
        value=known.equal,
        unit="detections per 100 site-days with every camera as good as the average one here",
        interval=known.shown,
        effort=known.worked.to_dict(),
        filter={**asked.to_dict(), "unknown": known.unknown},
        filter_sentence=shared.sentence(selection),
        method=_METHOD,
        assumptions=(shared.WATCHED, *ASSUMES, shared.SHORT_RUNS),
        cautions=tuple(_cautions(known)),
        columns=COLUMNS,
        rows=tuple(_row(known, one) for one in known.sites),
        series={"equal_cameras": _numbers(known)},
        made=__version__,
        **asking.opened(known.found),
    )


def sentence(name: str, known: EqualCameras) -> str:
    """The rate with equal cameras beside that as recorded."""
    return (
        f"Had every camera been as good as the average one here, {name} would have been recorded about "
        f"{wording.number(known.equal)} times per 100 site-days ({wording.between(known.shown.low, known.shown.high)}, "
        f"{wording.share(known.shown.level)}); as recorded it is {wording.number(known.plain)}."
    )


def _lines(known: EqualCameras) -> list[str]:
    average = round(100 * known.reference)
    lines = [
        f"The average camera here catches about {average} of 100 that pass, by the model. If that is wrong by the same "
        "factor for all, the rates stay as they are.",
        basis(known),
    ]
    site = known.selection.evidence.site
    told = [one for one in known.sites if one.found and one.plain > 0]
    if told:
        most = max(told, key=lambda one: max(one.equal / one.plain, one.plain / one.equal))
        if max(most.equal / most.plain, most.plain / most.equal) >= TOLD_FROM:
            lines.append(
                f"The largest step is at {site(most.site).name}, where a camera that catches about "
                f"{round(100 * most.chance)} of 100 recorded {wording.number(most.plain)} per 100 site-days: "
                f"with an average one it would be {wording.number(most.equal)}."
            )
    if known.ratio is not None:
        a, b = (site(slug).name for slug in known.ratio.sites)
        lines.append(
            f"With equal cameras {a} has {wording.number(known.ratio.ratio)} times the rate of {b} "
            f"({wording.between(known.ratio.interval.low, known.ratio.interval.high)}, "
            f"{wording.share(known.ratio.interval.level)}); as recorded {wording.number(known.ratio.plain)} times."
        )
    return lines


def basis(known: EqualCameras) -> str:
    """What the chances rest on; a modelled one is never called measured."""
    head = (
        "The chances are modelled, from cameras and paths as they are on record; no animals were counted to check them."
    )
    if known.bases == ("measured figures",):
        return f"{head} Range, zone and trigger time of these cameras were measured."
    if "measured figures" in known.bases:
        return (
            f"{head} Range, zone and trigger time were measured of some of the cameras, of the others stated or assumed."
        )
    return f"{head} Not all of range, zone and trigger time were measured; walk tests would make them surer."


def _cautions(known: EqualCameras) -> list[str]:
    out = [line for one in ("no chance known", "two cameras", "too low", "too doubtful") if (line := _apart(known, one))]
    if known.single:
        out.append(
            "It came in too few weeks to tell how its detections run: the interval holds only if animals come singly."
        )
    return [*out, *shared.cautions_of(known.selection, known.found, Reviewed(known.selection))]


def _apart(known: EqualCameras, why: str) -> str:
    """Sites that take no part for one reason, or are kept as they are."""
    apart: Sequence[LeftOut] = [one for one in known.apart if one.why == why]
    if not apart:
        return ""
    site = known.selection.evidence.site
    names = wording.listed_at_most(sorted({site(one.site).name for one in apart}), noun="other sites")
    days = wording.number(sum(one.days for one in apart))
    reason = {
        "no chance known": "no chance of the cameras is known, for want of a placement with a path, or a camera model",
        "two cameras": "two cameras watched at once, of which nobody knows how often both catch the same animal",
        "too low": f"the cameras' chance is under {round(100 * LEAST_CHANCE)} in 100, too low to divide by",
        "too doubtful": "the cameras' chance is too doubtful to divide by",
    }[why]
    kept = known.unknown == "kept" and why in ("no chance known", "two cameras")
    done = "kept as recorded, as if their cameras were average" if kept else "left out"
    return f"At {names}, {reason}: {days} site-days are {done}."


def _row(known: EqualCameras, one: OfSite) -> dict[str, Any]:
    own = [detection for detection in known.found if detection.site == one.site]
    doors = asking.opened(own)
    return {
        "key": one.site,
        "site": known.selection.evidence.site(one.site).name,
        "site_key": one.site,
        "detections": one.found,
        "site_days": one.days,
        "chance": one.chance,
        "rate": one.plain if one.found else None,
        "equal": one.equal if one.found else None,
        "low": one.shown.low if one.shown else None,
        "high": one.shown.high if one.shown else None,
        "interval_kind": one.shown.kind if one.shown else None,
        "pictures": doors["pictures"],
        "sequence_keys": doors["sequences"],
    }


def _numbers(known: EqualCameras) -> dict[str, Any]:
    return {
        "reference_chance": known.reference,
        "as_recorded": known.plain,
        "doubt_of_chances_ln": known.doubt_ln,
        "share_of_site_days": known.share,
        "rests_on": list(known.bases),
        "apart": [
            {"site": one.site, "why": one.why, "months": [m.isoformat()[:7] for m in one.months], "site_days": one.days}
            for one in known.apart
        ],
        "ratio": None
        if known.ratio is None
        else {"sites": list(known.ratio.sites), "value": known.ratio.ratio, "interval": known.ratio.interval},
    }

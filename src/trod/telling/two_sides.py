"""Two periods, or two sites, side by side, told: the finding with its sentences."""

from __future__ import annotations

import math

from trod import __version__, wording
from trod.findings import asking
from trod.findings.comparing import Compared
from trod.findings.finding import Column, Finding
from trod.findings.observations import Evidence, Selection
from trod.findings.rates import PER_DAYS
from trod.findings.reviewing import Reviewed
from trod.findings.two_sides import TwoSides
from trod.telling import shared

QUESTION = "Do they come more often here than there, or now than then?"
_PER = "per 100 site-days"
COLUMNS = (
    Column(key="side", title="Side", kind="text"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="site_days", title="Site-days", kind="days"),
    Column(key="rate", title="Rate", kind="rate", unit=_PER),
)
_METHOD = (
    "Detections of both sides are carried to common effort, part by part (Mantel–Haenszel rate ratio, Greenland & "
    "Robins 1985), and their scatter between the weeks of a site is allowed for (quasi-Poisson, McCullagh & Nelder "
    "1989; constants ours). For sites like these the change of each site about the common one is taken instead. What "
    "waits for review takes its share of the effort with it."
)


def finding(evidence: Evidence, known: TwoSides) -> Finding:
    """The answer of `findings.two_sides.compare`: `value` is the first rate over the second, with its interval."""
    both = (known.first, known.second)
    labels = (_label(known.first.selection, known.by_period), _label(known.second.selection, known.by_period))
    rows = []
    for key, label, side in zip(("first", "second"), labels, both, strict=True):
        doors = asking.opened(side.found)
        rows.append(
            {
                "key": key, "side": label, "detections": round(side.seen), "site_days": side.days,
                "rate": PER_DAYS * side.seen / side.days if side.days >= 1 else None,
                "pictures": doors["pictures"], "sequence_keys": doors["sequences"],
            }
        )  # fmt: skip
    here, alike = known.here, known.alike
    asked = [shared.sentence(side.selection) for side in both]
    return Finding(
        kind="compare",
        question=QUESTION,
        sentence=_sentence(shared.who(evidence, known.first.selection.filter, known.found), labels, known),
        told=_told(known),
        value=here.ratio if here else None,
        unit="times as often",
        interval=here.interval if here else None,
        other_intervals=(alike.interval,) if alike else (),
        effort={
            "camera_days": sum(side.worked.camera_days for side in both),
            "sites": len({site for side in both for site, days in side.worked.by_site.items() if days > 0}),
            "by_side": {label: side.worked.to_dict() for label, side in zip(labels, both, strict=True)},
        },
        filter={"first": known.first.selection.filter.to_dict(), "second": known.second.selection.filter.to_dict()},
        filter_sentence=f"{asked[0]}; against {asked[1][:1].lower()}{asked[1][1:]}",
        method=_METHOD,
        assumptions=(shared.WATCHED, shared.STEADY_DETECTION, shared.NOT_NUMBERS, shared.SHORT_RUNS),
        cautions=_cautions(labels, known),
        columns=COLUMNS,
        rows=tuple(rows),
        series={"compare": {"p": here.p if here else None, "alike_p": alike.p if alike else None,
                            "by": "period" if known.by_period else "sites"}},
        made=__version__,
        **asking.opened(known.found),
    )  # fmt: skip


def _label(selection: Selection, by_period: bool) -> str:
    if not by_period:
        return wording.listed_at_most(
            [selection.evidence.site(s).name for s in sorted(selection.filter.sites)], noun="other sites"
        )
    if selection.first is None or selection.last is None:
        return "all that was watched"
    return wording.period(selection.first, selection.last)


def _sentence(name: str, labels: tuple[str, str], known: TwoSides) -> str:
    inside = shared.inside(name)
    first, second = labels
    if known.here is None:
        assert known.why is not None
        return (
            f"Whether {inside} came more often in one than in the other cannot be told: {known.why.have}. "
            f"It takes {known.why.need}."
        )
    fits = _fits(known.here)
    if known.here.differs:
        word = "more" if known.here.ratio > 1 else "less"
        return (
            f"{name} came {word} often in {first} than in {second}: {fits}, 95 %. This speaks of these very sites and "
            "times."
        )
    return (
        f"No clear difference between {first} and {second} in how often {inside} came: {fits}, 95 %. This speaks of "
        "these very sites and times."
    )


def _fits(here: Compared) -> str:
    low, high = here.interval.low, here.interval.high
    if math.isinf(high):
        return f"at least {wording.number(low, 2)} times as often"
    if low == 0:
        return f"at most {wording.number(high, 2)} times as often"
    return f"{wording.number(here.ratio, 2)} times as often ({wording.between(low, high)})"


def _told(known: TwoSides) -> tuple[str, ...]:
    if known.alike is not None:
        return (
            f"For sites like these: {wording.number(known.alike.ratio, 2)} times as often "
            f"({wording.between(known.alike.interval.low, known.alike.interval.high)}, 95 %).",
        )
    if known.why_not_alike is not None:
        return (f"What sites like these would show cannot be told: {known.why_not_alike}.",)
    return ()


def _cautions(labels: tuple[str, str], known: TwoSides) -> tuple[str, ...]:
    out = []
    for label, side in zip(labels, (known.first, known.second), strict=True):
        of = shared.cautions_of(side.selection, side.found, Reviewed(side.selection))
        out += [f"{label}: {caution}" for caution in of]
    if known.other_season:
        out.append("The two periods hold different months of the year, so season is part of the difference.")
    if known.left:
        one_side = "where or when only one side was watched"
        out.append(
            f"{wording.plural(known.left, f'detection {one_side} takes', f'detections {one_side} take')} no part."
        )
    return tuple(out)

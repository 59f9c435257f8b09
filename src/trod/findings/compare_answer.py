"""Comparing two periods, or two sites: a question of its own.

Of two periods each site is compared with itself, as one line-up of cameras watched it; of two sets of sites each month
with itself. So a moved or a better camera, other sites or another season are no difference; what only one side watched
takes no part.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from datetime import date

from trod import __version__, wording
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import asking, comparing, line_ups, runs
from trod.findings.comparing import Compared
from trod.findings.detections import Detection
from trod.findings.effort import months_of_span
from trod.findings.finding import Column, Finding
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.rates import PER_DAYS
from trod.findings.reviewing import Reviewed

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


def compare(evidence: Evidence, first: Filter, second: Filter) -> Finding:
    """How often the animals came on one side over how often on the other.

    first, second : the same but for period or sites. Between periods sites are compared with themselves; between sites
    months are.
    Returns a Finding whose `value` is the first rate over the second, with its interval; None with the reason in the
    sentence where none can be told.
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
    name = asking.who(evidence, first, (*found_a, *found_b))
    here: Compared | None = None
    alike: Compared | None = None
    why: NotEnoughEvidence | None = None
    why_not_alike = ""
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
            why_not_alike = f"What sites like these would show cannot be told: {trouble}."
    labels = (_label(a, by_period), _label(b, by_period))
    rows = []
    for label, n, found in ((labels[0], 0, found_a), (labels[1], 2, found_b)):
        seen, days = sum(columns[n]), sum(columns[n + 1])
        doors = asking.opened(found)
        rows.append(
            {
                "side": label, "detections": round(seen), "site_days": days,
                "rate": PER_DAYS * seen / days if days >= 1 else None,
                "pictures": doors["pictures"], "sequence_keys": doors["sequences"],
            }
        )  # fmt: skip
    cautions = [f"{labels[0]}: {caution}" for caution in asking.cautions_of(a, found_a, Reviewed(a))]
    cautions += [f"{labels[1]}: {caution}" for caution in asking.cautions_of(b, found_b, Reviewed(b))]
    if by_period and _other_season(a, b):
        cautions.append("The two periods hold different months of the year, so season is part of the difference.")
    left = len(found_a) + len(found_b) - round(sum(columns[0]) + sum(columns[2]))
    if left:
        cautions.append(
            f"{wording.plural(left, 'detection')} where or when only one side was watched "
            f"{'takes' if left == 1 else 'take'} no part."
        )
    return Finding(
        kind="compare",
        question="Do they come more often here than there, or now than then?",
        sentence=_sentence(name, labels, here, why),
        told=tuple(line for line in (_alike(alike), why_not_alike) if line),
        value=here.ratio if here else None,
        unit="times as often",
        interval=here.interval if here else None,
        other_intervals=(alike.interval,) if alike else (),
        effort={
            "camera_days": worked_a.camera_days + worked_b.camera_days,
            "sites": len({*(s for s, d in worked_a.by_site.items() if d > 0),
                          *(s for s, d in worked_b.by_site.items() if d > 0)}),
            "by_side": {labels[0]: worked_a.to_dict(), labels[1]: worked_b.to_dict()},
        },
        filter={"first": first.to_dict(), "second": second.to_dict()},
        filter_sentence=f"{a.sentence}; against {b.sentence[:1].lower()}{b.sentence[1:]}",
        method=_METHOD,
        assumptions=(asking.WATCHED, asking.STEADY_DETECTION, asking.NOT_NUMBERS, asking.SHORT_RUNS),
        cautions=tuple(cautions),
        columns=COLUMNS,
        rows=tuple(rows),
        series={"compare": {"p": here.p if here else None, "alike_p": alike.p if alike else None,
                            "by": "period" if by_period else "sites"}},
        made=__version__,
        **asking.opened((*found_a, *found_b)),
    )  # fmt: skip


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


def _label(selection: Selection, by_period: bool) -> str:
    if not by_period:
        return wording.listed_at_most(
            [selection.evidence.site(s).name for s in sorted(selection.filter.sites)], noun="other sites"
        )
    if selection.first is None or selection.last is None:
        return "all that was watched"
    return wording.period(selection.first, selection.last)


def _other_season(a: Selection, b: Selection) -> bool:
    def months(selection: Selection) -> set[int]:
        worked = {month for _, spans in selection.watched.values() for month in _of(spans, selection.reserve.zone)}
        return {month.month for month in worked}

    return months(a) != months(b)


def _of(spans: Sequence[tuple[float, float]], zone: str) -> set[date]:
    return {month for start, end in spans for month, _, _ in months_of_span(start, end, zone)}


def _sentence(name: str, labels: tuple[str, str], here: Compared | None, why: NotEnoughEvidence | None) -> str:
    inside = "animals" if name == "Animals" else name
    first, second = labels
    if here is None:
        assert why is not None
        return (
            f"Whether {inside} came more often in one than in the other cannot be told: {why.have}. It takes {why.need}."
        )
    low, high = here.interval.low, here.interval.high
    if high == float("inf"):
        fits = f"at least {wording.number(low, 2)} times as often"
    elif low == 0:
        fits = f"at most {wording.number(high, 2)} times as often"
    else:
        fits = f"{wording.number(here.ratio, 2)} times as often ({wording.between(low, high)})"
    if here.differs:
        word = "more" if here.ratio > 1 else "less"
        return (
            f"{name} came {word} often in {first} than in {second}: {fits}, 95 %. This speaks of these very sites and "
            "times."
        )
    return (
        f"No clear difference between {first} and {second} in how often {inside} came: {fits}, 95 %. This speaks of "
        "these very sites and times."
    )


def _alike(alike: Compared | None) -> str:
    if alike is None:
        return ""
    return (
        f"For sites like these: {wording.number(alike.ratio, 2)} times as often "
        f"({wording.between(alike.interval.low, alike.interval.high)}, 95 %)."
    )

"""What comes here: the answer by species."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from trod import __version__, wording
from trod.findings import asking, localtime, rates
from trod.findings.detections import Detection
from trod.findings.effort import Effort
from trod.findings.finding import Column, Finding
from trod.findings.observations import Evidence, Filter, Selection
from trod.findings.reviewing import Reviewed
from trod.telling import shared

_ALL = Filter()
_PER = "per 100 camera-days"
COLUMNS = (
    Column(key="species", title="Species", kind="name"),
    Column(key="detections", title="Detections", kind="count"),
    Column(key="sequences", title="Sequences", kind="count"),
    Column(key="individuals_max", title="Most at once", kind="count"),
    Column(key="sites", title="Sites", kind="count"),
    Column(key="rate", title="Rate", kind="rate", unit=_PER),
    Column(key="low", title="From", kind="rate", unit=_PER),
    Column(key="high", title="To", kind="rate", unit=_PER),
    Column(key="exact_low", title="Exact Poisson from", kind="rate", unit=_PER),
    Column(key="exact_high", title="Exact Poisson to", kind="rate", unit=_PER),
    Column(key="first", title="First seen", kind="date"),
    Column(key="last", title="Last seen", kind="date"),
)
# Where part of the time is open: the rate with all of it watched, and with none.
BOTH_ENDS = (
    Column(key="rate_if_all", title="Rate if all open time was watched", kind="rate", unit=_PER),
    Column(key="rate_if_none", title="Rate if none of it was", kind="rate", unit=_PER),
)
CARRIED_TOLD = 1.02  # ours: fewer than so many times the detections found are not worth telling
_FEW_WEEKS = (
    "Where a species came often but in too few weeks to tell how its detections run, the exact Poisson limits are shown; "  # noqa: E501
    "they hold only if animals come singly."
)
_METHOD = (
    "Observations of one species at one site closer than the chosen interval are one detection. Rate = detections "
    "over camera-days, times 100. The interval is Garwood's (1936) and a log-scale one, the wider at each end, for "
    "detections that come in runs: how the weeks of each site scatter about the site's own rate is measured, sums first "
    "(quasi-Poisson, McCullagh & Nelder 1989; constants ours). None seen: fewer than three visits (Hanley & "
    "Lippman-Hand 1983), each of as many detections as one of its runs. The exact Poisson limits (Garwood 1936) beside "
    "it hold only if animals come singly."
)
_HERE = "An interval speaks of these very sites in this time, not of others like them."


def answer(evidence: Evidence, filter: Filter = _ALL) -> Finding:
    """Which species come here: detections, rate per 100 camera-days with limits, first and last seen.

    Returns a Finding. With exactly one species asked for, `value` is its rate per 100 camera-days; else it is
    the number of species said, which is a count of what was seen and has no interval.
    Raises NotEnoughEvidence when no camera watched.
    """
    selection, found, worked = asking.prepare(evidence, filter, counts_do=True)
    names = evidence.names_for(filter)
    keys = sorted({p.species for p in found} | set(filter.species))
    by_species: dict[str, list[Detection]] = {key: [] for key in keys}
    for detection in found:
        by_species[detection.species].append(detection)
    reviewed = Reviewed(selection)
    measured = {
        key: asking.rate_of(
            selection,
            worked,
            by_species[key],
            reviewed,
            of=frozenset({key}),
            elsewhere=None if by_species[key] else asking.scatter_elsewhere(evidence, filter, key),
        )
        for key in keys
    }
    table = [_row(selection, key, names.get(key, key), by_species[key], measured[key]) for key in keys]
    table.sort(key=_by_rate)
    seen = [row for row in table if row["detections"]]

    cautions = shared.cautions_of(selection, found, reviewed)
    if worked.proven_days < rates.FEWEST_DAYS:
        cautions.append(
            "Cameras are known to have watched for less than a day in all: detections are counted, but no rate is told."
        )
    if worked.camera_days < 30:
        cautions.append(
            f"Only {wording.number(worked.camera_days)} camera-days: a species that is there may well not have come by."
        )
    if any(row["interval_kind"] == rates.SINGLY for row in seen):
        cautions.append(_FEW_WEEKS)

    single = measured[keys[0]] if len(filter.species) == 1 else None
    if single is not None:
        sentence = _sentence_of_one(wording.capital(names.get(keys[0], keys[0])), single, worked)
    else:
        sentence = _sentence_of_all(seen, worked)
    return Finding(
        kind="what-comes",
        question="What comes here?",
        sentence=sentence,
        value=single.value if single else float(len(seen)),
        unit=f"detections per 100 {shared.days_noun(worked)}" if single else "species",
        interval=single.shown if single else None,
        other_intervals=single.others if single else (),
        effort=worked.to_dict(),
        filter=filter.to_dict(),
        filter_sentence=shared.sentence(selection),
        method=f"{_METHOD} {single.why}" if single else _METHOD,
        assumptions=(
            shared.WATCHED,
            shared.STEADY_DETECTION,
            shared.NOT_NUMBERS,
            _HERE,
            shared.SHORT_RUNS,
            "A species that is not listed was not seen; that does not show it is absent.",
        ),
        cautions=tuple(cautions),
        columns=_columns(measured.values()) if not worked.doubled else shared.of_site_days(_columns(measured.values())),
        rows=tuple(table),
        made=__version__,
        **asking.opened(found),
    )


def _columns(measured: Iterable[rates.Rate]) -> tuple[Column, ...]:
    """The table's columns; both ends of the rate only where it matters that part of the time is open."""
    if not any(rate.days.open and rate.both_ends for rate in measured):
        return COLUMNS
    at = [column.key for column in COLUMNS].index("exact_low")
    return (*COLUMNS[:at], *BOTH_ENDS, *COLUMNS[at:])


def _by_rate(row: Mapping[str, Any]) -> tuple[bool, float, int, str, str]:
    """A kind stands by its rate, in which what waits for review counts; those without one last, by their count."""
    rate = row["rate"]
    return rate is None, -(rate or 0.0), -row["detections"], row["species"].lower(), row["species_key"]


def _row(selection: Selection, key: str, name: str, own: Sequence[Detection], rate: rates.Rate) -> dict[str, Any]:
    zone = selection.reserve.zone
    per_site = Counter(p.site for p in own)
    return {
        "species": name,
        "species_key": key,
        "detections": len(own),
        "sequences": sum(len(p.sequences) for p in own),
        "individuals_max": max((p.count for p in own), default=0),
        "sites": len({p.site for p in own}),
        "rate": rate.value,
        "low": rate.shown.low if rate.shown else None,
        "high": rate.shown.high if rate.shown else None,
        "level": rate.shown.level if rate.shown else None,
        "interval_kind": rate.shown.kind if rate.shown else None,
        "rate_if_all": rate.both_ends[0] if rate.both_ends else None,
        "rate_if_none": rate.both_ends[1] if rate.both_ends else None,
        "exact_low": rate.exact.low if rate.exact else None,
        "exact_high": rate.exact.high if rate.exact else None,
        "other_intervals": [interval.to_dict() for interval in rate.others],
        "why": rate.why,
        "scatter_weeks": rate.scatter.phi_seen if rate.scatter.weeks else None,
        "scatter_allowed_for": rate.scatter.phi if rate.count else None,
        "first": localtime.local_date(own[0].utc_s, zone).isoformat() if own else None,
        "last": localtime.local_date(own[-1].utc_s, zone).isoformat() if own else None,
        "by_site": {site: per_site[site] for site in selection.sites},
        "pictures": asking.opened(own)["pictures"],
        "sequence_keys": asking.opened(own)["sequences"],
    }


def _days(worked: Effort) -> str:
    return f"{wording.number(worked.site_days)} {shared.days_noun(worked)}"


def _known(worked: Effort) -> str:
    """The days that are known to have been watched."""
    known = f"{wording.number(worked.proven_days)} {shared.days_noun(worked)}"
    return known if worked.possible_days <= worked.proven_days else f"{known} known to have been watched"


def _sentence_of_one(name: str, rate: rates.Rate, worked: Effort) -> str:
    shown = rate.shown
    if rate.value is None or shown is None:
        often = wording.times(rate.count) if rate.count else "not"
        if rate.refused == "elsewhere":
            return f"{name} was seen only where no camera counts as watching, so there is no rate."
        if rate.refused == "short" or rate.days.proven < rates.FEWEST_DAYS:
            return f"{name} was seen {often} in {_known(worked)}, too short a time for a rate."
        if rate.refused == "open":
            return (
                f"{name} was seen {often}. No rate: of {wording.number(rate.days.possible)} {shared.days_noun(worked)} "
                f"only {wording.number(rate.days.proven)} are known to have been watched."
            )
        return f"{name} was seen {often}. No rate: too little of what was watched has been reviewed."
    if rate.count == 0:
        return (
            f"{name} was not seen in {_days(worked)}; the true rate is probably below "
            f"{wording.number(shown.high)} per 100 {shared.days_noun(worked)} ({wording.share(shown.level)})."
        )
    more = ""
    if rate.seen.carried > CARRIED_TOLD * rate.count:
        more = f", about {wording.number(rate.seen.carried)} times with what waits for review or could not be named"
    sentence = (
        f"{name} came by {wording.times(rate.count)} in {_days(worked)}{more}: {wording.number(rate.value)} per "
        f"100 {shared.days_noun(worked)} ({wording.between(shown.low, shown.high)}, {wording.share(shown.level)})."
    )
    if rate.days.open and rate.both_ends:
        sentence += (
            f" If cameras watched all the time of which nobody knows it is {wording.number(rate.both_ends[0])}, if none "
            f"of it {wording.number(rate.both_ends[1])}."
        )
    return sentence


def _sentence_of_all(seen: Sequence[dict[str, Any]], worked: Effort) -> str:
    if not seen:
        return f"No animal was seen in {_days(worked)}."
    top = seen[0]
    how_many = wording.plural(len(seen), "species", "species", words=True)
    sentence = (
        f"{wording.capital(how_many)} came by in {_days(worked)}. "
        f"{wording.capital(top['species'])} most often: "
        f"{wording.plural(top['detections'], 'detection')}"
    )
    if top["rate"] is None:
        sentence += ", in too short a time for a rate."
    else:
        sentence += (
            f", {wording.number(top['rate'])} per 100 {shared.days_noun(worked)} "
            f"({wording.between(top['low'], top['high'])}, {wording.share(top['level'])})."
        )
    once = [row["species"] for row in seen[1:] if row["detections"] == 1]
    if once:
        sentence += f" Seen only once: {wording.listed_at_most(once)}."
    return sentence

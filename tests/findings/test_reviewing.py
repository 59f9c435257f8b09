"""What waits for review is missing, not absent: rates carry it by the share of its site, half of the day and month."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import invented
import numpy as np
import pytest
from pytest import approx

from trod.findings import Deployment, Evidence, Filter, Observation, UnseenSequence, rates, runs
from trod.findings.detections import detections
from trod.findings.observations import ReviewOrder, select
from trod.findings.reviewing import Reviewed, carried
from trod.findings.taxa import Taxon
from trod.telling.change import answer as change
from trod.telling.what_comes import answer as what_comes

WEEKS = [7.0] * 8 + [4.0]
FOUND = [0, 6, 1, 0, 0, 0, 3, 0, 0]


def weighed(*, by_content: bool) -> rates.Weighed:
    """Ten detections of one site, each standing for two."""
    days = rates.Days.known(60.0)
    return rates.Weighed(
        site_counts=[20.0], site_efforts=[60.0], week_counts=[[2.0 * n for n in FOUND]], week_efforts=[WEEKS], days=days,
        days_if_none=days, largest=2.0, single=2.0, by_content=by_content,
    )  # fmt: skip


def test_detections_that_stand_for_two_each_against_the_worked_value() -> None:
    """Weighted blocks 0 12 2 0 0 0 6 0 0, w = 2: φ 7.66917, 12 degrees, upper end 68.2606 counts; lower end of what was
    found only (φ 3.83459) 1.39326. Fay & Feuer (1997) Statistics in Medicine 16:791–801 for the limits, from memory; the
    values were worked apart from this code.
    """
    found = rates.rate([10], [60], week_counts=[FOUND], week_efforts=[WEEKS], weighed=weighed(by_content=True))

    assert (found.scatter.phi, found.scatter.degrees) == (approx(7.66917, abs=5e-6), 12)
    assert found.shown is not None
    assert found.shown.high * 60 / 100 == approx(68.2606, abs=5e-4)
    assert found.shown.low * 60 / 100 == approx(1.39326, abs=5e-6)
    assert found.value == approx(100 * 20 / 60)
    by_time = rates.rate([10], [60], week_counts=[FOUND], week_efforts=[WEEKS], weighed=weighed(by_content=False))
    assert by_time.shown is not None
    assert by_time.shown.high == found.shown.high
    assert by_time.shown.low * 60 / 100 == approx(2 * 1.39326, abs=1e-5)


def test_where_all_is_reviewed_weights_change_nothing() -> None:
    plain = rates.rate([10], [60], week_counts=[FOUND], week_efforts=[WEEKS])
    days = rates.Days.known(60.0)
    whole = rates.Weighed(
        site_counts=[10.0], site_efforts=[60.0], week_counts=[FOUND], week_efforts=[WEEKS], days=days, days_if_none=days,
        largest=1.0, single=1.0, by_content=True,
    )  # fmt: skip
    assert rates.rate([10], [60], week_counts=[FOUND], week_efforts=[WEEKS], weighed=whole) == plain
    assert runs.scatter([[2.0 * n for n in FOUND]], [WEEKS], single=2.0).phi == approx(2 * plain.scatter.phi)


# --- from a record to its weights ------------------------------------------------------------------


def record(
    *, order: ReviewOrder = "time", later: float = 0.2, quarters: int = 4, every: int = 1, seed: int = 1
) -> Evidence:
    """Four sites of one camera each, a red deer on each `every`th night and a hare on each day, of one year; of the last
    quarter only a share is reviewed.
    """
    rng = np.random.default_rng(seed)
    begin, days = invented.utc("2025-01-01 00:00"), 91 * quarters
    observations, unseen = [], []
    for site in ("alder-ford", "elm-lick", "hay-stand", "stone-wall"):
        for day in range(days):
            for species, hour in (("red-deer", 1.0), ("hare", 12.0)):
                if species == "red-deer" and day % every:
                    continue
                at, key = begin + 86_400 * day + 3600 * hour, f"{site} {day} {species}"
                if day >= days - 91 and rng.random() > later:
                    unseen.append(UnseenSequence(sequence=key, site=site, utc_s=at))
                    continue
                observations.append(
                    Observation(sequence=key, deployment=f"{site}-1", site=site, utc_s=at, species=species, picture=key)
                )
    deployments = tuple(
        Deployment(slug=f"{site}-1", site=site, watched=((begin, begin + 86_400 * days),))
        for site in ("alder-ford", "elm-lick", "hay-stand", "stone-wall")
    )
    return Evidence(
        reserve=invented.RESERVE, deployments=deployments, observations=tuple(observations), unseen=tuple(unseen),
        review_order=order,
    )  # fmt: skip


def rate_of(evidence: Evidence, species: str = "red-deer") -> rates.Interval:
    found = what_comes(evidence, Filter(species=(species,)))
    assert found.value is not None and found.interval is not None
    return replace(found.interval, kind=str(found.value))


def test_a_last_quarter_four_fifths_unsorted_leaves_an_unchanging_rate_as_it_is() -> None:
    """One a night at four sites is 100 per 100 camera-days; counted as none it was 80."""
    told = rate_of(record())
    assert float(told.kind) == approx(100, rel=0.02)
    assert told.low < 100 < told.high


def test_kinds_stand_by_their_rates_and_not_by_what_was_counted_of_them() -> None:
    """Deer of a last quarter of which a fifth is reviewed, some 73 of 364; hares of 25 days that are, 100."""
    whole = record(later=0.2)
    begin = min(one.utc_s for one in whole.observations)
    last, first = begin + 86_400 * (364 - 91), begin + 86_400 * 25
    some = [
        one
        for one in whole.observations
        if (one.utc_s >= last if one.species == "red-deer" else one.utc_s < first - 3600)
    ]
    found = what_comes(replace(whole, observations=tuple(some)), Filter())

    assert [row["species_key"] for row in found.rows] == ["red-deer", "hare"]
    deer, hare = found.rows
    assert deer["detections"] < hare["detections"] and deer["rate"] > hare["rate"]
    assert "Red-deer most often" in found.sentence


def test_what_comes_and_change_take_what_waits_alike() -> None:
    """Month by month what-comes gives the rate of the change, value and both ends of what it was carried up to."""
    for order in ("time", "unknown", "content"):
        evidence = record(order=order, every=3)  # type: ignore[arg-type]
        asked = Filter(species=("red-deer",))
        rows = {row["month"]: row for row in change(evidence, asked).rows}
        for month, last in ((10, 31), (11, 30), (12, 31)):
            alone = replace(asked, first=date(2025, month, 1), last=date(2025, month, last))
            whole = what_comes(evidence, alone)
            assert whole.value == approx(rows[f"2025-{month}"]["rate"], rel=1e-9)
            assert rows[f"2025-{month}"]["reviewed"] < 0.5


def test_bounds_are_told_where_the_order_was_by_content_or_is_not_known() -> None:
    by_time, unknown, content = (rate_of(record(order=order)) for order in ("time", "unknown", "content"))
    assert unknown == content
    assert unknown.high == by_time.high
    assert unknown.low < 80 < by_time.low
    said = {order: what_comes(record(order=order)).cautions[0] for order in ("time", "unknown", "content")}
    assert "not recorded, so the lower end" in said["unknown"]
    assert "picked by what is in them, so the lower end" in said["content"]
    assert "lower end" not in said["time"]
    for text in said.values():
        assert "are not yet reviewed" in text and "review all of them, at " in text


def test_the_order_of_each_sequence_goes_before_that_of_the_whole_record() -> None:
    mixed = record(order="unknown")
    known = replace(mixed, observations=tuple(replace(o, reached="time") for o in mixed.observations))
    assert rate_of(known) == rate_of(record(order="time"))
    one = replace(
        known, observations=(*known.observations[:-1], replace(known.observations[-1], reached="content"))
    )  # fmt: skip
    assert Reviewed(select(one, Filter())).order == "content"


def test_months_of_a_site_of_which_nothing_was_reviewed_are_no_effort() -> None:
    evidence = record(later=0.0)
    found = what_comes(evidence, Filter(species=("red-deer",)))
    assert found.value == approx(100, rel=1e-3)
    assert found.effort["camera_days"] == approx(4 * 364)

    nothing = replace(evidence, observations=())
    told = what_comes(nothing, Filter(species=("red-deer",), species_names={"red-deer": "Red deer"}))
    assert told.value == 0  # the first three quarters are quiet and nothing of them waits
    none = record(later=0.0, quarters=1)
    told = what_comes(none, Filter(species=("red-deer",), species_names={"red-deer": "Red deer"}))
    assert told.value is None
    assert told.sentence == "Red deer was seen not. No rate: too little of what was watched has been reviewed."


def test_none_seen_in_what_was_reviewed_is_told_over_what_was_reviewed() -> None:
    """A fifth of the last quarter: 4 · (273 + 0.2 · 91) days, not 4 · 364."""
    asked = Filter(species=("lynx",), species_names={"lynx": "Lynx"})
    part = what_comes(record(), asked)
    whole = what_comes(record(later=1.0), asked)
    assert part.interval is not None and whole.interval is not None
    assert part.interval.high / whole.interval.high == approx(364 / (273 + 0.2 * 91), rel=0.02)


def test_half_of_the_day_counts_for_itself() -> None:
    """Nights a tenth reviewed, days whole: one share for both would take deer for three times as rare as they are."""
    evidence = record(later=1.0)
    nights = [o for o in evidence.observations if o.species == "red-deer"]
    waits = {o.sequence for n, o in enumerate(nights) if n % 10}
    part = replace(
        evidence,
        observations=tuple(o for o in evidence.observations if o.sequence not in waits),
        unseen=tuple(
            UnseenSequence(sequence=o.sequence, site=o.site, utc_s=o.utc_s) for o in nights if o.sequence in waits
        ),
        review_order="time",
    )
    assert float(rate_of(part).kind) == approx(100, rel=0.05)
    assert float(rate_of(part, "hare").kind) == approx(100, rel=0.001)


def test_a_site_of_which_nothing_waits_stands_for_itself_alone() -> None:
    evidence = record()
    part = replace(
        evidence, unseen=tuple(u for u in evidence.unseen if u.site != "elm-lick"),
        observations=tuple(o for o in evidence.observations if o.site == "elm-lick" or o.utc_s < 1_759_300_000),
    )  # fmt: skip
    selection = select(part, Filter(species=("red-deer",)))
    found = detections(selection.animals, 30)
    weights = carried(selection, found, Reviewed(selection)).weights
    assert all(w == 1 for w, d in zip(weights, found, strict=True) if d.site == "elm-lick")


@pytest.mark.parametrize("share", [0.2, 0.5])
def test_few_sequences_a_month_are_carried_without_bias(share: float) -> None:
    """Two sequences in a site's month, reviewed by chance: a cell of one holds all or nothing, and those found would
    stand for themselves alone. Mean of 60 records within three standard errors of the truth.
    """
    told = []
    for seed in range(60):
        evidence = record(later=1.0, every=15, seed=seed)
        deer = [o for o in evidence.observations if o.species == "red-deer"]
        rng = np.random.default_rng(seed)
        kept = {o.sequence for o in deer if rng.random() < share}
        part = replace(
            evidence,
            observations=tuple(o for o in deer if o.sequence in kept),
            unseen=tuple(
                UnseenSequence(sequence=o.sequence, site=o.site, utc_s=o.utc_s) for o in deer if o.sequence not in kept
            ),
            review_order="time",
        )
        told.append(float(what_comes(part, Filter(species=("red-deer",))).value or 0.0))
    truth = 100 * 25 / 364
    assert abs(np.mean(told) - truth) < 3 * np.std(told) / np.sqrt(60) + 0.03 * truth


# --- animals that nobody could name ----------------------------------------------------------------


def test_animals_that_nobody_could_name_enter_by_their_share_of_the_month() -> None:
    """One in four sequences with an animal could not be told: those told stand for 4/3 each."""
    evidence = record(later=1.0)
    blurred = tuple(
        replace(o, what="unknown", species="", species_name="") if n % 4 == 0 else o
        for n, o in enumerate(sorted(evidence.observations, key=lambda o: (o.species, o.utc_s, o.site)))
    )
    told = what_comes(replace(evidence, observations=blurred), Filter(species=("red-deer",)))
    assert told.value == approx(100, rel=0.01)
    assert any("taken to be like those of the month that could" in caution for caution in told.cautions)
    assert "about " in told.sentence and "could not be named" in told.sentence


def test_a_species_stands_for_the_same_whether_asked_for_alone_or_among_all() -> None:
    """Deer of unknown kind may be red deer, and never hares."""
    kinds = (
        Taxon(key="deer", name="Deer", rank="family"),
        Taxon(key="red-deer", name="Red deer", rank="species", parent="deer"),
        Taxon(key="hare", name="Hare", rank="species"),
    )
    evidence = record(later=1.0)
    vague = tuple(
        replace(o, species="deer", species_name="Deer") if o.species == "red-deer" and n % 5 == 0 else o
        for n, o in enumerate(evidence.observations)
    )
    known = replace(evidence, observations=vague, taxa=kinds)
    rows = {row["species_key"]: row["rate"] for row in what_comes(known).rows}
    for key in ("red-deer", "hare"):
        assert what_comes(known, Filter(species=(key,))).value == approx(rows[key])
    assert rows["hare"] == approx(100)
    assert rows["red-deer"] > 100 * sum(o.species == "red-deer" for o in vague) / (4 * 364)

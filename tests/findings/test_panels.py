"""Parts of a record side by side: which are drawn, and what is known of the others."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from years import left_unreviewed, reserve_of

from trod.errors import NotEnoughEvidence
from trod.findings import Deployment, Evidence, Filter, Site
from trod.findings.panels import Panel, alone, months_of, panels, top_of

DEER = Filter(species=("red-deer",))


@pytest.fixture(scope="module")
def record() -> Evidence:
    """Eight sites of three years; s7 has four deer alone, s6 none, s9 was never watched."""
    whole = reserve_of(a_month=3, seed=5)
    few = [o for o in whole.observations if o.site == "s7"][:4]
    seen = [o for o in whole.observations if o.site not in ("s6", "s7")]
    bare = Site(slug="s9", name="S9", latitude_deg=47.3, longitude_deg=12.8)
    return replace(whole, sites=(*whole.sites, bare), observations=(*seen, *few))


def by_key(found: tuple[Panel, ...]) -> dict[str, Panel]:
    return {panel.key: panel for panel in found}


def test_every_site_has_its_part_and_thin_ones_are_not_drawn(record: Evidence) -> None:
    own = by_key(panels(record, DEER, by="site", show="months").panels)

    assert list(own) == [f"s{n}" for n in range(8)]
    assert {key: own[key].state for key in ("s0", "s6", "s7")} == {"s0": "drawn", "s6": "none", "s7": "few"}
    assert own["s7"].months == () and len(own["s7"].found) == 4
    # Hanley & Lippman-Hand (1983): 2.9957 runs in these days, each as large as in all of the record.
    assert own["s6"].most_if_none is not None
    assert own["s6"].most_if_none * own["s6"].days / 100 == pytest.approx(2.9957, rel=0.5)
    assert own["s6"].most_if_none * own["s6"].days / 100 >= 2.9957


def test_a_site_asked_for_that_was_never_watched_has_a_part_that_says_so(record: Evidence) -> None:
    own = by_key(panels(record, replace(DEER, sites=("s0", "s9")), by="site", show="months").panels)

    assert own["s9"].state == "unwatched" and own["s9"].days == 0
    with pytest.raises(NotEnoughEvidence):
        panels(record, replace(DEER, sites=("s9",)), by="site", show="months")


def test_none_seen_tells_no_limit_while_something_waits(record: Evidence) -> None:
    waits = left_unreviewed(reserve_of(a_month=3, seed=5), since="2023-01-01 00:00", share=1.1)
    own = by_key(panels(waits, DEER, by="site", show="months").panels)

    assert all(panel.state == "none" and panel.most_if_none is None and panel.waiting for panel in own.values())


def test_the_parts_of_a_year_hold_together_all_of_it(record: Evidence) -> None:
    known = panels(record, DEER, by="year", show="months")

    assert [panel.key for panel in known.panels] == ["2025", "2024", "2023"]
    assert sum(len(panel.found) for panel in known.panels) == len(known.found)
    assert sum(panel.days for panel in known.panels) == pytest.approx(known.worked.site_days)
    assert [row.month.year for panel in known.panels for row in panel.months] == [2025] * 12 + [2024] * 12 + [2023] * 12


def test_a_season_is_cut_to_the_days_asked_for(record: Evidence) -> None:
    asked = replace(DEER, first=date(2024, 4, 1), last=date(2024, 7, 15))
    known = panels(record, asked, by="season", show="months")
    filters = alone(known)

    assert [panel.name for panel in known.panels] == ["Summer 2024", "Spring 2024"]
    assert (filters["2024-03"].first, filters["2024-06"].last) == (date(2024, 4, 1), date(2024, 7, 15))


def test_one_scale_holds_every_rate_and_cuts_what_goes_far_beyond(record: Evidence) -> None:
    known = panels(record, DEER, by="site", show="months")
    rates = [row.rate for panel in known.panels for row in panel.months if row.rate is not None]

    assert max(rates) <= top_of(known) <= 2 * max(rates)
    assert months_of(known)[0] == date(2023, 1, 1) and len(months_of(known)) == 36


def test_curves_are_those_of_the_part_alone_and_few_days_are_refused(record: Evidence) -> None:
    start = 1672531200.0
    together = tuple(
        replace(o, utc_s=start + 3600 * n, end_s=0.0, sequence=f"t{n}")
        for n, o in enumerate([o for o in record.observations if o.site == "s0"][:12])
    )
    others = tuple(o for o in record.observations if o.site != "s0")
    own = by_key(panels(replace(record, observations=(*others, *together)), DEER, by="site", show="hours").panels)

    assert own["s0"].state == "refused" and own["s0"].why is not None
    drawn = own["s1"].curve
    assert drawn is not None and drawn.n == len(own["s1"].found)
    assert float(drawn.density.sum()) * 24 / 288 == pytest.approx(1.0, abs=1e-6)


def test_open_cameras_alone_are_no_watched_part() -> None:
    bare = reserve_of(a_month=3, seed=5)
    short = tuple(
        Deployment(slug=d.slug, site=d.site, watched=((d.watched[0][0], d.watched[0][0] + 3600),))
        if d.site == "s0"
        else d
        for d in bare.deployments
    )
    own = by_key(panels(replace(bare, deployments=short), DEER, by="site", show="months").panels)

    assert own["s0"].state == "unwatched"

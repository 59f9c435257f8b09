"""What a report says, gathered once."""

from __future__ import annotations

from datetime import date

import invented
import pytest

from trod.errors import NotEnoughEvidence
from trod.findings import Filter
from trod.leaving.sites import fit_evidence
from trod.report.contents import Condition, findings_of, gather

YEAR = invented.year()


def condition(day: int, site: str = "alder-ford") -> Condition:
    return Condition(site=site, camera="Meadowlark M1 / 0001", when=date(2025, 5, day), what=f"day {day}")


def test_a_report_answers_all_questions_of_the_most_frequent_species() -> None:
    data = gather(fit_evidence(YEAR), Filter(), most_species=2)

    assert [part.name for part in data.species] == ["Red deer", "Wild boar"]
    assert [f.kind for f in findings_of(data)] == ["what-comes", "when", "change", "when", "change"]
    assert data.period == "1 March 2025 to 1 March 2026"
    assert len(data.cautions) == len(set(data.cautions))


def test_a_species_with_too_few_detections_says_why_it_has_no_curve() -> None:
    data = gather(fit_evidence(YEAR), Filter(species=("pine-marten",)))
    part = data.species[0]

    assert part.when is None
    assert part.why_no_when.startswith("4 detections; a pattern over the day needs at least 10")
    assert part.why_no_when.endswith(".")


def test_the_effort_table_has_every_site_with_its_gaps_and_reasons() -> None:
    data = gather(fit_evidence(YEAR), Filter())
    ford = data.sites[0]

    assert [line.site.name for line in data.sites] == sorted(line.site.name for line in data.sites)
    assert (ford.number, ford.site.slug, ford.gap_days) == (1, "alder-ford", pytest.approx(4.0))
    assert ford.reasons == (("batteries empty", pytest.approx(4.0)),)
    assert [kind for *_, kind in ford.bar] == ["watched", "gap", "watched"]
    assert all(0 <= a <= b <= 1 for line in data.sites for a, b, _ in line.bar)
    assert sum(line.camera_days for line in data.sites) == pytest.approx(data.effort.camera_days)


def test_only_conditions_of_the_period_and_sites_are_kept_in_order() -> None:
    asked = Filter(sites=("alder-ford",), first=date(2025, 5, 2), last=date(2025, 5, 9))
    data = gather(
        fit_evidence(YEAR), asked, conditions=[condition(9), condition(3), condition(1), condition(4, "elm-lick")]
    )

    assert [c.what for c in data.conditions] == ["day 3", "day 9"]


def test_a_period_without_cameras_gives_no_report() -> None:
    with pytest.raises(NotEnoughEvidence, match="no camera watched in the time and at the sites asked for"):
        gather(fit_evidence(YEAR), Filter(first=date(2001, 1, 1), last=date(2001, 2, 1)))

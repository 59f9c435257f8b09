"""What of the records proves when a camera watched."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import asked
import pytest
import sequenced

from trod.catalogue.answers import evidence, summary
from trod.catalogue.models import Deployment, Import, Incident, Picture, Sequence, Silence, Visit, WalkTest
from trod.catalogue.models.sums import mark_dirty
from trod.catalogue.papers import ledger
from trod.catalogue.rows import rollups
from trod.findings.watching import Watching

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()


def line_of(deployment: Deployment) -> Watching:
    """As the questions, the pages and the worker's sums see it; all three are the same."""
    reserve = deployment.site.reserve
    evidence.forget()
    found = evidence.gather(reserve).pieces[deployment.slug].line
    assert found is not None
    summary._known.clear()
    assert summary.summaries([deployment], reserve)[deployment.pk].proven_days == pytest.approx(found.proven_days)
    rollups.refresh(deployment)
    row = rollups.kept([deployment.pk], reserve.zone)[deployment.pk]
    text = rollups.lines([deployment.pk])[deployment.pk]
    rests = rollups.rests_on([deployment], reserve.zone)[deployment.pk]
    assert rollups.is_kept(rests, row, text)
    assert rollups.from_text(text)[1] == found
    return found


def one_sequence(made: sequenced.Ground, at: Any, **facts: Any) -> Deployment:
    """A deployment of 40 days of whose pictures nothing is left but one sequence."""
    deployment = made.deployments[1]
    Sequence.objects.filter(deployment=deployment).delete()
    Picture.objects.filter(deployment=deployment).delete()
    Visit.objects.filter(deployment=deployment).delete()
    sequenced.sequence(made, 900, deployment=deployment, at=at)
    Picture.objects.filter(deployment=deployment).update(**facts)
    return deployment


def test_a_card_with_one_sequence_gives_seconds_of_effort_and_no_million_per_100_days(made: Any) -> None:
    line = line_of(one_sequence(made, asked.START + 3 * DAY))
    assert line.proven_days == pytest.approx(8 / 86_400)
    assert line.days < 1 / 24
    assert line.lost_days == 0
    assert line.possible_days == pytest.approx(40 + 1 / 24)


def test_the_date_of_a_file_is_no_sign_of_life(made: Any) -> None:
    deployment = made.deployments[1]
    before = line_of(deployment)
    assert before.proven_days > 30
    Picture.objects.filter(deployment=deployment).update(time_from="file")
    mark_dirty([deployment.pk])
    after = line_of(deployment)
    assert (after.proven_days, after.days) == (0, 0)
    assert after.possible_days == pytest.approx(before.possible_days)

    own = Picture.objects.filter(deployment=deployment).order_by("taken_at")
    Picture.objects.filter(pk__in=[own[0].pk, own[4].pk]).update(time_from="exif")
    mark_dirty([deployment.pk])
    assert line_of(deployment).proven_days == pytest.approx((own[4].taken_at - own[0].taken_at) / DAY)


def test_a_picture_later_than_the_visit_that_took_its_card_out_proves_nothing(made: Any) -> None:
    deployment = made.deployments[1]
    card_import = Import.objects.get(deployment=deployment)
    card = card_import.card or sequenced_card(card_import)
    Visit.objects.create(site=deployment.site, deployment=deployment, at=asked.START + 10 * DAY, card_out=card)
    line = line_of(deployment)
    last = asked.START + 8 * DAY + timedelta(hours=1, seconds=8)
    assert line.watched[-1].to_s == last.timestamp()

    Visit.objects.update(card_out=None)
    assert line_of(deployment).watched[-1].to_s > last.timestamp() + 20 * 86_400


def sequenced_card(card_import: Import) -> Any:
    from trod.catalogue.models import Card

    card = Card.objects.create(label="C-77")
    Import.objects.filter(pk=card_import.pk).update(card=card)
    return card


def test_a_picture_later_than_its_import_proves_nothing(made: Any) -> None:
    """A clock that runs ahead: nothing later than now is known."""
    deployment = made.deployments[1]
    Import.objects.filter(deployment=deployment).update(
        started_at=asked.START + 20 * DAY, finished_at=asked.START + 20 * DAY
    )
    line = line_of(deployment)
    assert line.watched[-1].to_s <= (asked.START + 20 * DAY).timestamp()


def test_an_incident_by_which_it_stopped_leaves_open_since_when_and_a_theft_is_the_end(made: Any) -> None:
    deployment = made.deployments[1]
    last = line_of(deployment).watched[-1].to_s
    found = (asked.START + 39 * DAY).date()
    incident = Incident.objects.create(site=deployment.site, deployment=deployment, found_on=found, kind="fault")
    line = line_of(deployment)
    assert [one.reason for one in line.open][-2:] == [
        "stopped at some time before it was found not working",
        "no sign of life at all",
    ]
    Incident.objects.filter(pk=incident.pk).update(kind="theft")
    line = line_of(deployment)
    assert [one.reason for one in line.lost] == ["the camera was gone"]
    assert line.open[-1].from_s == last
    Incident.objects.filter(pk=incident.pk).update(stopped=False)
    assert line_of(deployment).lost == ()


def test_a_walk_that_made_a_picture_proves_that_it_worked_and_one_that_made_none_does_not(made: Any) -> None:
    deployment = made.deployments[1]
    before = line_of(deployment)
    at = asked.START + 39 * DAY
    walk = WalkTest.objects.create(deployment=deployment, at=at, walks=[{"offset_m": 3, "got": "nothing"}])
    assert line_of(deployment) == before
    WalkTest.objects.filter(pk=walk.pk).update(walks=[{"offset_m": 3, "got": "nothing"}, {"offset_m": 2, "got": "part"}])
    assert line_of(deployment).watched[-1].to_s == at.timestamp()


def test_a_decision_stands_is_undone_and_outlives_a_rebuild(made: Any) -> None:
    deployment = made.deployments[1]
    before = line_of(deployment)
    silence = before.open[-1]
    said = Silence.objects.create(
        deployment=deployment,
        from_at=datetime.fromtimestamp(silence.from_s, UTC),
        to_at=datetime.fromtimestamp(silence.to_s, UTC),
        watched=True,
        by="Ilka Marwood",
        at=asked.START + 50 * DAY,
    )
    assert line_of(deployment).watched[-1].to_s == silence.to_s
    kept = ledger.dump_sidecar(deployment)["silences"]
    assert [(row["watched"], row["by"]) for row in kept] == [(True, "Ilka Marwood")]

    said.undone_at, said.undone_by = asked.START + 51 * DAY, "Tobin Achterfeld"
    said.save()
    assert line_of(deployment) == before

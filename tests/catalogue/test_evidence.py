"""From rows to evidence: complete, in a fixed number of queries, and the same after a rebuild."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import asked
import pytest
import sequenced
from django.db import connection
from django.test.utils import CaptureQueriesContext

from trod.catalogue.answers import evidence
from trod.catalogue.models import Deployment, Identification, Observation, Sequence, Species, Visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()


def test_what_people_said_comes_as_observations_and_what_nobody_saw_as_unseen(made):
    found = evidence.evidence(made.reserve)

    assert len(found.observations) == 28 + 10 + 1 + 2
    assert len(found.unseen) == 1
    deer = [s for s in found.observations if s.species == "red-deer"]
    assert len(deer) == 29 and {s.species_name for s in deer} == {"Red deer"}
    assert all(s.picture == Sequence.objects.get(key=s.sequence).key[-64:] for s in deer)
    person = next(s for s in found.observations if s.what == "human")
    assert person.species == ""


def test_of_a_camera_found_without_power_nobody_knows_since_when(made):
    found = evidence.evidence(made.reserve)
    first = next(d for d in found.deployments if d.site == "alder-ford")

    gap = next(g for g in first.open if g.reason == "stopped at some time before it was found not working")
    last_picture = asked.START + timedelta(days=27, minutes=7 * 27, seconds=8)
    assert gap.start_s == last_picture.timestamp()
    assert gap.end_s == (asked.START + timedelta(days=30)).timestamp()


def test_days_whose_card_has_not_come_home_are_no_effort(made):
    deployment = made.deployments[1]
    Deployment.objects.filter(pk=deployment.pk).update(end=None)

    found = evidence.evidence(made.reserve)

    stood = next(d for d in found.deployments if d.site == "grey-lick")
    last = Sequence.objects.filter(deployment=deployment).latest("end_at").end_at
    assert stood.watched[-1][1] == last.timestamp()
    assert stood.gaps == ()


def test_time_lapse_frames_prove_that_the_camera_worked_and_are_no_detection(made):
    deployment = made.deployments[0]
    Deployment.objects.filter(pk=deployment.pk).update(time_lapse_h=24)
    for day in range(40):
        frame = sequenced.sequence(
            made, 500 + day, deployment=deployment, at=asked.START + timedelta(days=day, hours=10), frames=1
        )
        Sequence.objects.filter(pk=frame.pk).update(time_lapse=True)

    found = evidence.evidence(made.reserve)

    first = next(d for d in found.deployments if d.site == "alder-ford")
    assert len(found.unseen) == 1
    assert sum(b - a for a, b in first.watched) / 86_400 > 37


def test_a_new_word_an_undone_one_and_a_new_name_are_seen_at_once(made):
    before = evidence.gather(made.reserve)
    unseen = Sequence.objects.get(identification__isnull=True)

    identification = asked.say(unseen, species=made.species["Badger"])
    after = evidence.gather(made.reserve)
    assert after.stamp != before.stamp
    assert [s.species for s in after.evidence.observations if s.sequence == unseen.key] == ["badger"]

    Sequence.objects.filter(pk=unseen.pk).update(identification=None)
    Identification.objects.filter(pk=identification.pk).update(undone_by="Ilka Marwood")
    assert evidence.gather(made.reserve).stamp == before.stamp

    Species.objects.filter(slug="red-deer").update(name="Great deer")
    renamed = evidence.evidence(made.reserve)
    assert renamed.species_names()["red-deer"] == "Great deer"


@pytest.mark.parametrize("change", ["visit", "shift", "end"])
def test_what_changes_the_effort_is_seen_at_once(made, change):
    before = evidence.gather(made.reserve)
    if change == "visit":
        Visit.objects.update(arrival="working")
    elif change == "shift":
        middle = Sequence.objects.filter(deployment=made.deployments[0]).order_by("start_at")[5]
        late = timedelta(minutes=3)
        Sequence.objects.filter(pk=middle.pk).update(start_at=middle.start_at + late, end_at=middle.end_at + late)
    else:
        Deployment.objects.update(end=asked.START + timedelta(days=45))

    assert evidence.gather(made.reserve).stamp != before.stamp
    assert evidence.evidence(made.reserve) != before.evidence


def test_the_number_of_queries_does_not_grow_with_sequences(made):
    with CaptureQueriesContext(connection) as few:
        evidence.gather(made.reserve)
    for number in range(200):
        sequence = sequenced.sequence(made, 1000 + number, at=asked.START + timedelta(hours=number))
        asked.say(sequence, species=made.species["Jay"])
    with CaptureQueriesContext(connection) as many:
        evidence.gather(made.reserve)

    assert len(few) == len(many) <= 14


def test_the_evidence_does_not_depend_on_the_rows_numbers(made):
    before = evidence.evidence(made.reserve)
    # The same words, written again in another order: other numbers for words and observations.
    said = [
        (e, s.what, s.species, s.count, s.identification.by)
        for s in Observation.objects.select_related("identification__sequence", "species").order_by("-pk")
        for e in [s.identification.sequence]
    ]
    Sequence.objects.update(identification=None)
    Identification.objects.all().delete()
    for sequence, what, species, count, by in said:
        sequence.refresh_from_db()
        asked.say(sequence, what, species=species, count=count, by=by)
    evidence.forget()

    assert evidence.evidence(made.reserve) == before


@pytest.mark.django_db(transaction=True)
def test_nothing_written_means_nothing_asked_and_any_write_is_noticed(trod_home):
    made = asked.catalogue(days=8)
    before = evidence.gather(made.reserve)
    with CaptureQueriesContext(connection) as queries:
        again = evidence.gather(made.reserve)
    assert again is before or connection.vendor != "sqlite"
    assert len(queries) == 0 or connection.vendor != "sqlite"

    asked.say(Sequence.objects.get(identification__isnull=True), "blank")

    assert evidence.gather(made.reserve).stamp != before.stamp

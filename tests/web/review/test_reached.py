"""How a sequence came up for review is on record: by its time in a queue, or picked by what is in it."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sequenced

from trod.archive import sidecar
from trod.catalogue import home
from trod.catalogue.answers import evidence
from trod.catalogue.identifications import identifications
from trod.catalogue.identifications.identifications import Line
from trod.catalogue.models import Identification, Sequence
from trod.catalogue.papers import ledger
from trod.findings import Filter
from trod.findings.observations import select
from trod.findings.reviewing import Reviewed

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 1, 5, 12, tzinfo=UTC)


@pytest.fixture
def ground(trod_home: Path, db: Any) -> sequenced.Ground:
    made = sequenced.ground()
    for number in range(20):
        sequenced.sequence(made, number)
    return made


def say(client: Any, sequence: Sequence, **more: Any) -> Identification:
    asked = {"act": "say", "sequence": sequence.key, "lines": [{"what": "blank"}], **more}
    answer = client.post("/review/act", json.dumps(asked), content_type="application/json")
    assert answer.status_code == 200, answer.content
    return Identification.objects.get(uuid=answer.json()["identification"])


def chosen(client: Any, sequence: Sequence) -> int | None:
    page = client.get(f"/review/{sequence.pk}").content.decode()
    found = re.search(r'id="review-data" type="application/json">(.*?)</script>', page, re.S)
    assert found
    number = json.loads(found[1])["chosen"]
    assert number in (None, sequence.pk)
    return number


def test_the_queues_of_what_waits_run_by_time_and_those_of_what_was_seen_by_content(client: Any, ground: Any) -> None:
    for number, (where, how) in enumerate(
        (("", "time"), ("which=all&sort=new", "time"), ("site=alder-ford&light=night", "time"),
         ("which=species", "content"), ("which=unknown", "content"))
    ):  # fmt: skip
        assert say(client, ground.sequences[number], queue=where).reached == how
    assert say(client, ground.sequences[9], chosen=True).reached == "content"


def test_the_page_tells_a_sequence_that_a_person_opened_from_one_that_came_up(client: Any, ground: Any) -> None:
    first, second, _, fourth = ground.sequences[:4]
    assert chosen(client, first) is None  # the first of the queue
    assert chosen(client, fourth) == fourth.pk
    say(client, first)
    assert chosen(client, second) is None  # comes next
    say(client, fourth, chosen=True)
    assert chosen(client, ground.sequences[4]) is None
    assert chosen(client, fourth) is None  # reviewed already


def test_the_first_review_tells_how_a_sequence_came_up_and_a_correction_does_not(client: Any, ground: Any) -> None:
    one = ground.sequences[0]
    first = say(client, one)
    assert say(client, one, chosen=True, saw=str(first.uuid)).reached == "time"
    for _ in range(2):
        client.post("/review/act", json.dumps({"act": "undo"}), content_type="application/json")
    assert say(client, one, chosen=True).reached == "content"


def test_it_stands_in_the_archive_and_comes_back(client: Any, ground: Any) -> None:
    one = ground.sequences[0]
    said = say(client, one, chosen=True)
    folder = home.archive_root() / ledger.deployment_folder(one.deployment)
    lines = [json.loads(line) for line in (folder / sidecar.IDENTIFICATIONS).read_text("utf-8").splitlines()]
    assert [line.get("reached") for line in lines] == ["content"]

    Identification.objects.all().delete()
    identifications.replay(lines)
    assert Identification.objects.get(uuid=said.uuid).reached == "content"
    Identification.objects.all().delete()
    identifications.replay([{**lines[0], "reached": "by a model from elsewhere"}])
    assert Identification.objects.get(uuid=said.uuid).reached == ""


def test_questions_know_the_order_of_what_was_reviewed_in_part(client: Any, ground: Any) -> None:
    deer = [Line(what="animal", species="red-deer")]

    def order() -> str:
        evidence.forget()
        return Reviewed(select(evidence.evidence(ground.reserve), Filter())).order

    for number in range(4):
        at = NOON + timedelta(minutes=number)
        identifications.say(ground.sequences[number], deer, by="Ilka Marwood", at=at, reached="time")
    assert order() == "time"
    identifications.say(ground.sequences[5], deer, by="Ilka Marwood", at=NOON)
    assert order() == "unknown"
    identifications.say(ground.sequences[7], deer, by="Ilka Marwood", at=NOON, reached="content")
    assert order() == "content"

"""A kept question tells what changed since it was answered, and why."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import asked
import pytest
import sequenced
from asked import text_of
from django.test import Client
from django.utils import timezone

from trod.catalogue import models as m
from trod.catalogue.papers import ledger


@pytest.fixture
def kept(client: Client, made: sequenced.Ground) -> m.Question:
    client.post("/questions/keep", {"kind": "what-comes", "query": "species=red-fox", "title": "Foxes"})
    question = m.Question.objects.get()
    # Kept after all that the ground holds, before all that a test does now.
    question.findings.update(at=timezone.now() - timedelta(minutes=5))
    m.Import.objects.update(
        started_at=timezone.now() - timedelta(days=30), finished_at=timezone.now() - timedelta(days=30)
    )
    return question


def page_of(client: Client, question: m.Question) -> str:
    return text_of(client.get(f"/questions/kept/{question.uuid}"))


def say_now(sequence: Any, what: str = "animal", **more: Any) -> None:
    """An identification of this moment."""
    said = asked.say(sequence, what, **more)
    m.Identification.objects.filter(pk=said.pk).update(at=timezone.now())


def test_an_unchanged_record_says_so_and_tells_no_reason(client: Client, kept: m.Question) -> None:
    page = page_of(client, kept)

    assert "Asked again now, the answer is that of" in page
    assert "What happened since" not in page and "What differs" not in page


def test_a_sequence_reviewed_since_is_told_as_reviewed(client: Client, kept: m.Question, made: sequenced.Ground) -> None:
    waits = m.Sequence.objects.get(identification__isnull=True)
    say_now(waits, species=made.species["Red fox"])
    page = page_of(client, kept)

    assert "the answer is not that of" in page
    assert "1 sequence that was waiting for review is identified now." in page
    assert "Detections 10 11" in page and "Sequences waiting for review 1 0" in page
    assert "What differs is what is known, not what lived there." in page
    assert "corrected or taken back" not in page


def test_a_review_that_found_nothing_is_told_for_it_moves_the_rate(client: Client, kept: m.Question) -> None:
    say_now(m.Sequence.objects.get(identification__isnull=True), "blank")
    page = page_of(client, kept)

    assert "1 sequence reviewed since holds nothing of what is asked" in page
    assert "Neither new pictures" not in page and "is identified now" not in page


def test_what_happened_at_other_sites_is_no_reason(client: Client, made: sequenced.Ground) -> None:
    client.post("/questions/keep", {"kind": "what-comes", "query": "species=red-deer&site=alder-ford", "title": "Deer"})
    question = m.Question.objects.get()
    say_now(m.Sequence.objects.get(identification__isnull=True), "blank")  # at Grey Lick

    assert "What happened since" not in page_of(client, question)


def test_a_corrected_identification_is_told_as_corrected(
    client: Client, kept: m.Question, made: sequenced.Ground
) -> None:
    fox = m.Sequence.objects.filter(identification__observations__species=made.species["Red fox"]).first()
    say_now(fox, "blank")
    page = page_of(client, kept)

    assert "1 sequence came into it or went out of it as identifications were corrected or taken back." in page
    assert "Detections 10 9" in page and "is identified now" not in page


def test_a_card_imported_since_is_told_as_new_pictures(client: Client, kept: m.Question, made: sequenced.Ground) -> None:
    new = sequenced.sequence(made, 900, deployment=made.deployments[1], at=asked.START + timedelta(days=2, hours=9))
    fresh = m.Import.objects.create(
        name="fresh", folder="x/fresh", deployment=made.deployments[1], source="card", started_at=timezone.now()
    )
    m.Picture.objects.create(sha256="f" * 64, path="x/fresh/1.jpg", card_import=fresh, sequence=new, size_bytes=1)
    say_now(new, species=made.species["Red fox"])

    assert "1 sequence of cards or records imported since is in it now." in page_of(client, kept)


def test_another_setting_and_a_decided_silence_count(client: Client, kept: m.Question, made: sequenced.Ground) -> None:
    made.reserve.yearly_allowance_percent = 35
    made.reserve.save()
    m.Silence.objects.create(
        deployment=made.deployments[0], watched=True, at=timezone.now(), by="Ilka Marwood",
        from_at=asked.START + timedelta(days=29), to_at=asked.START + timedelta(days=31),
    )  # fmt: skip
    page = page_of(client, kept)

    assert "A setting is another: how much good and bad years differ was 0.2, now it is 0.35." in page
    assert "1 silence was decided since" in page


def test_an_answer_kept_before_this_was_told_opens_all_the_same(client: Client, kept: m.Question) -> None:
    finding = kept.findings.get()
    del finding.result["basis"]
    finding.save()

    assert "Since then" in page_of(client, kept)


def test_opening_keeps_nothing(client: Client, kept: m.Question, made: sequenced.Ground) -> None:
    say_now(m.Sequence.objects.get(identification__isnull=True), species=made.species["Red fox"])
    page_of(client, kept)

    assert kept.findings.count() == 1
    client.post(f"/questions/kept/{kept.uuid}/again")
    assert kept.findings.count() == 2
    assert "Asked again now, the answer is that of" in page_of(client, kept)


def test_what_an_answer_rested_on_stands_in_the_archives_papers(client: Client, kept: m.Question) -> None:
    (row,) = ledger.dump_ledger()["findings"]
    assert row["result"]["basis"] == kept.findings.get().result["basis"]
    assert row["result"]["basis"]["waiting"] == 1

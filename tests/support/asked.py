"""An invented catalogue to ask of: sequences with words, one unseen, a person, a gap, a sensitive site."""

from __future__ import annotations

import html
import re
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import sequenced
from click.testing import CliRunner

START = datetime(2026, 1, 5, 2, 0, tzinfo=UTC)


def trod(*words: str) -> Any:
    """A command, run here."""
    from trod.commands import main

    return CliRunner().invoke(main, words, catch_exceptions=False)


def text_of(answer: Any) -> str:
    """What a page says, in one line."""
    assert answer.status_code == 200, answer.content[:400]
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))


def say(sequence: Any, what: str = "animal", *, species: Any = None, count: int = 1, by: str = "Ilka Marwood") -> Any:
    """Let somebody say something of a sequence; the word stands."""
    from trod.catalogue import models as m

    identification = m.Identification.objects.create(
        uuid=uuid.uuid5(uuid.NAMESPACE_OID, f"{sequence.key}{what}{species}"),
        sequence=sequence,
        by=by,
        at=sequence.end_at,
    )
    m.Observation.objects.create(identification=identification, what=what, species=species, count=count)
    sequence.identification = identification
    sequence.save(update_fields=["identification"])
    return identification


def catalogue(days: int = 40) -> sequenced.Ground:
    """Two sites, the second sensitive. One red deer a day at the first, a fox every fourth day at the second,
    a person and an unseen sequence a week in; the first camera was found without power on day 30.
    """
    from trod.catalogue import models as m
    from trod.catalogue.answers import answers, evidence

    evidence.forget()
    answers.forget()
    made = sequenced.ground(sites=2)
    made.sites[1].sensitive = True
    made.sites[1].save()
    end = START + timedelta(days=days)
    for d in made.deployments:
        d.start, d.end = START - timedelta(hours=1), end
        d.save()
        d.card_import.started_at = d.card_import.finished_at = end + timedelta(hours=2)
        d.card_import.save()
    first, second = made.deployments
    number = 0

    def sequence(deployment: Any, at: datetime) -> Any:
        nonlocal number
        number += 1
        return sequenced.sequence(made, number, deployment=deployment, at=at)

    for day in range(days):
        if day < 28:
            say(
                sequence(first, START + timedelta(days=day, minutes=97 * day % 486)),
                species=made.species["Red deer"],
                count=2,
            )
        if day % 4 == 0:
            say(sequence(second, START + timedelta(days=day, hours=1)), species=made.species["Red fox"])
    # Twenty minutes after the first deer: the same detection.
    say(sequence(first, START + timedelta(minutes=20)), species=made.species["Red deer"], count=3)
    say(sequence(first, START + timedelta(days=7, hours=9)), "human")
    say(sequence(first, START + timedelta(days=8, hours=9)), "blank")
    sequence(second, START + timedelta(days=7, hours=10))
    m.Visit.objects.create(
        site=made.sites[0],
        deployment=first,
        at=START + timedelta(days=30),
        by="Tobin Achterfeld",
        arrival="dead",
    )
    return made

"""An invented catalogue to ask of: events with words, one unseen, a person, a gap, a sensitive site."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

import eventful

START = datetime(2026, 1, 5, 2, 0, tzinfo=UTC)


def say(
    event: Any, what: str = "animal", *, species: Any = None, count: int = 1, by: str = "Ilka Marwood"
) -> Any:
    """Let somebody say something of an event; the word stands."""
    from trod.web import models as m

    word = m.Word.objects.create(
        uuid=uuid.uuid5(uuid.NAMESPACE_OID, f"{event.key}{what}{species}"),
        event=event,
        by=by,
        at=event.end_at,
    )
    m.Sighting.objects.create(word=word, what=what, species=species, count=count)
    event.word = word
    event.save(update_fields=["word"])
    return word


def catalogue(days: int = 40) -> eventful.Ground:
    """Two sites, the second sensitive. One red deer a day at the first, a fox every fourth day at the second,
    a person and an unseen event a week in; the first camera was found without power on day 30.
    """
    from trod.web import models as m
    from trod.web.catalogue import answers, evidence

    evidence.forget()
    answers.forget()
    made = eventful.ground(sites=2)
    made.sites[1].sensitive = True
    made.sites[1].save()
    end = START + timedelta(days=days)
    for d in made.deployments:
        d.start, d.end = START - timedelta(hours=1), end
        d.save()
        d.intake.started_at = d.intake.finished_at = end + timedelta(hours=2)
        d.intake.save()
    first, second = made.deployments
    number = 0

    def event(deployment: Any, at: datetime) -> Any:
        nonlocal number
        number += 1
        return eventful.event(made, number, deployment=deployment, at=at)

    for day in range(days):
        if day < 28:
            say(
                event(first, START + timedelta(days=day, minutes=7 * day)),
                species=made.species["Red deer"],
                count=2,
            )
        if day % 4 == 0:
            say(event(second, START + timedelta(days=day, hours=1)), species=made.species["Red fox"])
    # Twenty minutes after the first deer: the same passage.
    say(event(first, START + timedelta(minutes=20)), species=made.species["Red deer"], count=3)
    say(event(first, START + timedelta(days=7, hours=9)), "person")
    say(event(first, START + timedelta(days=8, hours=9)), "blank")
    event(second, START + timedelta(days=7, hours=10))
    m.Visit.objects.create(
        site=made.sites[0],
        deployment=first,
        at=START + timedelta(days=30),
        by="Tobin Achterfeld",
        arrival="dead",
    )
    return made

"""A card of two minutes comes in from a new site of a reserve that has been watched for long: everything still answers.

One animal in seconds of effort once ended every question, every report and every page that asks in an OverflowError.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import asked
import pulled
import pytest
from click.testing import CliRunner, Result
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from trod.commands import main

pytestmark = [pytest.mark.django_db, pytest.mark.long]
EACH = 3  # addresses of one kind that are opened
TODAY = date(2026, 6, 30)


@pytest.fixture
def reserve(trod_home: Path, filler: Any, tmp_path: Path) -> Path:
    """The invented reserve with a new site: six pictures in two minutes, an animal known here and one seen nowhere
    else.
    """
    from trod.catalogue import models as m
    from trod.catalogue.answers import answers, evidence
    from trod.catalogue.forecasts import forecasts

    evidence.forget()
    answers.forget()
    filler.fill(300, now=TODAY)
    card = pulled.Pulled(tmp_path / "NEW-01-A", serial="INV-777")
    first = datetime(2026, 6, 29, 7, 30)
    card.bursts([first, first + timedelta(seconds=125)])
    took = trod("card", card.folder, "--camera", "INV-777", "--site", "Two Minutes", "--yes")
    assert took.exit_code == 0, took.output
    one, other = m.Sequence.objects.filter(deployment__site__name="Two Minutes").order_by("start_at")
    known = m.Observation.objects.filter(species__isnull=False).order_by("pk").first()
    asked.say(one, species=known.species)
    asked.say(other, species=m.Species.objects.create(name="Wandering lynx", slug="wandering-lynx"))
    forecasts.make(m.Reserve.objects.get(), timezone.now())
    return trod_home


def trod(*words: object) -> Result:
    return CliRunner(env={"COLUMNS": "200"}).invoke(main, [str(word) for word in words])


def told(answer: Any, address: str) -> None:
    """A page, a file, a way to another page, or a refusal in words."""
    assert answer.status_code in (200, 302, 409, 422), f"{address} answered {answer.status_code}"
    if answer.status_code in (409, 422):
        assert re.search(r"[a-z]{3,} [a-z]{2,} ", answer.content.decode()), address


def kind_of(address: str) -> str | None:
    try:
        return resolve(address.partition("?")[0]).view_name
    except Resolver404:
        return None


def test_every_page_answers(client: Any, reserve: Path) -> None:
    """From page to page by every link, three of each kind, the new site's own among them first."""
    seen: set[str] = set()
    kinds: Counter[str] = Counter()
    new = reverse("map:site", args=["two-minutes"])
    ways = [f"/questions/{kind}?site=two-minutes" for kind in ("what-comes", "when", "change")]
    todo = [new, *ways, "/"]
    while todo:
        address = todo.pop(0)
        kind = kind_of(address)
        if kind is None or address in seen or (kinds[kind] >= EACH and "two-minutes" not in address):
            continue
        seen.add(address)
        kinds[kind] += 1
        answer = client.get(address)
        told(answer, address)
        if answer.status_code == 302:
            todo.insert(0, answer["Location"])
        elif answer.get("Content-Type", "").startswith("text/html") and not answer.streaming:
            found = re.findall(r'href="(/[^"#]*)', answer.content.decode())
            todo += [link.replace("&amp;", "&") for link in dict.fromkeys(found)]

    rooms = {kind.partition(":")[0] for kind in kinds}
    assert rooms >= {"today", "map", "cameras", "rounds", "cards", "review", "questions", "reports", "people"}
    assert len(kinds) > 60 and len(seen) > 100, sorted(kinds)


def test_every_question_answers_in_finite_words(client: Any, reserve: Path) -> None:
    absurd = re.compile(r"\d{1,3}(\u202f\d{3}){3,}|\d{13,}\.\d|\binf\b|\bnan\b")
    for query in ("", "?site=two-minutes", "?from=2026-06-29&to=2026-06-29", "?light=day"):
        for kind in ("what-comes", "when", "change"):
            for ending in ("", ".json", ".csv"):
                address = f"/questions/{kind}{ending}{query}"
                answer = client.get(address)
                told(answer, address)
                assert not absurd.search(answer.content.decode()), address


def test_every_report_and_command_answers(client: Any, reserve: Path, tmp_path: Path) -> None:
    for wish in ({}, {"site": "two-minutes"}, {"from": "2026-06-29", "to": "2026-06-29"}):
        given = {"paper": "a4", "species_pages": "6", "tables": "1", **wish}
        told(client.post("/reports/make", given), f"report {wish}")
    out: Callable[[str], str] = lambda name: str(tmp_path / name)  # noqa: E731
    for words in (
        ("ask", "what-comes"), ("ask", "when"), ("ask", "change"), ("ask", "what-comes", "--json"),
        ("ask", "what-comes", "--site", "Two Minutes"), ("ask", "when", "--site", "Two Minutes"),
        ("ask", "change", "--site", "Two Minutes", "--json"),
        ("report", "--out", out("a.pdf"), "--csv", out("tables")),
        ("report", "--site", "Two Minutes", "--out", out("b.pdf")),
        ("export", out("records")), ("rounds",), ("rounds", "--day", "2026-07-02", "--json"), ("power",),
        ("power", "--site", "Two Minutes"), ("verify", "--only", "two-minutes"), ("backup", out("copy")),
        ("place", "Two Minutes", "--animal", "roe-deer"),
    ):  # fmt: skip
        done = trod(*words)
        assert done.exception is None or isinstance(done.exception, SystemExit), (words, done.exception)
        assert done.exit_code == 0 or (done.exit_code == 3 and len(done.output.split()) > 4), (words, done.output)

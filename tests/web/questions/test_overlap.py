"""Shared hours on their page and at the command line."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
import sequenced
from asked import text_of, trod
from django.test import Client


def test_the_page_refuses_with_the_reason_and_keeps_what_was_asked(client: Client, made: sequenced.Ground) -> None:
    answer = client.get("/questions/overlap?species=red-deer&against-species=people")
    page = text_of(answer)

    assert "How far Red deer and people share their hours cannot be told: one side has 1 detection." in page
    assert '<option value="people" selected>' in answer.content.decode()
    assert '<option value="red-deer" selected>' in answer.content.decode()


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("", "One thing may differ: the kind, the period or the site."),
        ("species=red-deer&against-species=red-deer", "Not asked: there are two sides that are the same"),
        ("against-site=nowhere", "it takes one that is known"),
        ("against-species=nothing-known", "it takes one that is known"),
        ("species=red-deer&against-species=people&against-from=2026-13-01", "it takes a day like 2026-05-31"),
        ("species=red-deer&against-from=1998-01-01&against-to=1998-02-01", "no number is given"),
    ],
)  # fmt: skip
def test_the_page_says_what_is_wrong(client: Client, made: sequenced.Ground, query: str, words: str) -> None:
    assert words in text_of(client.get(f"/questions/overlap?{query}"))


def test_the_command_says_what_the_page_says(client: Client, made: sequenced.Ground, trod_home: Path) -> None:
    sides = ("--species", "red-deer", "--against-species", "people")
    spoken = trod("ask", "overlap", *sides)
    as_json = json.loads(trod("ask", "overlap", *sides, "--json").output)

    assert spoken.exit_code == (0 if as_json["value"] is not None else 3)
    assert re.sub(r"\s+", " ", as_json["sentence"]) in re.sub(r"\s+", " ", spoken.output)
    assert as_json["sentence"] in text_of(client.get("/questions/overlap?species=red-deer&against-species=people"))
    wrong = trod("ask", "overlap", "--species", "red-deer")
    assert wrong.exit_code != 0 and "two sides that are the same" in wrong.output


def test_what_the_independence_interval_does_has_its_page(client: Client, made: sequenced.Ground) -> None:
    page = text_of(client.get("/questions/independence?species=red-deer&every=30"))

    assert "What the independence interval does" in page and "30 min, in use" in page
    assert "independence?species=red-deer" in client.get("/questions/what-comes?species=red-deer").content.decode()
    links = re.findall(r'href="(/questions/what-comes/pictures[^"]+every=1440)"', client.get(
        "/questions/independence?species=red-deer").content.decode().replace("&amp;", "&"))  # fmt: skip
    assert "in 29 sequences" in text_of(client.get(links[0]))
    bare = text_of(client.get("/questions/independence?species=red-deer&from=1999-01-01&to=1999-02-01"))
    assert "no number is given" in bare

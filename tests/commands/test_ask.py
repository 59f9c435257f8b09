"""`trod ask`."""

from __future__ import annotations

import json

import pytest

from trod.catalogue.answers import answers, evidence
from trod.findings import Filter

pytestmark = pytest.mark.django_db
KINDS = ("what-comes", "when", "change")


@pytest.mark.parametrize("kind", KINDS)
def test_json_prints_the_very_finding_of_the_page(made, said, client, kind):
    told = said("ask", kind)

    assert told == json.loads(client.get(f"/questions/{kind}.json").content)
    assert {"value", "interval", "effort", "filter", "method", "assumptions", "pictures"} <= set(told)


def test_the_sentence_comes_first_then_the_table(made, trod):
    done = trod("ask", "what-comes")
    lines = done.stdout.splitlines()

    assert done.exit_code == 0
    assert lines[0].startswith("Two species came by in")
    assert lines[1].startswith("Asked of: All animals at all 2 sites, 5 January to 13 February 2026")
    assert any(line.startswith("Red deer") and "28" in line for line in lines)
    assert any(line.startswith("Effort: ") and "camera-days" in line for line in lines)
    assert "Limitations:" in lines


def test_options_narrow_the_question_as_on_the_page(made, said):
    told = said(
        "ask",
        "what-comes",
        "--species",
        "Red fox",
        "--site",
        "Grey Lick",
        "--from",
        "2026-01-06",
        "--to",
        "2026-01-31",
        "--every",
        "60",
        "--light",
        "any",
    )
    account = evidence.gather(made.reserve)
    asked = answers.make_filter(
        account, species=["red-fox"], sites=["grey-lick"], first="2026-01-06", last="2026-01-31", every_min=60
    )

    assert told == json.loads(answers.answer("what-comes", asked, account).finding.to_json())
    assert told["filter"]["sentence"] == "Red fox at Grey Lick, 6 to 31 January 2026, detections at least 1 hour apart"


def test_a_misspelt_species_is_told_with_those_near_it(made, trod):
    done = trod("ask", "when", "--species", "Red der")

    assert done.exit_code == 3
    assert done.stderr == "Error: species: got 'Red der'; needed: one that is known. Near: Red deer, Roe deer\n"


def test_too_little_evidence_ends_with_3_and_says_what_it_would_take(made, trod):
    done = trod("ask", "when", "--species", "badger")
    assert done.exit_code == 3 and done.stderr.startswith("Error: ") and "detections" in done.stderr

    as_json = trod("ask", "when", "--species", "badger", "--json")
    told = json.loads(as_json.stdout)
    assert as_json.exit_code == 3
    assert told["value"] is None and told["interval"] is None and told["need"]
    assert told["filter"]["species"] == ["badger"]


def test_before_there_is_a_reserve_the_way_to_one_is_told(trod, trod_home, db):
    done = trod("ask", "change")

    assert done.exit_code == 3
    assert "This data folder holds no reserve yet" in done.stderr


def test_an_unknown_question_is_a_wrong_command_line(trod):
    done = trod("ask", "whither")

    assert done.exit_code == 2
    assert "No such command 'whither'" in done.stderr


def test_the_answer_is_that_of_the_core(made, said):
    told = said("ask", "change")

    finding = answers.answer("change", Filter(), evidence.gather(made.reserve)).finding
    assert told["value"] == finding.value

"""The page and the command on change: both numbers in plain sentences, the setting, and the comparison."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import sequenced
from asked import text_of, trod
from django.test import Client
from django.urls import reverse
from years import left_unreviewed, reserve_of

from trod.catalogue import models as m
from trod.catalogue.answers import answers, evidence
from trod.findings import Evidence

DEER = "?species=red-deer"


@pytest.fixture
def years(made: sequenced.Ground, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Lets the catalogue hold an invented record of some years."""

    def hold(record: Evidence) -> None:
        account = evidence.Account(evidence=record, pieces={}, stamp=f"{id(record)}")
        monkeypatch.setattr(evidence, "gather", lambda reserve: account)
        monkeypatch.setattr(answers, "_rests", lambda selection, account: answers.Rests())

    return hold


def test_the_page_tells_both_numbers_in_plain_sentences_and_folds_the_statistics(client: Client, years: Any) -> None:
    years(reserve_of(months=60, yearly=0.75))
    answer = client.get(f"/questions/change{DEER}")
    page = text_of(answer)
    plain, _, folded = page.partition("Statistics")

    assert "came less often, by more than good and bad years usually explain: 0.7" in plain
    assert "In this record: 0.7" in plain
    assert "It rests on 5 years, 8 sites and" in plain
    assert "Told beforehand: with 8 sites that see as many" in plain
    assert "Set how much good and bad years differ" in plain
    assert "standard deviation" not in plain and "standard deviation" in folded
    assert '<details class="more"><summary>Statistics</summary>' in answer.content.decode()


def test_unreviewed_pictures_in_the_last_months_do_not_make_the_page_say_less_often(client: Client, years: Any) -> None:
    years(left_unreviewed(reserve_of(others=20), since="2025-10-01 00:00", share=0.8))

    assert "came less often" not in text_of(client.get(f"/questions/change{DEER}"))


def test_a_record_of_a_year_is_refused_on_the_page_with_what_it_takes(client: Client, made: sequenced.Ground) -> None:
    page = text_of(client.get(f"/questions/change{DEER}"))

    assert "season and change cannot be told apart" in page
    assert "at least 24 months" in page


def test_the_allowance_for_years_is_a_setting_of_the_reserve(client: Client, made: sequenced.Ground) -> None:
    assert "Good and bad years differ by about 20 %" in text_of(client.get(reverse("people:settings")))
    form = text_of(client.get(reverse("people:reserve")))
    assert "how much good and bad years differ by themselves (%)" in form.lower()

    m.Reserve.objects.update(yearly_allowance_percent=35)
    evidence.forget()
    assert evidence.gather(m.Reserve.objects.get()).evidence.reserve.yearly_allowance == 0.35
    assert "Good and bad years differ by about 35 %" in text_of(client.get(reverse("people:settings")))


def test_another_camera_at_a_site_is_another_line_up(made: sequenced.Ground) -> None:
    first, second = made.deployments
    before = {d.slug: d.line_up for d in evidence.gather(made.reserve).evidence.deployments}
    m.Deployment.objects.filter(pk=first.pk).update(sensitivity="low")
    evidence.forget()
    after = {d.slug: d.line_up for d in evidence.gather(made.reserve).evidence.deployments}

    assert before[first.slug] != after[first.slug]
    assert before[second.slug] == after[second.slug]


def test_the_json_keeps_its_keys_and_carries_both_factors(client: Client, years: Any) -> None:
    years(reserve_of(months=60, yearly=0.75))
    told = json.loads(client.get(f"/questions/change.json{DEER}").content)

    assert {"value", "interval", "effort", "filter", "method", "assumptions", "pictures"} <= set(told)
    assert told["interval"]["low"] < told["value"] < told["interval"]["high"] < 1
    assert told["effort"]["camera_days"] > 0
    assert told["series"]["change"]["happened"]["factor_per_year"] < 1


# --- side by side ---------------------------------------------------------------------------------------


def test_two_periods_are_compared_on_their_page(client: Client, years: Any) -> None:
    years(reserve_of(a_month=8, yearly=0.6, seed=5))
    page = text_of(
        client.get(
            "/questions/compare?species=red-deer&from=2025-04-01&to=2025-09-30"
            "&against-from=2023-04-01&against-to=2023-09-30"
        )
    )

    assert "came less often in 1 April to 30 September 2025 than in 1 April to 30 September 2023: 0." in page
    assert "For sites like these: 0." in page
    assert "A test of no difference: p under 0.001." in page


def test_two_sites_are_compared_on_their_page(client: Client, made: sequenced.Ground) -> None:
    page = text_of(client.get("/questions/compare?species=red-deer&site=alder-ford&against-site=grey-lick"))

    assert "cannot be told: 28 detections, but too few weeks to tell how they run. It takes more weeks in which" in page
    assert "Alder Ford 28 28.1 99.7" in page


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("", "Compare two periods or two sites"),
        ("site=alder-ford", "Not asked: there are two sides that are the same"),
        ("from=2026-13-01", "it takes a day like 2026-05-31"),
        ("site=nowhere&against-site=alder-ford", "it takes one that is known"),
        ("from=1999-01-01&to=1999-02-01&against-from=1998-01-01&against-to=1998-02-01", "no number is given"),
    ],
)  # fmt: skip
def test_the_compare_page_says_what_is_wrong(client: Client, made: sequenced.Ground, query: str, words: str) -> None:
    assert words in text_of(client.get(f"/questions/compare?{query}"))


def test_the_commands_say_what_the_pages_say(trod_home: Path, years: Any) -> None:
    years(reserve_of(months=60, yearly=0.75))
    change = trod("ask", "change", "--species", "red-deer")
    sides = ("--from", "2027-01-01", "--to", "2027-12-31", "--against-from", "2024-01-01", "--against-to", "2024-12-31")
    compared = trod("ask", "compare", "--species", "red-deer", *sides)
    as_json = json.loads(trod("ask", "compare", "--species", "red-deer", *sides, "--json").output)

    assert "came less often, by more than good and bad years usually explain" in re.sub(r"\s+", " ", change.output)
    assert "It rests on 5 years, 8 sites" in re.sub(r"\s+", " ", change.output)
    assert "came less often in 1 January to 31 December 2027" in re.sub(r"\s+", " ", compared.output)
    assert as_json["interval"]["low"] < as_json["value"] < as_json["interval"]["high"] < 1

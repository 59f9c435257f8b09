"""Names to filters, filters to answers."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import asked
import pytest
import sequenced

from trod.catalogue.answers import answers, evidence
from trod.errors import CatalogueTrouble, WrongInput
from trod.findings import Filter
from trod.telling.what_comes import answer as what_comes

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(trod_home: Path, db: Any) -> sequenced.Ground:
    return asked.catalogue()


@pytest.fixture
def account(made):
    return evidence.gather(made.reserve)


def test_species_and_sites_go_by_key_or_by_name_in_any_case(account):
    by_name = answers.make_filter(account, species=["RED DEER"], sites=["alder ford"])

    assert by_name.species == ("red-deer",) and by_name.sites == ("alder-ford",)
    assert by_name == answers.make_filter(account, species=["red-deer"], sites=["alder-ford"])


def test_a_name_that_is_not_known_is_told_with_those_near_it(account):
    with pytest.raises(WrongInput) as caught:
        answers.make_filter(account, species=["red der"])

    assert str(caught.value) == "species: got 'red der'; needed: one that is known. Near: Red deer, Roe deer"
    with pytest.raises(WrongInput, match="needed: one that is known: Alder Ford and Grey Lick"):
        answers.make_filter(account, sites=["xqzv"])


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"first": "31.5.2026"}, "from: got '31.5.2026'; needed: a day like 2026-05-31"),
        ({"first": "0001-01-01"}, "from: got '0001-01-01'; needed: a day between 1970 and 2200"),
        ({"every_min": "often"}, "every: got 'often'; needed: minutes from 0 to 10080 (a week)"),
        ({"light": "dusk"}, "light: got 'dusk'; needed: any, day or night"),
    ],
)
def test_a_filter_that_cannot_be_is_told_in_words(account, given, words):
    with pytest.raises(WrongInput) as caught:
        answers.make_filter(account, **given)

    assert str(caught.value) == words


def test_an_address_and_a_kept_record_give_the_same_filter_back(account):
    wanted = answers.make_filter(
        account, species=["red-fox", "red-deer"], sites=["grey-lick"], first="2026-01-06", last="2026-02-01",
        every_min="60", light="night",
    )  # fmt: skip

    assert answers.query(wanted) == (
        "species=red-deer&species=red-fox&site=grey-lick&from=2026-01-06&to=2026-02-01&every=60&light=night"
    )
    kept = answers.from_kept(wanted.to_dict())
    assert kept.to_dict() == wanted.to_dict()
    assert answers.query(Filter()) == ""


def test_the_answer_is_that_of_the_core_and_comes_from_memory_the_second_time(account):
    first = answers.answer("what-comes", Filter(), account)

    assert first.finding == what_comes(account.evidence, Filter())
    assert answers.answer("what-comes", Filter(), account) is first


def test_without_effort_there_is_a_reason_and_no_number(account):
    found = answers.answer("change", Filter(first=date(2040, 1, 1)), account)

    assert found.finding is None
    assert found.trouble.need == "choose a period and sites with a deployment whose card has been brought in"


def test_every_line_of_a_table_opens_to_its_own_sequences(account):
    for kind in ("what-comes", "when", "change"):
        finding = answers.answer(kind, Filter(), account).finding
        opened = [answers.behind(finding, str(row[answers.ROW_KEY[kind]])) for row in finding.rows]

        assert sum(len(pictures) for _, pictures, _ in opened) == sum(row["detections"] for row in finding.rows)
        assert sorted(key for keys, _, _ in opened for key in keys) == sorted(finding.sequences)
    with pytest.raises(WrongInput, match="row: got 'unicorn'; needed: a line of the answer's table: "):
        answers.behind(answers.answer("what-comes", Filter(), account).finding, "unicorn")


def test_the_answer_tells_what_it_rests_on(account):
    rests = answers.answer("what-comes", Filter(), account).rests

    assert (rests.deployments, rests.sequences_seen, rests.unseen, rests.not_home) == (2, 41, 1, 0)
    assert rests.gap_reasons == ()
    assert rests.silences == 3  # before and after the visit that found it dead, and the second camera's last days
    assert rests.silent_days > 3 - 27 * 7 / 1440


def test_before_there_is_a_reserve_the_way_to_one_is_told(db, trod_home):
    with pytest.raises(CatalogueTrouble, match="This data folder holds no reserve yet"):
        answers.the_reserve()

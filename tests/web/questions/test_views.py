"""The Questions page: sentence first, every number with its interval and its pictures."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import timedelta

import asked
import pytest
import sequenced
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils.html import escape

from trod.catalogue.answers import answers, evidence
from trod.catalogue.models import Finding, Question
from trod.findings import Filter
from trod.web.shared import script, spans

pytestmark = pytest.mark.django_db
KINDS = ("what-comes", "when", "change")


def text_of(answer):
    return answer.content.decode()


def test_the_sentence_stands_before_the_filter_and_the_chart(client, made):
    page = text_of(client.get("/questions/"))

    sentence = page.index("Two species came by in")
    assert sentence < page.index("Asked of:") < page.index('id="chart"') < page.index("The numbers")
    assert "All animals at all 2 sites, 5 January to 13 February 2026, detections at least 30 minutes apart." in page


@pytest.mark.parametrize("kind", KINDS)
def test_each_question_tells_its_filter_effort_assumptions_and_cautions(client, made, kind):
    page = text_of(client.get(f"/questions/{kind}"))
    finding = answers.answer(kind, Filter(), evidence.gather(made.reserve)).finding

    for words in (
        "camera-days (trap-nights)",
        "1 sequence of 42 (2 %) is not yet reviewed",
        "nobody knows whether the camera watched; a rate holds both ends.",
    ):
        assert words in page
    for assumption in finding.assumptions:
        assert escape(assumption) in page
    assert finding.filter_sentence in page


def test_the_filter_asked_for_is_the_one_in_the_sentence(client, made):
    page = text_of(
        client.get(
            "/questions/what-comes?species=red-fox&site=grey-lick&from=2026-01-06&to=2026-01-31&every=60&light=night"
        )
    )

    assert (
        "Red fox at Grey Lick, 6 to 31 January 2026, between sunset and sunrise, "
        "detections at least 1 hour apart." in page
    )


def test_what_cannot_be_read_in_an_address_is_left_out_and_told(client, made):
    answer = client.get("/questions/what-comes?species=unicorn&from=yesterday&every=often&site=%00&light=x")
    page = text_of(answer)

    assert answer.status_code == 200
    for words in ("unicorn", "yesterday", "often", "light"):
        assert words in page
    assert page.count("It is left out here.") == 5
    assert "All animals at all 2 sites" in page


def test_a_last_day_before_the_first_is_left_out(client, made):
    page = text_of(client.get("/questions/what-comes?from=2026-02-01&to=2026-01-01"))

    assert "a first day on or before the last day. It is left out here." in page
    assert "1 to 13 February 2026" in page


def test_a_name_with_markup_in_it_stays_text(client, made):
    made.sites[0].name = "</script><b>Ford"
    made.sites[0].save()

    page = text_of(client.get("/questions/what-comes?site=alder-ford"))

    assert "<b>Ford" not in page


def test_a_number_opens_to_exactly_the_pictures_of_the_finding(client, made):
    finding = answers.answer("what-comes", Filter(), evidence.gather(made.reserve)).finding
    for row in finding.rows:
        page = text_of(client.get(f"/questions/what-comes/pictures?row={row['species_key']}"))
        shown = re.findall(r'src="/pictures/([0-9a-f]{64})/thumb"', page)

        assert shown == [key[-64:] for key in row["sequence_keys"]]
        assert set(row["pictures"]) <= set(shown)
        assert f"{row['detections']} detection" in page


def test_pictures_behind_a_number_are_leafed_through_without_losing_one(client, made, monkeypatch):
    monkeypatch.setattr("trod.web.questions.behind.A_PAGE", 12)
    finding = answers.answer("change", Filter(), evidence.gather(made.reserve)).finding
    shown = []
    for number in (1, 2, 3, 4):
        page = text_of(client.get(f"/questions/change/pictures?page={number}"))
        shown += re.findall(r'src="/pictures/([0-9a-f]{64})/thumb"', page)

    assert shown == [key[-64:] for key in finding.sequences]


def test_a_picture_leads_to_its_sequence_in_the_look_through(client, made):
    page = text_of(client.get("/questions/what-comes/pictures?row=red-fox"))
    link = re.search(r'href="(/review/\d+)"', page)

    assert link and client.get(link[1]).status_code == 200


def test_an_sequence_joined_to_a_detection_is_marked_as_joined(client, made):
    page = text_of(client.get("/questions/what-comes/pictures?row=red-deer"))

    assert page.count('class="joined"') == 1
    assert "28 detections in 29 sequences" in page


def test_a_line_that_is_not_in_the_table_is_not_found(client, made):
    assert client.get("/questions/what-comes/pictures?row=unicorn").status_code == 404
    assert client.get("/questions/whither").status_code == 404


@pytest.mark.parametrize("kind", KINDS)
def test_json_is_the_finding_itself(client, made, kind):
    told = json.loads(client.get(f"/questions/{kind}.json").content)
    finding = answers.answer(kind, Filter(), evidence.gather(made.reserve)).finding

    assert told == json.loads(finding.to_json())
    assert {"value", "interval", "effort", "filter", "method", "assumptions", "pictures"} <= set(told)


@pytest.mark.parametrize("kind", KINDS)
def test_csv_has_the_tables_columns_and_full_precision(client, made, kind):
    answer = client.get(f"/questions/{kind}.csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    finding = answers.answer(kind, Filter(), evidence.gather(made.reserve)).finding

    assert answer.headers["Content-Disposition"] == f'attachment; filename="trod-{kind}.csv"'
    assert list(rows[0]) == [column.key for column in finding.columns]
    assert [float(row["low"]) for row in rows] == [row["low"] for row in finding.rows]


def test_too_little_evidence_gives_no_number_but_what_it_would_take(client, made):
    page = text_of(client.get("/questions/when?species=badger"))

    assert "so no number is given" in page and "It takes: a pattern over the day needs" in page
    assert "chart-data" not in page
    refused = client.get("/questions/when.json?species=badger")
    assert refused.status_code == 422
    assert json.loads(refused.content)["value"] is None


def test_an_empty_trod_says_what_comes_first(client, trod_home, db):
    evidence.forget()
    for kind in ("", *KINDS):
        answer = client.get(f"/questions/{kind}")
        assert answer.status_code == 200
        assert "Nothing can be asked yet." in text_of(answer)
    assert client.get("/questions/when.json").status_code == 422


def test_a_reserve_without_pictures_asks_for_a_card(client, trod_home, db):
    evidence.forget()
    sequenced.ground()

    assert "No picture has come home yet" in text_of(client.get("/questions/change"))


def test_a_page_asks_the_database_as_often_for_many_sequences_as_for_few(client, made):
    def count():
        found = []
        for kind in KINDS:
            for address in (f"/questions/{kind}", f"/questions/{kind}/pictures"):
                with CaptureQueriesContext(connection) as queries:
                    client.get(address)
                found.append(len(queries))
        return found

    client.get("/questions/")
    few = count()
    for number in range(150):
        sequence = sequenced.sequence(made, 2000 + number, at=asked.START + timedelta(hours=5 * number))
        asked.say(sequence, species=made.species["Jay"])
    client.get("/questions/")

    assert count() == few


# --- kept questions ------------------------------------------------------------------------------


def test_a_question_is_kept_with_its_answer_and_asked_again_later(client, made):
    kept = client.post(
        "/questions/keep", {"kind": "what-comes", "query": "species=red-fox", "title": "Foxes"}, follow=True
    )
    question = Question.objects.get()
    assert question.title == "Foxes" and question.filter["species"] == ["red-fox"]
    first = question.findings.get()
    assert "Red fox came by 10 times" in text_of(kept)

    sequence = sequenced.sequence(made, 3000, deployment=made.deployments[1], at=asked.START + timedelta(days=2))
    asked.say(sequence, species=made.species["Red fox"])
    again = text_of(client.post(f"/questions/kept/{question.uuid}/again", follow=True))

    assert "Red fox came by 11 times" in again
    assert "Red fox came by 10 times" in again, "the earlier answer stands beside the new one"
    assert question.findings.count() == 2
    old = text_of(client.get(f"/questions/kept/{question.uuid}?answer={first.pk}"))
    assert '<p class="sentence">Red fox came by 10 times' in old


def test_the_same_answer_is_not_kept_twice(client, made):
    client.post("/questions/keep", {"kind": "change", "query": "", "title": "Change"})
    question = Question.objects.get()

    page = text_of(client.post(f"/questions/kept/{question.uuid}/again", follow=True))

    assert "The answer is still that of" in page
    assert question.findings.count() == 1


def test_a_question_that_cannot_be_answered_yet_is_kept_with_what_it_would_take(client, made):
    client.post("/questions/keep", {"kind": "when", "query": "species=badger", "title": "Badgers' hours"})

    result = Finding.objects.get().result
    assert result["value"] is None and "widen the period" in result["need"]
    assert "Badgers&#x27; hours" in text_of(client.get("/questions/"))


def test_throwing_a_question_away_takes_its_answers_and_no_more(client, made):
    client.post("/questions/keep", {"kind": "change", "query": "", "title": "Change"})
    question = Question.objects.get()

    assert client.get(f"/questions/kept/{question.uuid}/forget").status_code == 405
    client.post(f"/questions/kept/{question.uuid}/forget")

    assert not Question.objects.exists() and not Finding.objects.exists()
    assert len(evidence.evidence(made.reserve).observations) == 41


def test_looking_at_a_question_keeps_nothing(client, made):
    for kind in KINDS:
        client.get(f"/questions/{kind}")

    assert not Question.objects.exists()


# --- the chart's script --------------------------------------------------------------------------


def test_the_charts_script_may_be_kept_for_ever_and_changes_its_name_with_its_versions(client, made, trod_home):
    page = text_of(client.get("/questions/"))
    address = re.search(r'src="(/questions/charts/[^"]+\.js)"', page)
    assert address and script.stamp() in address[1]

    answer = client.get(address[1])
    body = b"".join(answer.streaming_content)

    assert answer.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert body.startswith(b"(() => {") and b"vegaEmbed" in body
    assert (trod_home / "cache" / "charts" / f"{script.stamp()}.js").is_file()
    assert client.get("/questions/charts/0.0.js").status_code == 404


def test_the_page_draws_the_same_spec_as_the_report(client, made):
    from trod.report import charts

    page = text_of(client.get("/questions/change"))
    data = json.loads(re.search(r'<script id="chart-data" type="application/json">(.+?)</script>', page)[1])
    spec = charts.chart(answers.answer("change", Filter(), evidence.gather(made.reserve)).finding, "light")

    assert data["spec"] == json.loads(json.dumps({k: v for k, v in spec.items() if k != "config"}))
    assert data["themes"]["night"] == json.loads(json.dumps(charts.config("night")))


# --- seasons -------------------------------------------------------------------------------------


def test_seasons_are_whole_months_and_turn_round_in_the_south():
    from datetime import date

    north = spans.seasons(date(2026, 1, 20), 47.0, 3)
    assert north == [
        ("Winter 2025/26", date(2025, 12, 1), date(2026, 2, 28)),
        ("Autumn 2025", date(2025, 9, 1), date(2025, 11, 30)),
        ("Summer 2025", date(2025, 6, 1), date(2025, 8, 31)),
    ]
    assert [name for name, _, _ in spans.seasons(date(2025, 12, 31), -33.0, 2)] == [
        "Summer 2025/26",
        "Spring 2025",
    ]
    assert spans.seasons(date(2024, 2, 29), 47.0, 1)[0][2] == date(2024, 2, 29)

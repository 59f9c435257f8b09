"""First and last days on their page, in open formats and at the command line."""

from __future__ import annotations

import json
import re

import pytest
import sequenced
from asked import text_of, trod
from django.test import Client


def test_every_season_tells_its_first_and_last_with_the_days_beyond(client: Client, made: sequenced.Ground) -> None:
    page = text_of(client.get("/questions/first-last?species=red-deer"))

    # The camera stood from 5 January, 01:00, and the first deer came at 02:00.
    assert (
        "In winter 2025/26 Red deer was first recorded on 5 January, at Alder Ford, and last on 1 February 2026" in page
    )
    assert "less than a day of this season is known to have been watched and reviewed: it may have come earlier." in page
    assert re.search(r"After it, none in \d+(\.\d+)? site-days watched and reviewed", page)


def test_each_count_and_each_end_opens_its_pictures(client: Client, made: sequenced.Ground) -> None:
    html = client.get("/questions/first-last?species=red-deer").content.decode()
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="(/questions/pictures/first-last\?[^"]+)"', html)]
    rows = [link for link in links if "row=" in link]

    assert len(rows) == 3  # the count, the first, the last
    said = [text_of(client.get(link)) for link in rows]
    assert "28 detections in 29 sequences" in said[0]
    assert "the first on record 1 detection in 2 sequences" in said[1]
    assert "the last on record 1 detection in 1 sequence" in said[2]


@pytest.mark.parametrize("query", ["row=2026-03/nothing", "row=2025-12/red-deer&end=middle"])
def test_a_line_that_is_not_there_is_not_found(client: Client, made: sequenced.Ground, query: str) -> None:
    assert client.get(f"/questions/pictures/first-last?{query}").status_code == 404
    assert client.get("/questions/pictures/nothing").status_code == 404


def test_the_page_refuses_with_the_reason(client: Client, made: sequenced.Ground) -> None:
    assert "no day is given" in text_of(client.get("/questions/first-last?from=1999-01-01&to=1999-02-01"))
    assert "needed: season or year. It is left out here." in text_of(client.get("/questions/first-last?each=moon"))
    refused = client.get("/questions/first-last.json?from=1999-01-01&to=1999-02-01")
    assert refused.status_code == 422 and "no camera watched" in refused.json()["sentence"]


def test_a_house_without_a_reserve_says_how_to_begin(client: Client, trod_home, db) -> None:
    assert "Nothing can be asked yet." in text_of(client.get("/questions/first-last"))


def test_the_command_says_what_the_page_and_the_file_say(client: Client, made: sequenced.Ground) -> None:
    as_json = json.loads(trod("ask", "first-last", "--each", "year", "--json").output)
    page = text_of(client.get("/questions/first-last?each=year"))
    spoken = re.sub(r"\s+", " ", trod("ask", "first-last", "--each", "year").output)

    assert as_json == client.get("/questions/first-last.json?each=year").json()
    assert as_json["sentence"] in page and as_json["sentence"] in spoken
    assert {row["stretch"] for row in as_json["rows"]} == {"2026"}
    for row in as_json["rows"]:
        for line in (*row["told_first"], *row["told_last"]):
            assert line in page and line in spoken
    wrong = trod("ask", "first-last", "--from", "1999-01-01", "--to", "1999-02-01", "--json")
    assert wrong.exit_code == 3 and json.loads(wrong.output)["value"] is None


def test_both_sides_of_a_comparison_open_their_pictures(client: Client, made: sequenced.Ground) -> None:
    sides = "species=red-deer&from=2026-01-05&to=2026-01-18&against-from=2026-01-19&against-to=2026-02-01"
    page = client.get(f"/questions/compare?{sides}").content.decode()
    links = re.findall(r'href="(/questions/pictures/compare\?[^"]+)"', page)

    assert len(links) == 2
    assert "14 detections" in text_of(client.get(links[0].replace("&amp;", "&")))


def test_of_people_no_pictures_are_opened_from_shared_hours(client: Client, made: sequenced.Ground) -> None:
    page = client.get("/questions/overlap?species=red-deer&against-species=people").content.decode()

    assert len(re.findall(r"/questions/pictures/overlap\?", page)) == 1
    hers = text_of(client.get("/questions/pictures/overlap?species=red-deer&against-species=people&row=second"))
    assert "0 detections in 0 sequences" in hers

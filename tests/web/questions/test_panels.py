"""Parts of a record side by side on their page and at the command line."""

from __future__ import annotations

import json
import re

import sequenced
from asked import text_of, trod
from django.test import Client


def test_each_site_has_its_small_chart_with_its_detections_and_effort(client: Client, made: sequenced.Ground) -> None:
    answer = client.get("/questions/side-by-side?species=red-fox&species=red-deer")
    page, html = text_of(answer), answer.content.decode()

    assert "month by month at 2 sites, all on one scale." in page
    assert len(re.findall(r'<svg[^>]+role="img" aria-label="(?:Alder Ford|Grey Lick): \d+ detections in', html)) == 2
    assert re.search(r"28 detections in \d+ site-days\.", page)


def test_a_thin_site_is_told_and_not_drawn(client: Client, made: sequenced.Ground) -> None:
    answer = client.get("/questions/side-by-side?species=red-fox&to=2026-01-20")
    page = text_of(answer)

    assert "4 detections in 16 site-days: too few to draw, which takes 10." in page
    assert "None seen in 16 site-days; that leaves room for up to" in page and "<svg" not in answer.content.decode()
    assert "none says enough to be drawn" in page


def test_its_counts_open_their_pictures_and_lead_to_the_question_alone(client: Client, made: sequenced.Ground) -> None:
    html = client.get("/questions/side-by-side?species=red-deer").content.decode().replace("&amp;", "&")
    (pictures,) = re.findall(r'href="(/questions/pictures/side-by-side\?[^"]+row=alder-ford)"', html)
    alone = re.findall(r'href="(/questions/change\?[^"]+)"', html)

    assert "Alder Ford" in (page := text_of(client.get(pictures))) and "28 detections in 29 sequences" in page
    assert any("site=grey-lick" in link for link in alone)


def test_seasons_and_years_and_hours_have_their_charts(client: Client, made: sequenced.Ground) -> None:
    year = text_of(client.get("/questions/side-by-side?species=red-deer&each=year"))
    hours = client.get("/questions/side-by-side?species=red-deer&each=season&show=hours")

    assert "in 1 year, all on one scale." in year
    assert "Winter 2025/26" in text_of(hours) and "share of activity per hour" in text_of(hours)


def test_what_there_is_not_is_left_out_and_told(client: Client, made: sequenced.Ground) -> None:
    assert "needed: site or season or year. It is left out here." in text_of(
        client.get("/questions/side-by-side?each=moon")
    )
    refused = text_of(client.get("/questions/side-by-side?from=1999-01-01&to=1999-02-01"))
    assert "nothing is drawn" in refused and "no camera watched" in refused


def test_the_command_says_what_the_page_says(client: Client, made: sequenced.Ground) -> None:
    words = ("ask", "side-by-side", "--species", "red-deer", "--each", "site")
    spoken = re.sub(r"\s+", " ", trod(*words).output)
    as_json = json.loads(trod(*words, "--json").output)
    page = text_of(client.get("/questions/side-by-side?species=red-deer"))

    assert as_json["sentence"] in spoken and as_json["sentence"] in page
    for row in as_json["rows"]:
        assert row["told"] in spoken and row["told"] in page
    assert as_json == client.get("/questions/side-by-side.json?species=red-deer").json()

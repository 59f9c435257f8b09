"""A site's year on its page."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import asked
import pytest
import sequenced
from asked import text_of
from django.test import Client

from trod.catalogue import models as m


@pytest.fixture
def made(trod_home: Any, db: Any) -> sequenced.Ground:
    return asked.catalogue()


def test_the_sheet_holds_effort_detections_visits_and_silences(client: Client, made: sequenced.Ground) -> None:
    answer = client.get("/map/sites/of/alder-ford/year/2026/")
    page = text_of(answer)

    assert "Alder Ford was watched" in page and "1 kind of animal came by, in 28 detections." in page
    assert "Visit by Tobin Achterfeld: no power." in page
    assert "<svg" in answer.content.decode() and 'role="img"' in answer.content.decode()
    assert re.search(r"Red deer 2[0-9] \d+ ", page)


def test_its_counts_open_their_pictures_and_the_site_links_to_it(client: Client, made: sequenced.Ground) -> None:
    html = client.get("/map/sites/of/alder-ford/year/2026/").content.decode()
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="(/questions/what-comes/pictures\?[^"]+)"', html)]

    assert "28 detections in 29 sequences" in text_of(client.get(links[-1]))
    assert "/map/sites/of/alder-ford/year/2026/" in client.get("/map/sites/of/alder-ford/").content.decode()


def test_corrected_clocks_incidents_and_what_was_wrong_with_a_card_stand_in_the_diary(
    client: Client, made: sequenced.Ground
) -> None:
    first = made.deployments[0]
    m.ClockCorrection.objects.create(
        deployment=first, shift_s=-3600, reason="set to summer time", by="Ilka Marwood", at=asked.START
    )
    m.Incident.objects.create(
        site=made.sites[0], found_on=(asked.START + timedelta(days=20)).date(), kind="weather", what="a fallen birch"
    )
    made.deployments[0].imports.update(notes=["3 files are damaged."])
    page = text_of(client.get("/map/sites/of/alder-ford/year/2026/"))

    assert "set earlier by 60 minutes: set to summer time." in page
    assert "Incident: wind, snow, water or a fallen tree (a fallen birch); the camera stopped watching." in page
    assert "Card imported: 3 files are damaged." in page


def test_a_year_without_anything_says_so(client: Client, made: sequenced.Ground) -> None:
    page = text_of(client.get("/map/sites/of/alder-ford/year/2019/"))

    assert "Nothing is known of Alder Ford in 2019" in page and "No picture of this year is at home" in page
    assert client.get("/map/sites/of/alder-ford/year/0/").status_code == 404
    assert client.get("/map/sites/of/nowhere/year/2026/").status_code == 404

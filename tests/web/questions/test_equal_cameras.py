"""The page of equal cameras, with its doors."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import sequenced
from asked import text_of
from django.test import Client

from trod.catalogue import models as m

ADDRESS = "/questions/equal-cameras"


def hang(made: sequenced.Ground) -> None:
    kind = m.CameraModel.objects.create(maker="Tarnbeckle", name="Lanthorn 3", slug="lanthorn-3", trigger_time_s=0.4)
    for deployment, offset_m in zip(made.deployments, (4.0, 5.0), strict=True):
        deployment.camera.model = kind
        deployment.camera.save()
        deployment.placement = m.Placement.objects.create(
            site=deployment.site, camera_model=kind, animal="red_deer", at=datetime(2026, 1, 1, tzinfo=UTC),
            inputs={"path_bearing_deg": 30.0, "offset_m": offset_m},
        )  # fmt: skip
        deployment.save()


def test_what_comes_leads_to_it_for_one_species(client: Client, made: sequenced.Ground) -> None:
    one = client.get("/questions/what-comes?species=red-fox").content.decode()
    every = client.get("/questions/what-comes").content.decode()

    assert f'href="{ADDRESS}?species=red-fox"' in one
    assert ADDRESS not in every


def test_it_tells_both_rates_what_they_rest_on_and_each_site(client: Client, made: sequenced.Ground) -> None:
    hang(made)
    answer = client.get(f"{ADDRESS}?species=red-fox")
    page = text_of(answer)

    assert "Had every camera been as good as the average one here, Red fox would have been recorded about" in page
    assert "The chances are modelled, from cameras and paths as they are on record; no animals were counted" in page
    assert "It is an index still" in page
    assert "Alder Ford" in page and "Grey Lick" in page
    links = re.findall(r'href="(/questions/pictures/equal-cameras\?[^"]*row=[^"]+)"', answer.content.decode())
    assert len(links) == 1  # no fox came to the first site
    assert client.get(links[0].replace("&amp;", "&")).status_code == 200
    told = client.get(f"{ADDRESS}.json?species=red-fox").json()
    assert told["sentence"] in page and told["kind"] == "equal-cameras"
    assert client.get(f"{ADDRESS}.csv?species=red-fox").content.startswith(b"site,")


def test_without_placements_it_says_what_it_takes(client: Client, made: sequenced.Ground) -> None:
    page = text_of(client.get(f"{ADDRESS}?species=red-fox"))

    assert "There is: the cameras' chances are known for 0 % of the site-days." in page
    assert "placement planner" in page
    assert client.get(f"{ADDRESS}.json?species=red-fox").status_code == 422
    assert "It is left out here" in text_of(client.get(f"{ADDRESS}?species=red-fox&unknown=moon"))

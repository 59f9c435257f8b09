"""The reserve's height grid and the climbs typed at sites, in what pages and commands tell of walking."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from trod.catalogue import models as m
from trod.catalogue.forecasts import forecasts, heights, ways
from trod.catalogue.rounds import due
from trod.telling import ways as telling

pytestmark = pytest.mark.django_db


def grid(reserve, *, rise_m=2500.0, n=60, side=0.4):
    """An ESRI ASCII grid around a reserve, level in the south half and steep in the north half."""
    rows = [[max(0.0, 0.5 - r / (n - 1)) * 2 * rise_m] * n for r in range(n)]
    head = (
        f"ncols {n}\nnrows {n}\nxllcorner {reserve.longitude - side / 2}\nyllcorner {reserve.latitude - side / 2}\n"
        f"cellsize {side / n}\nNODATA_value -9999\n"
    )
    return head + "\n".join(" ".join(f"{v:.1f}" for v in row) for row in rows) + "\n"


LEVEL = telling.level("metric")


def upload(client, text, **more):
    return client.post("/rounds/heights/", {"file": SimpleUploadedFile("h.asc", text.encode()), **more})


def on_foot(reserve, site):
    """Minutes on foot from where rounds start to a site, and what is said of it."""
    start = ways.Place(key=ways.START, latitude_deg=reserve.base_latitude, longitude_deg=reserve.base_longitude)
    found, told = ways.ways_for(reserve, [start, ways.place_of(site, by_car=False)], by_car=False, by_tracks=False)
    return found.way(ways.START, site.slug).minutes, " ".join(telling.supposed(told, found.how, "metric"))


@pytest.fixture
def north(base):
    """A site well up in the north, and where rounds start in the south."""
    base.reserve.base_latitude, base.reserve.base_longitude = base.reserve.latitude - 0.02, base.reserve.longitude
    base.reserve.save()
    return m.Site.objects.create(
        reserve=base.reserve, name="High Pass", slug="high-pass", latitude=base.reserve.latitude + 0.06,
        longitude=base.reserve.longitude,
    )  # fmt: skip


def test_without_a_grid_and_a_climb_it_is_said_that_walks_are_reckoned_level(base, north):
    _, said = on_foot(base.reserve, north)

    assert LEVEL in said


def test_a_grid_that_is_brought_is_used_from_then_on_and_can_be_deleted(client, base, north):
    level, _ = on_foot(base.reserve, north)
    answer = upload(client, grid(base.reserve))
    steep, said = on_foot(base.reserve, north)
    page = client.get("/rounds/heights/").content.decode()

    assert answer.status_code == 302
    assert steep > 1.15 * level
    assert "level" not in said
    assert "A grid of 60 by 60 heights is kept" in page
    client.post("/rounds/heights/", {"delete": "1"})
    assert on_foot(base.reserve, north)[0] == level


def test_a_climb_typed_at_a_site_slows_the_walk_there(base, north):
    level, _ = on_foot(base.reserve, north)
    north.climb_m = 700
    north.save()
    steep, said = on_foot(base.reserve, north)

    assert steep > 1.2 * level
    assert LEVEL not in said


def test_a_grid_of_another_place_or_in_metres_is_refused_with_what_is_needed(client, base):
    other = m.Reserve(latitude=10.0, longitude=10.0)
    answer = upload(client, grid(other))
    words = answer.content.decode()

    assert answer.status_code == 422
    assert "needed is one in degrees that holds the reserve" in words
    assert upload(client, "no grid at all").status_code == 422
    assert client.post("/rounds/heights/", {}).status_code == 422
    assert heights.grid_of(base.reserve) is None


def test_a_get_keeps_nothing_and_a_grid_makes_forecasts_stale(client, base, north):
    forecasts.make(base.reserve, base.now)
    client.get("/rounds/heights/")
    assert not heights.path_of(base.reserve).exists()
    assert not forecasts.kept(base.reserve, base.now).stale
    upload(client, grid(base.reserve))

    assert forecasts.kept(base.reserve, base.now).stale


def test_a_broken_grid_on_the_disk_is_as_good_as_none(base, north):
    path = heights.path_of(base.reserve)
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("ncols x\n")

    assert heights.grid_of(base.reserve) is None
    assert LEVEL in on_foot(base.reserve, north)[1]


def test_a_lock_that_was_missing_is_carried(base):
    deployment = m.Deployment.objects.filter(end__isnull=True, site__reserve=base.reserve).first()
    m.Visit.objects.create(
        site=deployment.site, deployment=deployment, at=base.now, arrival="working", lock_left="missing"
    )
    today = base.now.astimezone(base.reserve.zone_info).date()
    forecasts.make(base.reserve, base.now)
    found = next(d for d in due.due(base.reserve, base.now, days=[today], next_days=30) if d.site == deployment.site)

    assert found.wants.locks == 1
    assert found.load_kg >= due.LOCK_KG
    assert any(words.startswith("A lock for ") for words in found.work)


def test_the_command_tells_that_walks_are_reckoned_level(base, north):
    from click.testing import CliRunner

    from trod.commands.rounds import rounds

    day = base.now.astimezone(base.reserve.zone_info).date().isoformat()
    done = CliRunner().invoke(rounds, ["--day", day, "--which", "all", "--on-foot"], catch_exceptions=False)

    assert done.exit_code == 0, done.output
    assert LEVEL in " ".join(done.output.split())
    told = json.loads(
        CliRunner().invoke(rounds, ["--day", day, "--which", "all", "--json"], catch_exceptions=False).output
    )
    assert any(LEVEL in words for words in told["assumed"])

"""The hills around a site from a height grid: kept with the site, taken back, refused in words."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from trod.catalogue import models as m

pytestmark = pytest.mark.django_db
PAGE = "/map/sites/of/meadow/planner/hills/"


def grid(site: m.Site, *, size: int = 41) -> bytes:
    """A plain with a wall in the east, the site in its middle."""
    cell = 0.001
    head = (
        f"ncols {size}\nnrows {size}\nxllcorner {site.longitude - size * cell / 2}\n"
        f"yllcorner {site.latitude - size * cell / 2}\ncellsize {cell}\n"
    )
    line = " ".join(["500"] * (size - 2) + ["800"] * 2)
    return (head + "\n".join([line] * size)).encode()


def bring(client, data: bytes):
    return client.post(PAGE, {"file": SimpleUploadedFile("hills.asc", data)})


def test_the_hills_of_a_grid_stand_with_the_site_and_can_be_taken_back(client, cast):
    cast.meadow.ground = {"offset_m": 3.0}
    cast.meadow.save()
    answer = bring(client, grid(cast.meadow))
    cast.meadow.refresh_from_db()

    assert answer.status_code == 302
    east = dict(tuple(map(float, pair.split())) for pair in cast.meadow.ground["horizon"].split(", "))[90.0]
    assert 8 < east < 13  # 300 m over some 1.4 km
    assert cast.meadow.ground["offset_m"] == 3.0
    assert "As it stands" in client.get(PAGE).content.decode()

    client.post("/people/undo/")
    cast.meadow.refresh_from_db()
    assert cast.meadow.ground == {"offset_m": 3.0}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\xff\xd8\xff not a grid", "no ncols"),
        (b"ncols 2\nnrows 2\nxllcorner 380000\nyllcorner 5230000\ncellsize 25\n1 2 3 4", "a grid in degrees"),
        (b"ncols 2\nnrows 2\nxllcorner 1\nyllcorner 1\ncellsize 0.1\n1 2 3 4", "a point inside the height grid"),
    ],
)
def test_what_is_no_grid_of_this_place_is_refused_and_nothing_is_kept(client, cast, data, words):
    answer = bring(client, data)
    cast.meadow.refresh_from_db()

    assert answer.status_code == 422 and words in answer.content.decode()
    assert not cast.meadow.ground.get("horizon")

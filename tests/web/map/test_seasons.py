"""Closed seasons as people write them."""

from __future__ import annotations

import pytest

from trod.errors import WrongInput
from trod.web.forms import seasons


@pytest.mark.parametrize(
    "line",
    [
        "1 Apr – 15 Jul: ground-nesting birds",
        "1 April - 15 July: ground-nesting birds",
        "Apr 1 to Jul 15; ground-nesting birds",
        "04-01 – 07-15: ground-nesting birds",
    ],
)
def test_a_closed_season_is_read_however_its_days_are_written(line: str) -> None:
    assert seasons.read(line) == [{"from": "04-01", "to": "07-15", "why": "ground-nesting birds"}]


def test_what_is_kept_comes_back_as_it_can_be_typed_again() -> None:
    kept = seasons.read("1 Nov – 29 Feb: snow\n1 Apr – 15 Jul: birds: plovers and larks")

    assert seasons.write(kept) == "1 Nov – 29 Feb: snow\n1 Apr – 15 Jul: birds: plovers and larks"
    assert seasons.read(seasons.write(kept)) == kept


@pytest.mark.parametrize("line", ["in spring", "31 Feb – 2 Mar: ice", "1 Foo – 2 Bar", "1 Apr", "0 Apr – 3 May: x"])
def test_a_line_that_is_no_season_is_refused_with_an_example(line: str) -> None:
    with pytest.raises(WrongInput) as told:
        seasons.read(line)

    assert "needed" in str(told.value)


def test_what_is_no_season_in_the_record_is_passed_over() -> None:
    assert seasons.write([{"from": "x"}, "words", {"from": "04-01", "to": "05-01"}]) == "1 Apr – 1 May: closed"


@pytest.mark.django_db
def test_a_site_keeps_its_way_its_dangers_and_its_closed_seasons(client, cast) -> None:
    form = {
        "name": "Meadow", "feature": "meadow", "latitude": "47.3", "longitude": "13.9", "access": "Past the mill.",
        "safety": "Bog.", "closed_lines": "1 Apr – 15 Jul: birds", "losses_per_year": "0.5", "disturbance_days": "3",
    }  # fmt: skip
    answer = client.post("/map/sites/of/meadow/change/", form)

    assert answer.status_code == 302
    cast.meadow.refresh_from_db()
    assert cast.meadow.closed == [{"from": "04-01", "to": "07-15", "why": "birds"}]
    assert (cast.meadow.losses_per_year, cast.meadow.disturbance_days, cast.meadow.safety) == (0.5, 3, "Bog.")
    page = client.get("/map/sites/of/meadow/").content.decode()
    assert "1 Apr – 15 Jul: birds" in page and "Past the mill." in page


@pytest.mark.django_db
def test_a_season_that_cannot_be_read_comes_back_as_it_was_typed(client, cast) -> None:
    form = {"name": "Meadow", "feature": "meadow", "latitude": "47.3", "longitude": "13.9", "closed_lines": "in spring"}
    answer = client.post("/map/sites/of/meadow/change/", form)

    assert answer.status_code == 422
    assert "in spring" in answer.content.decode() and "ground-nesting birds" in answer.content.decode()

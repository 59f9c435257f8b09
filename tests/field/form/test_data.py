"""A field form is made from whole and sensible records, or not at all."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from trod.errors import WrongInput


def test_a_round_of_three_stops_is_taken_as_it_is(made: Any) -> None:
    field_form = made.field_form()

    assert [stop.site_name for stop in field_form.stops] == ["Alder Ford", "Barn Track", "Crag Saddle"]
    assert field_form.version == 1


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("field_form_id", "7", "field_form_id: got '7'; needed: a UUID in small letters, such as str(uuid.uuid4())"),
        ("made_at", datetime(2026, 10, 16), "a time with its time zone"),
        ("reserve", "  ", "a name each"),
        ("stops", (), "1 to 200; part a longer round into several field forms"),
        ("system", "cubits", "metric or us"),
        ("version", 2, "version: got 2; needed: 1"),
        ("upload_path", "//elsewhere.example/x?", "a path that begins with /, without a query"),
        ("upload_token", "a\r\nCookie: b", "letters, digits and"),
        ("addresses", ("javascript:alert(1)",), "http:// or https:// with a host, without a path"),
        ("cautions", ("x" * 5000,), "cautions: got '5000 characters'; needed: at most 4000 characters"),
        ("tell", (("Call", "x" * 5000),), "at most 4000 characters"),
    ],
)
def test_what_cannot_be_carried_is_refused_by_name(made: Any, field: str, value: Any, words: str) -> None:
    with pytest.raises(WrongInput) as told:
        made.field_form(**{field: value})

    assert words in str(told.value)


def test_a_refusal_does_not_print_the_token(made: Any) -> None:
    with pytest.raises(WrongInput) as told:
        made.field_form(upload_token="secret one")

    assert "secret" not in str(told.value)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("site_slug", "Alder Ford", "small letters, digits, dashes"),
        ("site_name", " ", "a name"),
        ("utc_offset_min", 900, "minutes from -840 to 840, or None"),
        ("deployment_slug", "../x", "small letters, digits, dashes"),
    ],
)
def test_a_stop_that_cannot_be_is_refused_by_name(made: Any, field: str, value: Any, words: str) -> None:
    with pytest.raises(WrongInput) as told:
        made.stop(**{field: value})

    assert words in str(told.value)


def test_a_site_stands_only_once_in_a_round(made: Any) -> None:
    with pytest.raises(WrongInput) as told:
        made.field_form(made.stop(), made.stop())

    assert str(told.value) == ("stops: got 'alder-ford'; needed: each site once; put what is to do there into one stop")

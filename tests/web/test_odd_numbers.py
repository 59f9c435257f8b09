"""Numbers in addresses that are none: other scripts' digits, powers, numbers without end."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.django_db

ODD = ("³", "٣", "½", "9" * 5000, "9" * 19, "-1", "nan", "", "\x00")


@pytest.mark.parametrize(
    "address",
    [
        "/?days={}", "/rounds/?days={}", "/map/?month={}", "/cameras/deployments/new/?camera={}",
        "/cameras/deployments/of/meadow-2026-03-03/clock/?visit={}", "/cameras/maintenance/locks/new/?camera={}",
    ],
)  # fmt: skip
def test_a_number_that_is_none_opens_the_page_as_without_it(client, cast, address):
    from urllib.parse import quote

    known = client.get(address.format(""))
    assert known.status_code == 200, address
    for odd in ODD:
        assert client.get(address.format(quote(odd))).status_code == 200, odd


def test_forms_of_our_own_take_no_other_digits(client, cast):
    for odd in ODD:
        assert client.post("/cameras/maintenance/stock/visits/", {"visit": [odd], "number_1": odd}).status_code in (
            200,
            302,
        )

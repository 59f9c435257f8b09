"""The placement planner at the ends of what it accepts, and past them: never a fault, never a sentence without sense."""

from __future__ import annotations

import html
import random
import re

import pytest
from nonsense import nonsense, odd_animal, odd_inputs

from trod.catalogue import models as m
from trod.planning.place import inputs
from trod.web.planner.forms import LIMITS, WORDS, PlannerForm

pytestmark = pytest.mark.django_db
FORD = "/map/sites/of/ford/planner/"
MARKUP = "<b>zz</b>"
HOSTILE = (
    "nan", "inf", "-inf", "1e999", "-1e999", "-0", "0", "-1", "1e-300", "9" * 5000, "٣", "½", "0x10", "1_0", "1,5",
    MARKUP, "'; --", "\x00", "\u202e5", "🦌", " ", "1 m", "--1", "1e", "None",
)  # fmt: skip


def read(answer) -> str:
    """What a person reads of a page: no tags, no scripts, no drawing's coordinates."""
    text = re.sub(r"(?s)<(script|style)\b.*?</\1>", " ", answer.content.decode())
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)))


@pytest.mark.parametrize("latitude", [-90, -45, 0, 70])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_at_the_ends_of_every_box_the_planner_answers_with_sense(client, cast, model, latitude, units):
    m.Site.objects.filter(pk=cast.ford.pk).update(latitude=latitude, longitude=-180)
    rng = random.Random(latitude)
    answered = 0
    for _ in range(6):
        odd = odd_inputs(rng)
        form = PlannerForm.of_inputs(odd, animal=odd_animal(rng), camera_model="umber-two", units=units, models=[])
        answer = client.post(f"{FORD}answer/", form.data)
        text = read(answer)

        assert answer.status_code in (200, 422), odd
        assert nonsense(text) == [], (odd, units)
        answered += answer.status_code == 200
    assert answered >= 3


@pytest.mark.parametrize("name", [*LIMITS, "snow_3"])
def test_no_number_that_is_none_brings_the_planner_down(client, cast, model, told, name):
    feature = "feeding" if name.startswith(("patch", "herd")) else "ford"
    for value in HOSTILE:
        answer = client.post(f"{FORD}answer/", told | {"feature": feature, name: value})
        text = read(answer)

        assert answer.status_code in (200, 422), value
        assert MARKUP not in answer.content.decode()
        if answer.status_code == 422:
            assert "needed" in text or "tell" in text, (name, value, text[:400])
            assert len(text) < 4000
        else:
            assert nonsense(text) == [], (name, value)


@pytest.mark.parametrize("name", ["camera_model", *WORDS, "horizon"])
def test_no_word_that_is_none_brings_the_planner_down(client, cast, model, told, name):
    for value in HOSTILE:
        for address in (f"{FORD}answer/", f"{FORD}closer/", f"{FORD}keep/", f"{FORD}place/", FORD):
            answer = client.post(address, told | {name: value, "name": value})

            assert answer.status_code in (200, 204, 302, 422), (address, value)
            assert MARKUP not in answer.content.decode()


@pytest.mark.parametrize(
    ("wrong", "told_back"),
    [
        ({"triggers": "9999"}, "Triggers a day: got 9999; needed: a number from 0 to 5000"),
        ({"days": "nan"}, "Days until the next visit: got nan; needed: a number from 0.5 to 1500"),
        ({"card_gb": "0"}, "Card: got 0; needed: a number from 0.1 to 4000 GB"),
    ],
)
def test_limits_are_told_in_plain_numbers(client, cast, model, told, wrong, told_back):
    assert told_back in read(client.post(f"{FORD}answer/", told | wrong))


@pytest.mark.parametrize(("name", "end"), [(name, end) for name in inputs.LIMITS for end in ("least", "most")])
def test_what_was_kept_at_the_end_of_a_box_comes_back_in_feet_and_is_taken(name, end):
    """A box shows two decimals; half of the last is not held against a person."""
    value = getattr(inputs.LIMITS[name], end)
    form = PlannerForm.of_inputs({name: value, "feature": "feeding" if "patch" in name else "trail"}, animal="elk",
                              camera_model="", units="us", models=[])  # fmt: skip
    form.inputs()

    assert form.errors == {}


def test_the_address_of_a_planner_may_hold_anything(client, cast, model):
    for query in (
        "units=us&height_m=nan", "placement=%00", "placement=x&units=metric", "units=metric&animal=", "over=1",
        "units=metric&closely=1&animal=elk&feature=feeding&herd=1000", "month_1=on&units=us&animal=lynx",
    ):  # fmt: skip
        answer = client.get(f"{FORD}?{query}")

        assert answer.status_code in (200, 422), query

"""Settings for a site: what is asked, what is advised, what it costs, how it is handed over."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from trod.catalogue.answers import prefill
from trod.catalogue.models import Card, Identification, Observation, Sequence, Species, Visit
from trod.catalogue.rows import specs
from trod.planning.catch.animals import animal
from trod.planning.place import adviser
from trod.planning.place.adviser import Inputs, Wish
from trod.telling import settings as told
from trod.web.map.advice import settings
from trod_demo.camera_models import CAMERA_SPECS

pytestmark = pytest.mark.django_db


def page(client, site, **asked):
    return client.get(reverse("map:settings", args=[site.slug]), asked)


def start(cast, site=None):
    return prefill.start_of(site or cast.meadow, cast.now)


def test_a_site_without_cards_begins_with_what_is_usual_for_its_kind(cast):
    found = start(cast, cast.ford)

    assert found.triggers.value == 8.0
    assert found.triggers.why == "assumed for a site of the kind ford"
    assert (found.days.value, found.days.why) == (60.0, "assumed")
    assert found.aim == "species"  # what a ford tells best, by the season's table


def test_a_site_with_cards_begins_with_what_they_showed(cast, bring_sequences):
    begun = cast.deployment.start
    bring_sequences([begun + timedelta(days=d) for d in range(100)], home=begun + timedelta(days=100))
    cast.deployment.burst = 3
    cast.deployment.save()
    Sequence.objects.filter(pk__in=Sequence.objects.values("pk")[:30]).update(infrared=True)
    Sequence.objects.filter(infrared__isnull=True).update(infrared=False)
    # Frames by the clock are no triggers.
    Sequence.objects.create(
        key="noon", deployment=cast.deployment, start_at=begun, end_at=begun, frames=500, time_lapse=True
    )

    found = start(cast)

    # A hundred sequences of three pictures, three pictures a trigger, in about a hundred days.
    assert found.triggers.value == pytest.approx(1.0, abs=0.02)
    assert found.triggers.why.endswith("camera-days of this site's cards")
    assert found.night_share.value == 0.3


def test_the_usual_time_between_visits_is_taken_where_there_were_some(cast):
    for days in (0, 40, 85, 125):
        Visit.objects.create(site=cast.meadow, at=cast.now - timedelta(days=days))

    assert (start(cast).days.value, start(cast).days.why) == (40.0, "as between the last 4 visits")


def test_the_card_and_the_camera_that_stand_there_are_taken(cast):
    cast.red.model, _ = specs.store(CAMERA_SPECS[2])
    cast.red.save()
    Card.objects.create(label="C-9", size_gb=128)

    found = start(cast)

    assert found.model == cast.red.model.slug
    assert (found.card_gb.value, found.card_gb.why) == (32, "card C-1 is in the camera here")


def test_the_animal_that_people_saw_most_is_asked_about(cast, bring_sequences):
    fox = Species.objects.create(name="Fox", slug="fox", scientific_name="Vulpes vulpes")
    bring_sequences([cast.now - timedelta(days=3)])
    sequence = Sequence.objects.get()
    word = Identification.objects.create(sequence=sequence, by="Ada", at=cast.now)
    Observation.objects.create(identification=word, what="animal", species=fox, count=1)

    assert start(cast).animal == "red_fox"


def test_the_page_says_settings_first_then_each_with_reason_and_price(client, cast):
    specs.store(CAMERA_SPECS[0])
    answer = page(client, cast.ford, aim="species", animal="red_deer", triggers="15", night="50", days="60")

    text = answer.content.decode()
    assert answer.status_code == 200
    assert "Take pictures, 3 a burst, without delay, at high sensitivity" in text
    advice = answer.context["advice"]
    # Three pictures against one: 15 triggers, two more pictures each at (1.5 + 10)/2 J and (3.6 + 2.0)/2 MB.
    burst = advice.setting("burst")
    assert burst.extra_wh == pytest.approx(15 * 2 * 5.75 / 3600)
    assert burst.extra_mb == pytest.approx(15 * 2 * 2.8)
    choice = next(c for c in answer.context["choices"] if c.setting.key == "burst")
    assert choice.adds == "+0.048 Wh and +84 MB a day"
    total = advice.price
    assert choice.other == (
        f"With one picture all would cost {total.wh_a_day - burst.extra_wh:.2g} Wh and "
        f"{total.mb_a_day - burst.extra_mb:.2g} MB a day."
    )
    assert "How long it lasts" in text
    assert "Plan on" in answer.context["lasting"].sentence


def test_every_setting_that_costs_something_tells_what_the_other_would_cost():
    for aim in told.AIMS:
        wish = Wish(aim=aim, feature="feeding", animal=animal("red_deer"), herd=10, triggers=80)
        for one in settings.choices(adviser.advise(CAMERA_SPECS[0], wish), "metric"):
            assert one.adds
            assert "e+" not in one.adds + one.other
            if one.other:
                assert re.fullmatch(r"With .+ all would cost \S+ Wh and \S+ MB a day\.", one.other)


def test_settings_are_handed_over_to_a_new_deployment(client, cast):
    link = settings.deployment_link(cast.ford, Inputs(burst=3, delay_s=60.0, sensitivity="medium", time_lapse_h=1.0))

    form = client.get(link).context["form"]
    assert getattr(form["site"].value(), "pk", form["site"].value()) == cast.ford.pk
    assert [form[name].value() for name in ("mode", "burst", "delay_s", "sensitivity", "time_lapse_h")] == [
        "picture", "3", "60", "medium", "1",
    ]  # fmt: skip


def test_a_warm_day_is_typed_in_fahrenheit_by_whoever_reads_those(client, cast):
    client.cookies["units"] = "us"
    answer = page(client, cast.ford, air="86")

    assert answer.status_code == 200
    assert answer.context["form"].cleaned_data["air"] == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"triggers": "-3"}, "greater than or equal to 0"),
        ({"aim": "everything"}, "not one of the available choices"),
        ({"herd": "0"}, "greater than or equal to 1"),
        ({"air": "400"}, "needed: -60 to 60 °C"),
        ({"days": "nan"}, "Enter a number"),
        ({"card_gb": "1e999"}, "Enter a number"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(client, cast, asked, told):
    answer = page(client, cast.ford, **asked)

    text = answer.content.decode()
    assert answer.status_code == 422
    assert "No advice yet." in text
    assert told in text
    assert "Camera settings</h2>" not in text


def test_without_any_camera_model_usual_figures_are_taken_and_said(client, cast):
    text = page(client, cast.ford).content.decode()

    assert "no camera model in particular" in text
    assert "so that is assumed" in text


def test_asking_for_settings_writes_nothing(client, cast):
    with CaptureQueriesContext(connection) as queries:
        page(client, cast.meadow)
    assert not [q for q in queries if not q["sql"].lstrip().upper().startswith(("SELECT", "SAVEPOINT", "RELEASE"))]


def test_a_reserves_own_nights_are_taken_and_nonsense_is_not(cast):
    cast.reserve.climate = {"minimum_c": [-9] * 12, "source": "typed in"}
    assert settings.climate_of(cast.reserve).minimum_c == (-9.0,) * 12
    for nonsense in ({"minimum_c": [1, 2]}, {"minimum_c": ["x"] * 12}, {"minimum_c": [999] * 12}, []):
        cast.reserve.climate = nonsense
        assert settings.climate_of(cast.reserve).assumed

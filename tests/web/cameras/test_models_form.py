"""The form of a camera model: the maker's word and what was measured."""

from __future__ import annotations

import pytest
from django.urls import reverse

from trod.catalogue.rows.specs import spec_of
from trod.web.cameras.models_form import CameraModelForm

pytestmark = pytest.mark.django_db
NEW = {"maker": "Tarnbeckle", "name": "Lanthorn 3"}


def kept(data, instance=None, units="metric"):
    form = CameraModelForm(data, instance=instance, units=units)
    assert form.is_valid(), form.errors
    row = form.keep()
    row.refresh_from_db()
    return row


def typed(row, **changes):
    """What the browser sends of an untouched form, with changes."""
    units = changes.pop("units", "metric")
    form = CameraModelForm(instance=row, units=units)
    values = {name: form[name].value() for name in form.fields}
    return {name: "" if value is None else value for name, value in values.items()} | changes


def test_the_makers_word_and_the_measurement_stand_apart(trod_home):
    row = kept({**NEW, "trigger_time_s": "0.3", "measured_trigger_s": "0.42", "measured_burst_max": "3"})

    assert row.trigger_time_s == 0.3
    assert row.measured == {"trigger_s": 0.42, "burst_max": 3}
    spec = spec_of(row)
    assert (spec.figure("trigger_s").value, spec.figure("trigger_s").origin) == (0.42, "measured")
    assert spec.claimed.trigger_s == 0.3


def test_a_measurement_that_is_cleared_is_gone_and_what_else_was_kept_stays(trod_home):
    row = kept({**NEW, "measured_range_m": "17"})
    row.measured = {**row.measured, "mtf50": 0.2}
    row.save()

    row = kept(typed(row, measured_range_m=""), instance=row)

    assert row.measured == {"mtf50": 0.2}


def test_a_form_sent_back_untouched_changes_nothing_in_feet_either(trod_home):
    row = kept({**NEW, "detection_range_m": "23.7", "measured_range_m": "18.3", "measured_flash_reach_m": "11"})

    row = kept(typed(row, units="us"), instance=row, units="us")

    assert row.detection_range_m == 23.7
    assert row.measured == {"range_m": 18.3, "flash_reach_m": 11}


def test_feet_come_in_as_metres(trod_home):
    row = kept({**NEW, "measured_range_m": "60"}, units="us")

    assert row.measured["range_m"] == pytest.approx(18.288)


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("measured_zone_deg", "175", "got 175 °; needed: from 1 ° to 170 °"),
        ("detection_angle_deg", "175", "got 175 °; needed: from 1 ° to 170 °"),
        ("measured_idle_mw", "-1", "needed: from 0 to 1000"),
        ("measured_columns", "3", "needed: from 16 to 60000"),
        ("native_megapixels", "-5", "needed: from 0.01 to 1000"),
    ],
)
def test_a_figure_beyond_what_can_be_is_refused_with_its_limits(trod_home, field, value, told):
    form = CameraModelForm({**NEW, field: value}, units="metric")

    assert not form.is_valid()
    assert told.replace(" °", "") in " ".join(form.errors[field]).replace(" °", "")


def test_batteries_are_told_by_the_standards_designation(trod_home):
    row = kept({**NEW, "battery_count": "8", "battery_kind": "FR6"})
    assert (row.battery_kind, row.batteries) == ("FR6", "8 × FR6")

    row = kept(typed(row, battery_kind="LR6"), instance=row)
    assert row.batteries == "8 × LR6"  # what was made of number and kind follows them

    row = kept(typed(row, batteries="8 of the blue ones", battery_kind="HR6"), instance=row)
    assert row.batteries == "8 of the blue ones"  # a person's own words stay


def test_another_kind_of_battery_needs_its_designation_and_comes_back_as_typed(trod_home):
    form = CameraModelForm({**NEW, "battery_kind": "other"})
    assert not form.is_valid()
    assert "designation" in form.errors["battery_other"][0]

    row = kept({**NEW, "battery_kind": "other", "battery_other": "LR20"})
    assert row.battery_kind == "LR20"
    assert CameraModelForm(instance=row)["battery_kind"].value() == "other"
    assert CameraModelForm(instance=row)["battery_other"].value() == "LR20"


def test_the_page_keeps_a_model_and_shows_it(client, cast):
    answer = client.post(reverse("cameras:model_new"), {**NEW, "field_of_view_deg": "42", "measured_fov_deg": "35"})

    assert answer.status_code == 302
    page = client.get(answer["Location"]).content.decode()
    assert "17 % less than stated" in page
    assert "detection zone and field of view from above" in page
    assert client.get(reverse("cameras:model_edit", args=["tarnbeckle-lanthorn-3"])).status_code == 200


def test_a_mistake_comes_back_marked_with_what_was_typed(client, cast):
    answer = client.post(reverse("cameras:model_new"), {**NEW, "measured_trigger_s": "99"})

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Not kept yet" in page
    assert 'value="99"' in page
    assert "got 99; needed: from 0 to 60" in page

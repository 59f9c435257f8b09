"""The placement planner's pages: working out, keeping, choosing, telling the place, noting walk tests."""

from __future__ import annotations

import html
import json
import re
from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from forms_on_pages import forms_of

from trod.catalogue import models as m
from trod.web.planner.forms import SITE_COLUMNS
from trod.web.shared import placing as answers

pytestmark = pytest.mark.django_db
FORD = "/map/sites/of/ford/planner/"
MEADOW = "/map/sites/of/meadow/planner/"


def text(answer):
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode())))


def writes(queries):
    return [q["sql"] for q in queries.captured_queries if not q["sql"].startswith(("SELECT", "SAVEPOINT", "RELEASE"))]


def keep(client, told, address=FORD, **more):
    return client.post(f"{address}keep/", told | more)


# --- working out ---------------------------------------------------------------------------------


def test_the_planner_begins_with_what_is_known_of_the_place(client, cast, model):
    cast.ford.path_bearing_deg, cast.ford.slope_deg = 130, -4
    cast.ford.ground = {"offset_m": 6.5, "cover": "scrub", "snow_m": [0.4] * 12}
    cast.ford.save()
    page = client.get(FORD)
    form = page.context["form"]

    assert page.status_code == 200
    assert {k: form.data[k] for k in ("path_bearing_deg", "slope_deg", "offset_m", "cover", "snow_deepest_m")} == {
        "path_bearing_deg": "130", "slope_deg": "-4", "offset_m": "6.5", "cover": "scrub", "snow_deepest_m": "0.4",
    }  # fmt: skip
    assert form.model_slug == "umber-two"
    assert f'href="{FORD}field/?model=umber-two"' in page.content.decode()


def test_the_camera_that_stands_here_is_the_one_that_is_reckoned_with(client, cast, model):
    other = m.CameraModel.objects.create(maker="Ash", name="One", slug="ash-one")
    m.Camera.objects.filter(pk=cast.blue.pk).update(model=other)
    cast.red.model = model
    cast.red.save()

    assert client.get(MEADOW).context["form"].model_slug == "umber-two"
    assert client.get(FORD).context["form"].model_slug == "ash-one"  # Blue is at home


def test_an_answer_says_a_sentence_and_its_chances_and_draws_both_views(client, cast, model, told):
    answer = client.post(f"{FORD}answer/", told)
    said = text(answer)

    assert answer.status_code == 200
    assert "Hang the camera about" in said and "By day: of 100 that pass" in said
    assert "±" in said
    assert answer.content.decode().count("<svg") >= 3
    assert {"said", "chances", "plan", "side", "why", "minds", "advised"} <= set(
        re.findall(r'data-part="(\w+)"', answer.content.decode())
    )


def test_an_answer_writes_nothing_and_asks_little(client, cast, model, told):
    client.post(f"{FORD}answer/", told)
    with CaptureQueriesContext(connection) as queries:
        client.post(f"{FORD}answer/", told | {"height_m": "1.37"})

    assert writes(queries) == []
    assert len(queries) <= 6


def test_a_closer_answer_writes_nothing_either_and_tells_the_other_animals(client, cast, model, told):
    m.Species.objects.create(name="Reh", slug="reh", scientific_name="Capreolus capreolus")
    m.Species.objects.create(name="Fuchs", slug="fuchs", scientific_name="Vulpes vulpes")
    with CaptureQueriesContext(connection) as queries:
        answer = client.post(f"{FORD}closer/", told | {"planner": "a", "turn": "1"})

    assert writes(queries) == []
    assert [line["name"] for line in answer.context["paces"]] and len(answer.context["paces"]) == 2
    assert "Refined" in text(answer) and "The sun's year" in text(answer)
    assert "Simulated for this camera and animal" in text(answer)


def test_a_question_that_is_out_of_date_is_not_worked_out_closely(client, cast, model, told):
    client.post(f"{FORD}answer/", told | {"planner": "b", "turn": "9"})
    answer = client.post(f"{FORD}closer/", told | {"planner": "b", "turn": "8", "height_m": "1.91"})

    assert (answer.status_code, answer.content) == (204, b"")


def test_a_wrong_value_is_told_and_the_last_answer_is_left_standing(client, cast, model, told):
    answer = client.post(f"{FORD}answer/", told | {"height_m": "90"})

    assert answer.status_code == 422
    assert "Lens height: got 90; needed: a number from 0.05 to 30 m" in text(answer)
    assert 'data-wrong="height_m"' in answer.content.decode()
    assert 'data-part="plan"' not in answer.content.decode()


@pytest.mark.parametrize(
    "wrong",
    [
        {"camera_model": "<i>moon</i>"}, {"animal": "unicorn"}, {"feature": "moon"}, {"horizon": "north high"},
        {"patch_near_m": "9", "feature": "feeding"}, {"air_cold_c": "20", "air_warm_c": "-20"}, {"turn": "-1"},
        {"snow_3": "x"}, {"months": "13"}, {"units": "cubits"},
    ],
)  # fmt: skip
def test_hostile_input_is_refused_in_words_and_never_a_fault(client, cast, model, told, wrong):
    answer = client.post(f"{FORD}answer/", told | wrong)

    assert answer.status_code in (200, 422)
    assert "<i>moon</i>" not in answer.content.decode()


def test_without_script_the_form_comes_back_under_an_address_that_keeps_what_was_told(client, cast, model, told):
    answer = client.post(FORD, told | {"height_m": "1.25", "closely": "1"})
    asked = parse_qs(urlsplit(answer.url).query)
    page = client.get(answer.url)

    assert answer.status_code == 302
    assert asked["height_m"] == ["1.25"] and "csrfmiddlewaretoken" not in asked
    assert page.context["setup"].advice.height_m == 1.25
    assert "The sun's year" in text(page) and "Others that pass here" in text(page)


def test_feet_are_answered_in_feet(client, cast, model, told):
    answer = client.post(f"{FORD}answer/", told | {"units": "us", "height_m": "3", "offset_m": "13"})

    assert answer.context["setup"].advice.height_m == pytest.approx(0.9144)
    assert "Hang the camera about 3 ft up" in text(answer)


def test_without_any_camera_model_the_planner_reckons_with_usual_figures_and_says_so(client, cast):
    page = client.get(FORD)

    assert page.status_code == 200
    assert "Nobody says the camera's" in text(page)


def test_a_feeding_ground_shows_the_height_that_pays(client, cast, model, told):
    herd = told | {"feature": "feeding", "animal": "red_deer", "herd": "30", "patch_near_m": "8", "patch_far_m": "24"}

    assert "The height that pays" in text(client.post(f"{FORD}answer/", herd))
    assert "The height that pays" not in text(client.post(f"{FORD}answer/", told))


# --- the place -----------------------------------------------------------------------------------


def test_what_was_told_of_the_place_stands_with_the_site_only_when_asked(client, cast, model, told):
    told |= {"cover": "scrub", "slope_deg": "7", "horizon": "90 12", "snow_1": "0.5", "tree_diameter_cm": "31"}
    client.post(f"{FORD}answer/", told)
    cast.ford.refresh_from_db()
    assert cast.ford.ground == {} and cast.ford.slope_deg is None
    client.post(f"{FORD}place/", told)
    cast.ford.refresh_from_db()

    assert (cast.ford.slope_deg, cast.ford.path_bearing_deg, cast.ford.tree_diameter_cm) == (7, 40, 31)
    assert cast.ford.ground["cover"] == "scrub" and cast.ford.ground["horizon"] == "90 12"
    assert cast.ford.ground["snow_m"] == [0.5] + [0.0] * 11
    assert client.get(FORD).context["form"].data["snow_1"] == "0.5"


def test_telling_a_feeding_ground_does_not_forget_its_path_nor_what_others_wrote(client, cast, model, told):
    cast.meadow.path_bearing_deg, cast.meadow.ground = 85, {"offset_m": 3, "sketch": "by the old fence"}
    cast.meadow.save()
    client.post(f"{MEADOW}place/", told | {"feature": "meadow", "patch_near_m": "6", "patch_far_m": "20"})
    cast.meadow.refresh_from_db()

    assert cast.meadow.path_bearing_deg == 85
    assert cast.meadow.ground == {
        "offset_m": 3, "sketch": "by the old fence", "patch_near_m": 6.0, "patch_far_m": 20.0,
    }  # fmt: skip


def test_telling_the_place_can_be_undone(client, cast, model, told):
    client.post(f"{FORD}place/", told | {"slope_deg": "7"})
    client.post("/people/undo/")
    cast.ford.refresh_from_db()

    assert [getattr(cast.ford, name) for name in SITE_COLUMNS] == [None, None, None, None, "ford"]


# --- keeping -------------------------------------------------------------------------------------


def test_three_ways_are_kept_and_a_fourth_is_asked_whose_place_it_takes(client, cast, model, told):
    for n in (1, 2, 3):
        keep(client, told, name=f"way {n}", height_m=f"0.{n + 4}")
    answer = client.post(f"{FORD}keep/", told | {"name": "way 4"}, follow=True)

    assert [(p.turn, p.name) for p in cast.ford.placements.order_by("turn")] == [
        (1, "way 1"), (2, "way 2"), (3, "way 3"),
    ]  # fmt: skip
    assert "Three ways are kept here already" in text(answer)


def test_a_way_kept_over_another_can_be_undone(client, cast, model, told):
    keep(client, told, name="low", height_m="0.5")
    row = cast.ford.placements.get()
    keep(client, told, name="high", height_m="1.5", over=str(row.uuid))
    row.refresh_from_db()
    assert (row.name, row.inputs["height_m"]) == ("high", 1.5)
    client.post("/people/undo/")
    row.refresh_from_db()

    assert (row.name, row.inputs["height_m"]) == ("low", 0.5)


def test_maintenance_beside_others_leaves_the_one_kept_before_as_it_was(client, cast, model, told):
    """The page opens on the way just kept; the next one kept beside it must not take its place."""
    page = keep(client, told, name="low", height_m="0.5")
    row = cast.ford.placements.get()
    assert str(row.uuid) in page.url  # it is open now, and the list of places to take has it chosen
    keep(client, told, name="low", height_m="1.5", over=str(row.uuid), beside="1")

    assert [(p.name, p.inputs["height_m"]) for p in cast.ford.placements.order_by("turn")] == [
        ("low", 0.5), ("low 2", 1.5),
    ]  # fmt: skip


def test_the_button_to_keep_beside_others_says_so_to_the_page_behind_it(client, cast, model, told):
    page = client.get(keep(client, told, name="low").url)

    assert b'name="beside" value="1"' in page.content
    assert "Keep the change" in text(page)


def test_a_kept_way_holds_what_was_entered_in_and_comes_back_to_the_planner(client, cast, model, told):
    keep(client, told, name="low", height_m="0.5", angle_deg="60")
    row = cast.ford.placements.get()
    page = client.get(f"{FORD}kept/{row.uuid}/", follow=True)

    assert "angle_deg" not in row.inputs  # an angle is kept as the heading that makes it
    assert row.inputs["heading_deg"] in (pytest.approx(100), pytest.approx(340), pytest.approx(280), pytest.approx(160))
    assert page.context["form"].data["height_m"] == "0.5"
    assert row.camera_model == model and row.animal == "roe_deer"


def test_a_kept_way_stands_in_the_ledger(client, cast, model, told, django_capture_on_commit_callbacks, trod_home):
    with django_capture_on_commit_callbacks(execute=True):
        keep(client, told, name="low")
    ledger = json.loads((trod_home / "archive" / "ledger.json").read_text("utf-8"))

    assert [p["name"] for p in ledger["placements"]] == ["low"]


def test_nothing_is_kept_of_what_cannot_be_worked_out(client, cast, model, told):
    answer = client.post(f"{FORD}keep/", told | {"height_m": "90"}, follow=True)

    assert not cast.ford.placements.exists()
    assert "Not kept: Lens height: got 90" in text(answer)


def test_one_way_is_chosen_and_leads_to_its_setup_sheet(client, cast, model, told):
    for name in ("low", "high"):
        keep(client, told, name=name)
    low, high = cast.ford.placements.order_by("turn")
    for row in (low, high):
        answer = client.post(f"{FORD}kept/{row.uuid}/choose/")

    assert list(cast.ford.placements.filter(chosen=True)) == [high]
    assert answer.status_code == 302 and str(high.uuid) in answer.url


def test_maintenance_and_choosing_go_together(client, cast, model, told):
    answer = keep(client, told, name="low", choose="1")

    assert cast.ford.placements.get().chosen
    assert answer.url == f"/setup-sheets/{cast.ford.placements.get().uuid}/"


def test_side_by_side_tells_what_differs(client, cast, model, told):
    keep(client, told, name="low", height_m="0.5", slope_deg="5")
    keep(client, told, name="high", height_m="1.5", offset_m="8")
    rows = {label: (batteries, differ) for label, batteries, differ in client.get(f"{FORD}beside/").context["rows"]}

    assert rows["Lens height"] == (["0.50 m", "1.5 m"], True)
    assert rows["From tree or post to the path"] == (["4.0 m", "8.0 m"], True)
    assert rows["Camera"] == (["Umber Two", "Umber Two"], False)
    assert rows["Slope, falling away +"] == (["5 °", "not given"], True)


def test_a_kept_way_that_cannot_be_worked_out_any_more_is_told_and_harms_nobody(client, cast, model, told):
    keep(client, told, name="good")
    m.Placement.objects.create(
        site=cast.ford, turn=2, name="old", animal="gryphon", inputs={"height_m": "high"}, at=cast.now
    )
    page = client.get(f"{FORD}beside/")

    assert page.status_code == 200
    assert "It cannot be worked out any more" in text(page)
    assert client.get(FORD).status_code == 200


def test_a_way_is_renamed_but_not_to_nothing(client, cast, model, told):
    keep(client, told, name="low")
    row = cast.ford.placements.get()
    client.post(f"{FORD}kept/{row.uuid}/name/", {"name": "  from  the ash "})
    client.post(f"{FORD}kept/{row.uuid}/name/", {"name": " "})
    row.refresh_from_db()

    assert row.name == "from the ash"


def test_a_deleted_way_can_be_put_back(client, cast, model, told):
    keep(client, told, name="low")
    uuid = cast.ford.placements.get().uuid
    client.post(f"{FORD}kept/{uuid}/delete/")
    assert not cast.ford.placements.exists()
    client.post("/people/undo/")

    assert cast.ford.placements.get().uuid == uuid


def test_looking_never_saves(client, cast, model, told):
    keep(client, told, name="low")
    uuid = cast.ford.placements.get().uuid
    for address in ("answer/", "closer/", "keep/", "place/", f"kept/{uuid}/choose/", f"kept/{uuid}/delete/"):
        assert client.get(FORD + address).status_code == 405


def test_a_way_of_another_site_is_not_found(client, cast, model, told):
    keep(client, told, name="low")
    uuid = cast.ford.placements.get().uuid

    assert client.post(f"{MEADOW}kept/{uuid}/delete/").status_code == 404


def test_a_new_deployment_begins_as_it_was_placed(client, cast, model, told):
    keep(client, told, name="low", height_m="0.75", heading_deg="130")
    row = cast.ford.placements.get()
    page = client.get(f"/cameras/deployments/new/?placement={row.uuid}")
    initial = page.context["form"].initial

    assert (initial["site"], initial["camera"], initial["height_m"], initial["heading_deg"]) == (
        cast.ford, cast.blue, 0.75, 130,
    )  # fmt: skip
    assert initial["burst"] == 3 and initial["sensitivity"] == "high"
    client.post(
        f"/cameras/deployments/new/?placement={row.uuid}",
        {"camera": cast.blue.pk, "site": cast.ford.pk, "start": "2026-06-20T09:00", "mode": "picture", "burst": 3,
         "delay_s": 0, "sensitivity": "high", "height_m": "0.8"},
    )  # fmt: skip

    assert cast.ford.deployments.get().placement == row


def test_a_new_deployment_at_a_site_leads_to_its_planner(client, cast):
    assert FORD in client.get("/cameras/deployments/new/?site=ford").content.decode()
    assert client.get("/cameras/deployments/new/?placement=nonsense").status_code == 200
    assert f'href="{FORD}"' in client.get("/map/sites/of/ford/").content.decode()


# --- the field -----------------------------------------------------------------------------------


def walk(n=1, offset="4", angle="90", away="away", speed="1.2", got="whole"):
    return {f"offset_{n}": offset, f"angle_{n}": angle, f"away_{n}": away, f"speed_{n}": speed, f"got_{n}": got}


def test_a_walk_test_is_noted_past_the_camera_that_stands(client, cast, model):
    page = client.get(f"{MEADOW}walk-test/")
    assert page.context["form"].initial["at"]
    answer = client.post(
        f"{MEADOW}walk-test/",
        {"at": "2026-07-01T10:00", "by": "Ada"} | walk(1) | walk(2, away="towards", got="part") | walk(3, "", got=""),
    )
    (test,) = m.WalkTest.objects.all()

    assert answer.status_code == 302
    assert (test.deployment, test.by) == (cast.deployment, "Ada")
    assert test.walks == [
        {"offset_m": 4.0, "angle_deg": 90.0, "speed_m_s": 1.2, "got": "whole"},
        {"offset_m": 4.0, "angle_deg": 90.0, "speed_m_s": 1.2, "got": "part", "away": False},
    ]


def test_walks_come_back_in_feet_as_they_were_walked(client, cast, model):
    client.cookies["units"] = "us"
    client.post(f"{MEADOW}walk-test/", {"at": "2026-07-01T10:00"} | walk(1, offset="13"))
    test = m.WalkTest.objects.get()

    assert test.walks[0]["offset_m"] == pytest.approx(13 * 0.3048, abs=1e-3)
    assert client.get(f"{MEADOW}walk-test/{test.uuid}/").context["walks"][0]["offset"].value() == "13"


@pytest.mark.parametrize(
    ("one", "told"),
    [
        (walk(offset="far"), "needed: how far off the line lay"),
        (walk(offset="900"), "needed: from 0.3 to 100 m"),
        (walk(got=""), "say what its first picture shows"),
        (walk(speed="99"), "choose angle and speed from the lists"),
        (walk(offset="", got=""), "No walk is noted"),
    ],
)
def test_a_walk_that_cannot_be_noted_is_told_and_nothing_typed_is_lost(client, cast, model, one, told):
    answer = client.post(f"{MEADOW}walk-test/", {"at": "2026-07-01T10:00", "note": "by the ash"} | one)

    assert answer.status_code == 422
    assert told in text(answer)
    assert "by the ash" in text(answer)
    assert not m.WalkTest.objects.exists()


def test_a_kept_angle_and_speed_that_are_on_no_list_can_be_kept_again(client, cast, model):
    odd = {"offset_m": 4.0, "angle_deg": 72.5, "speed_m_s": 1.7, "got": "part"}
    test = m.WalkTest.objects.create(deployment=cast.deployment, at=cast.now, by="Ada", walks=[odd])
    page = client.get(f"{MEADOW}walk-test/{test.uuid}/").content.decode()

    assert '<option value="72.5" selected>72.5°</option>' in page
    assert '<option value="1.7" selected>as kept, 1.7 m/s</option>' in page
    form = next(one for one in forms_of(page, path=f"{MEADOW}walk-test/{test.uuid}/") if "got_1" in one.data())
    client.post(f"{MEADOW}walk-test/{test.uuid}/", form.data(offset_1="5"))
    assert m.WalkTest.objects.get().walks == [odd | {"offset_m": 5.0}]


def test_a_walk_in_feet_and_inches_is_read_and_what_is_wrong_stands_at_its_line(client, cast, model):
    m.Reserve.objects.update(units="us")
    told = {"at": "2026-07-01T10:00"}
    wrong = client.post(f"{MEADOW}walk-test/", told | walk(1) | walk(2, offset="half an inch")).content.decode()

    assert 'id="walk-2-error"><li>got “half an inch”; needed: how far off the line lay, in ft</li>' in wrong
    assert 'aria-describedby="walk-2-error"' in wrong and "walk-1-error" not in wrong
    client.post(f"{MEADOW}walk-test/", told | walk(1, offset="13 ft 2 in") | walk(2, offset="", got=""))
    assert m.WalkTest.objects.get().walks[0]["offset_m"] == pytest.approx((13 + 2 / 12) * 0.3048, abs=1e-3)


def test_more_lines_can_be_had_for_more_walks(client, cast, model):
    answer = client.post(f"{MEADOW}walk-test/", {"at": "2026-07-01T10:00", "more": "1"} | walk(1) | walk(2))

    assert len(answer.context["walks"]) == 6
    assert not m.WalkTest.objects.exists()


def test_at_an_empty_site_a_walk_test_leads_to_a_deployment(client, cast, model):
    assert client.get(f"{FORD}walk-test/").url == "/cameras/deployments/new/"


def test_what_the_field_says_is_reckoned_with_when_a_person_says_so_and_can_be_undone(client, cast, model, told):
    walks = [
        {"offset_m": 4, "angle_deg": 90, "speed_m_s": s, "got": g}
        for s, g in ((0.6, "whole"), (1.2, "empty"), (2.0, "empty"), (2.0, "empty"), (3.5, "empty"))
    ]
    m.WalkTest.objects.create(deployment=cast.deployment, at=cast.now, walks=walks)
    page = client.get(f"{MEADOW}field/?model=umber-two")
    model.refresh_from_db()
    assert "they differ" in text(page) and model.measured == {}
    before = answers.work(client.post(f"{FORD}answer/", told).context["question"]).day.chances.whole.value
    client.post(f"{MEADOW}field/keep/", {"model": "umber-two"})
    model.refresh_from_db()
    after = client.post(f"{FORD}answer/", told).context["setup"].day.chances.whole.value

    assert model.measured["trigger_s"] > 0.8 and model.trigger_time_s == 0.4
    assert after < before  # a slower camera catches fewer
    client.post("/people/undo/")
    model.refresh_from_db()
    assert model.measured == {}


def test_too_few_counted_pictures_say_nothing(client, cast, model):
    page = client.get(f"{MEADOW}field/?model=umber-two&empty=3&cut=2&whole=4&offset=4&angle=45&animal=roe_deer")

    assert "9 first pictures; at least 30" in text(page)


def test_counted_pictures_with_a_strange_path_are_refused_in_words(client, cast, model):
    page = client.get(f"{MEADOW}field/?model=umber-two&empty=30&cut=2&whole=4&offset=x&angle=45")

    assert page.status_code == 200 and "needed: a number" in text(page)


def test_a_walk_test_is_deleted_and_put_back(client, cast, model):
    client.post(f"{MEADOW}walk-test/", {"at": "2026-07-01T10:00"} | walk(1))
    uuid = m.WalkTest.objects.get().uuid
    client.post(f"{MEADOW}walk-test/{uuid}/delete/")
    assert not m.WalkTest.objects.exists()
    client.post("/people/undo/")

    assert m.WalkTest.objects.get().uuid == uuid


def test_two_people_who_keep_a_way_at_once_get_a_place_each(cast, monkeypatch):
    from django.utils import timezone

    from trod.catalogue import models as m
    from trod.web.planner import pages

    m.Placement.objects.create(site=cast.ford, turn=1, name="The other's", animal="elk", at=timezone.now())
    seen = iter([1, 2])  # the first look was made before the other one kept theirs
    monkeypatch.setattr(pages, "free_turn", lambda site: next(seen))
    row = m.Placement(site=cast.ford, animal="elk", at=timezone.now())

    assert pages.save_way(row)
    assert [(p.turn, p.name) for p in cast.ford.placements.all()] == [(1, "The other's"), (2, "Way 2")]


def test_where_the_last_place_was_taken_meanwhile_nothing_is_kept_over_another(cast):
    from django.utils import timezone

    from trod.catalogue import models as m
    from trod.web.planner import pages

    for turn in (1, 2, 3):
        m.Placement.objects.create(site=cast.ford, turn=turn, animal="elk", at=timezone.now())

    assert not pages.save_way(m.Placement(site=cast.ford, animal="lynx", at=timezone.now()))
    assert cast.ford.placements.count() == 3

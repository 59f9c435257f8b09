"""Two people change one thing: nothing is overwritten unseen. Walks every address, so that a later page is held too."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import URLPattern, get_resolver, resolve
from forms_on_pages import FoundForm, forms_of

from trod.catalogue import models as m
from trod.web import seen

pytestmark = pytest.mark.django_db

# Forms that change no record that was there: what they do instead.
CHANGES_NO_RECORD = {
    "people:login": "lets in",
    "people:logout": "lets out",
    "people:settings": "a person's own cookie and session",
    "people:account_new": "makes one",
    "people:account_close": "closes; a closed one is not to be found",
    "people:undo": "guarded by marks of its own; see below",
    "maintenance:locks_give": "merges who gave and took; see below",
    "people:see_people": "merges who gave and took; see below",
    "maintenance:lock_show": "shows",
    "cameras:power_work": "asks the worker for what is kept beside the records",
    "maintenance:locks_phrase": "the old phrase must be said; who comes second has the wrong one",
    "maintenance:locks_cover": "a person's own session",
    "maintenance:book": "adds a booking",
    "maintenance:unbook": "takes one booking back; bookings are never changed",
    "maintenance:book_visits": "adds bookings, one a visit by a rule of the database",
    "planner:planner": "works out and keeps nothing; its buttons that keep are tried below",
    "cameras:import": "shows what would change before it does",
    "cameras:models_import": "shows what would change before it does",
    "cameras:clock_new": "adds a correction",
    "cameras:clock_undo": "takes back what is never changed",
    "cameras:clock_by_visit": "adds a correction, once; a second press finds none to add",
    "reports:export": "gives a file",
    "cameras:resolves": "begins a measurement",
    "cards:begin": "begins an import",
    "cards:again": "goes on with an import",
    "cards:clock": "adds a correction",
    "cards:verify": "begins work",
    "cards:backup": "begins work",
    "cards:wish": "pauses, ends or goes on with work",
    "pictures:people": "a person's own session",
    "questions:keep": "adds a question",
    "questions:again": "adds an answer",
    "questions:forget": "questions are never changed",
    "reports:make": "begins work",
    "reports:delete": "reports are never changed",
    "rounds:home": "imports notes; two sides of one are held until a person decides",
    "rounds:heights": "brings a grid; a file, not a record, and replaced whole",
    "rounds:decide": "settles what is held, once",
    "review:act": "words are added, never changed",
}


@pytest.fixture
def house(cast: Any, settings: Any) -> Any:
    """One of each record that can be changed; times are near now."""
    from trod import clock
    from trod.catalogue.rounds import rounds
    from trod.catalogue.rounds.wishes import Wish

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    now = datetime.now(UTC)
    cast.model = m.CameraModel.objects.create(
        maker="Umber", name="Two", slug="umber-two", detection_angle_deg=48, detection_range_m=20,
        field_of_view_deg=42, trigger_time_s=0.4, recovery_time_s=5, burst_max=3, flash="low_glow", flash_range_m=15,
    )  # fmt: skip
    m.Camera.objects.update(model=cast.model)
    cast.reserve.base_latitude, cast.reserve.base_longitude = 47.295, 13.895
    cast.reserve.boundary = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": [[13, 47], [14, 47]]}}
    ]}  # fmt: skip
    cast.reserve.save()
    cast.deployment.start = now - timedelta(days=120)
    cast.deployment.batteries = "8 × LR6"
    cast.deployment.save()
    m.Deployment.objects.create(
        slug="ford-1", camera=cast.blue, site=cast.ford, start=now - timedelta(days=90), utc_offset_min=60, height_m=3.0
    )
    cast.card.state = "kept"
    cast.card.save()
    cast.lock = m.Lock.objects.create(label="blue", camera=cast.red, key_number="K-1", combination="0000")
    cast.species = m.Species.objects.create(name="Roe deer", slug="roe-deer")
    cast.sign = m.Sign.objects.create(
        reserve=cast.reserve, site=cast.ford, kind="tracks", seen_on=date(2026, 5, 1), latitude=47.3, longitude=13.9
    )
    cast.incident = m.Incident.objects.create(
        site=cast.meadow, camera=cast.red, deployment=cast.deployment, found_on=date(2026, 5, 1), kind="fault"
    )
    cast.stock = m.StockItem.objects.create(name="LR6", kind="batteries")
    cast.visit = m.Visit.objects.create(
        deployment=cast.deployment, site=cast.meadow, at=now - timedelta(days=20), by="Ada", arrival="working"
    )
    cast.walk = m.WalkTest.objects.create(
        deployment=cast.deployment, at=now - timedelta(days=20), by="Ada",
        walks=[{"offset_m": 4.0, "angle_deg": 90, "away": True, "speed_m_s": 1.2, "got": "part"}],
    )  # fmt: skip
    cast.way = m.Placement.objects.create(
        site=cast.ford, turn=1, name="low", camera_model=cast.model, animal="roe_deer", at=now,
        inputs={"feature": "ford", "path_bearing_deg": 40.0, "offset_m": 4.0},
    )  # fmt: skip
    cast.year = m.CostYear.objects.create(reserve=cast.reserve, year=now.year, travel_km=100)
    cast.card_import = m.Import.objects.create(
        name="2026-05-17-a", folder="unplaced/2026-05-17-a", state="whole", source="x", started_at=now, finished_at=now,
        files=1, new=1,
    )  # fmt: skip
    cast.spoilt = m.Import.objects.create(
        name="2026-05-17-b", folder="unplaced/2026-05-17-b", state="whole", source="x", started_at=now, finished_at=now,
        files=1, new=1, damaged=1, deployment=cast.deployment,
    )  # fmt: skip
    day = clock.local(now, cast.reserve.zone).date() + timedelta(days=1)
    wish = Wish(name="Both", first=day, people="Ada", which="all")
    cast.round = rounds.keep(cast.reserve, wish, rounds.plan(cast.reserve, wish, now), by="Ada", now=now)
    return cast


def of_house(house: Any) -> dict[str, list[Any]]:
    """What to put into each address: by its name, else by its room."""
    uuid = {"maintenance:lock": house.lock, "maintenance:incident": house.incident, "maintenance:stock": house.stock}
    return {
        "people": [house.species.slug],
        "people:account_close": [999],
        "map": [house.ford.slug],
        "map:sign": [house.sign.pk],
        "cameras": [house.red.pk],
        "cameras:model": [house.model.slug],
        "cameras:resolves": [house.model.slug],
        "cameras:target": ["a4"],
        "cameras:card": [house.card.pk],
        "cameras:deployment": [house.deployment.slug],
        "cameras:power": [house.deployment.slug],
        "cameras:clock": [house.deployment.slug],
        "cameras:visit": [house.visit.pk],
        "cameras:import": ["sites"],
        "cards": [house.card_import.name],
        "maintenance:card": [house.card.pk],
        "maintenance:batteries": [house.red.pk],
        "maintenance:cost": [house.year.year],
        "maintenance:costs": [house.year.year],
        **{name: [row.uuid] for name, row in uuid.items()},
        "planner:walk_test": ["meadow", house.walk.uuid],
        "planner": [house.ford.slug, house.way.uuid],
        "rounds": [house.round.uuid],
        "setup_sheet": [house.way.uuid],
    }


def pages(house: Any) -> list[str]:
    """Every address that a GET can open, with the house's records in it."""
    from django.urls import NoReverseMatch, reverse

    known = of_house(house)
    found = []

    def walk(patterns: Any, space: str = "") -> None:
        for entry in patterns:
            if not isinstance(entry, URLPattern):
                walk(entry.url_patterns, entry.namespace or space)
                continue
            if not entry.name:
                continue
            name = f"{space}:{entry.name}"
            heads = [h for h in sorted(known, key=len, reverse=True) if name == h or name.startswith((f"{h}_", f"{h}:"))]
            for args in ([], *(known[h] for h in heads), *(known[h][:1] for h in heads)):
                try:
                    found.append(reverse(name, args=args))
                except NoReverseMatch:
                    continue
                break

    walk(get_resolver().url_patterns)
    return found


def all_forms(client: Client, house: Any) -> list[tuple[str, str, FoundForm]]:
    """(page, name of the address that it posts to, form), also of buttons that post elsewhere."""
    out = []
    for page in pages(house):
        if page.startswith(("/people/logout", "/setup-sheets/")) or page.endswith((".pdf", ".csv", ".json", ".js")):
            continue
        answer = client.get(page)
        if answer.status_code != 200 or "html" not in answer.headers.get("Content-Type", ""):
            continue
        for form in forms_of(answer.content.decode(), path=page):
            actions = {form.action, *(f for _, _, f in form.buttons if f)}
            out += [(page, resolve(action.partition("?")[0]).view_name, form) for action in actions]
    return out


def test_every_form_that_changes_a_record_knows_what_its_page_showed(client, house):
    found = all_forms(client, house)
    lacking = {
        (page, name)
        for page, name, form in found
        if name not in CHANGES_NO_RECORD
        and not name.rpartition(":")[2].endswith("new")
        and not form.values.get(seen.FIELD, [""])[0]
    }

    assert len({name for _, name, _ in found}) > 50
    assert not lacking, "give these forms {% seen … %}, or say above why they need none"


# Forms: merged, or asked about -------------------------------------------------------------------------------

# A record's page: two boxes of it, and where they are kept.
EDIT = {
    "/people/reserve/": ("note", "name"),
    "/people/species/of/roe-deer/": ("note", "scientific_name"),
    "/map/sites/of/ford/change/": ("note", "access"),
    "/map/sign/{sign.pk}/": ("note", "seen_by"),
    "/cameras/{red.pk}/change/": ("note", "name"),
    "/cameras/models/of/umber-two/change/": ("note", "measured_trigger_s"),
    "/cameras/cards/{card.pk}/": ("note", "size_gb"),
    "/cameras/deployments/of/meadow-2026-03-03/change/": ("note", "tilt_deg"),
    "/cameras/visits/{visit.pk}/": ("note", "work"),
    "/cameras/maintenance/locks/{lock.uuid}/": ("note", "label"),
    "/cameras/maintenance/incidents/{incident.uuid}/": ("note", "reference"),
    "/cameras/maintenance/stock/{stock.uuid}/change/": ("note", "place"),
    "/cameras/maintenance/costs/{year.year}/": ("note", "travel_km"),
    "/map/sites/of/meadow/planner/walk-test/{walk.uuid}/": ("note", "by"),
}
# A page of a record's form that changes nothing which two could both type into.
ENDS = {"/cameras/deployments/of/meadow-2026-03-03/end/"}
NEW = {"note": "Suri's words", "other": "7"}


def form_on(client: Client, page: str) -> FoundForm:
    answer = client.get(page)
    assert answer.status_code == 200, page
    (form,) = [f for f in forms_of(answer.content.decode(), path=page) if f.action.partition("?")[0] == page]
    return form


def people() -> tuple[Client, Client]:
    made = []
    for name in ("suri", "tobin"):
        user = get_user_model().objects.create_user(name, password="x", is_superuser=True)
        client = Client()
        client.force_login(user)
        made.append(client)
    return made[0], made[1]


def test_every_page_of_a_record_is_among_those_tried(client, house):
    mine = {page.format(**vars(house)) for page in EDIT} | ENDS
    found = {
        page
        for page, name, form in all_forms(client, house)
        if form.action == page and set(seen.read(form.values.get(seen.FIELD, [""])[0]) or {}) >= {"shown", "open"}
    }

    assert found == mine, "name two boxes of each record's page in EDIT"


@pytest.mark.parametrize("page", EDIT)
def test_what_only_one_side_changed_stays(house, page):
    one, two = people()
    box, other = EDIT[page]
    page = page.format(**vars(house))
    hers, his = form_on(one, page), form_on(two, page)
    assert one.post(page, hers.data(**{box: "Suri's words"})).status_code == 302
    answer = two.post(page, his.data(**{other: "7"}), follow=True)

    now = form_on(one, page).values
    assert now[box] == ["Suri's words"]
    assert float(now[other][0]) == 7 if now[other][0].replace(".", "").isdigit() else now[other] == ["7"]
    assert "suri changed this meanwhile" in answer.content.decode()


@pytest.mark.parametrize("page", EDIT)
def test_what_both_changed_is_shown_with_both_values_and_who_and_the_person_decides(house, page):
    one, two = people()
    box, _ = EDIT[page]
    page = page.format(**vars(house))
    hers, his = form_on(one, page), form_on(two, page)
    assert one.post(page, hers.data(**{box: "Suri's words"})).status_code == 302
    late = two.post(page, his.data(**{box: "Tobin's words"}))

    text = late.content.decode()
    assert late.status_code == 409
    assert "Suri&#x27;s words" in text and "Tobin&#x27;s words" in text and "<b>suri</b>" in text and "<time" in text
    assert form_on(one, page).values[box] == ["Suri's words"], "nothing is kept yet"
    (again,) = [f for f in forms_of(text, path=page) if f.action.partition("?")[0] == page]
    assert two.post(page, again.data()).status_code == 409, "without a choice nothing is kept"
    (again,) = [f for f in forms_of(two.post(page, again.data()).content.decode(), path=page) if f.action == page]
    assert two.post(page, again.data(**{f"stands-{box}": "mine"})).status_code == 302
    assert form_on(one, page).values[box] == ["Tobin's words"]


@pytest.mark.parametrize("page", EDIT)
def test_the_other_value_can_be_left_and_a_third_change_is_asked_about_again(house, page):
    one, two = people()
    box, _ = EDIT[page]
    page = page.format(**vars(house))
    his = form_on(two, page)
    one.post(page, form_on(one, page).data(**{box: "Suri's words"}))
    (again,) = forms_to(two.post(page, his.data(**{box: "Tobin's words"})), page)
    one.post(page, form_on(one, page).data(**{box: "Suri's last words"}))
    third = two.post(page, again.data(**{f"stands-{box}": "mine"}))
    assert third.status_code == 409 and "Suri&#x27;s last words" in third.content.decode()
    (again,) = forms_to(third, page)
    assert two.post(page, again.data(**{f"stands-{box}": "theirs"})).status_code == 302

    assert form_on(one, page).values[box] == ["Suri's last words"]


def forms_to(answer: Any, page: str) -> list[FoundForm]:
    return [f for f in forms_of(answer.content.decode(), path=page) if f.action.partition("?")[0] == page]


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_page_sent_back_untouched_changes_nothing_also_in_feet(house, units):
    one, two = people()
    for client in (one, two):
        client.cookies["units"] = units
    page = "/cameras/deployments/of/meadow-2026-03-03/change/"
    his = form_on(two, page)
    one.post(page, form_on(one, page).data(height_m="5.5", start="2026-03-04T08:00"))
    kept = m.Deployment.objects.get(slug="meadow-2026-03-03")
    assert two.post(page, his.data()).status_code == 302

    now = m.Deployment.objects.get(slug="meadow-2026-03-03")
    assert (now.height_m, now.start) == (kept.height_m, kept.start) and kept.height_m != 1.0


def test_a_tick_and_a_choice_are_weighed_too(house):
    one, two = people()
    page = "/map/sites/of/ford/change/"
    his = form_on(two, page)
    one.post(page, form_on(one, page).data(sensitive="on", feature="trail"))
    late = two.post(page, his.data(feature="meadow"))
    text = late.content.decode()

    assert late.status_code == 409 and "trail" in text.lower() and "meadow" in text.lower()
    assert "Changed meanwhile, and left so: Sensitive" in text
    (again,) = forms_to(late, page)
    two.post(page, again.data(**{"stands-feature": "mine"}))
    site = m.Site.objects.get(slug="ford")
    assert site.sensitive and site.feature == "meadow"


def test_two_new_numbers_of_one_lock_are_asked_about_and_neither_is_shown(house):
    one, two = people()
    page = f"/cameras/maintenance/locks/{house.lock.uuid}/"
    his = form_on(two, page)
    one.post(page, form_on(one, page).data(new_combination="1111"))
    late = two.post(page, his.data(new_combination="2222"))
    text = late.content.decode()

    assert late.status_code == 409 and "what was put in meanwhile" in text and "1111" not in text
    (again,) = forms_to(late, page)
    two.post(page, again.data(**{"stands-new_combination": "theirs"}))
    assert m.Lock.objects.get().combination == "1111"
    his = form_on(two, page)
    one.post(page, form_on(one, page).data(new_combination="3333"))
    (again,) = forms_to(two.post(page, his.data(forget="on")), page)
    assert m.Lock.objects.get().combination == "3333"
    assert two.post(page, again.data(**{"stands-forget": "mine"})).status_code == 302
    assert m.Lock.objects.get().combination == ""


def test_the_walks_of_a_walk_test_are_not_overwritten_either(house):
    one, two = people()
    page = f"/map/sites/of/meadow/planner/walk-test/{house.walk.uuid}/"
    his = form_on(two, page)
    one.post(page, form_on(one, page).data(offset_1="9"))
    late = two.post(page, his.data(offset_1="2"))
    assert late.status_code == 409
    assert m.WalkTest.objects.get().walks[0]["offset_m"] == 9
    (again,) = forms_to(late, page)
    two.post(page, again.data(**{"stands-walks": "mine"}))

    assert m.WalkTest.objects.get().walks[0]["offset_m"] == 2


def test_a_stamp_that_was_tampered_with_or_is_too_long_is_no_stamp(house):
    one, _ = people()
    page = "/map/sites/of/ford/change/"
    for stamp in ("x", "x" * 300_000, "\0", "e30:1:1", "[" * 5000):
        assert one.post(page, form_on(one, page).data(seen=stamp)).status_code == 302


@pytest.mark.django_db(transaction=True)
def test_a_change_between_reading_and_maintenance_is_not_overwritten(house, monkeypatch):
    from trod.web.forms.sites import SiteForm

    one, _ = people()
    page = "/map/sites/of/ford/change/"
    mine = form_on(one, page)
    cleaned = SiteForm.clean

    def slow(form: Any) -> Any:
        m.Site.objects.filter(slug="ford").update(safety="thin ice")  # another process, just then
        return cleaned(form)

    monkeypatch.setattr(SiteForm, "clean", slow)
    answer = one.post(page, mine.data(note="mine"))
    assert answer.status_code == 422 and "at the same moment" in answer.content.decode()
    monkeypatch.setattr(SiteForm, "clean", cleaned)
    (again,) = forms_to(answer, page)
    one.post(page, again.data())

    site = m.Site.objects.get(slug="ford")
    assert (site.note, site.safety) == ("mine", "thin ice")


# Presses: held back until the person has seen ----------------------------------------------------------------

PLANNER = "/map/sites/of/ford/planner/"
# Address that is pressed: page, what is put in, the record and column that another changed meanwhile.
PRESS: dict[str, tuple[str, dict[str, str], tuple[str, str, Any]]] = {
    "planner:keep": (PLANNER + "?placement={way.uuid}", {"over": "{way.uuid}", "name": "high"}, ("way", "name", "theirs")),  # noqa: E501
    "planner:place": (PLANNER + "?placement={way.uuid}", {}, ("ford", "slope_deg", 12.0)),
    "planner:rename": (PLANNER + "beside/", {"name": "high"}, ("way", "name", "theirs")),
    "planner:choose": (PLANNER + "beside/", {}, ("way", "chosen", True)),
    "planner:delete": (PLANNER + "beside/", {}, ("way", "animal", "red_fox")),
    "planner:hills": (PLANNER + "hills/", {"file": "grid"}, ("ford", "ground", {"horizon": "0:9"})),
    "map:tracks": ("/map/tracks/", {"clear": "lines"}, ("reserve", "boundary", None)),
    "maintenance:card_state": ("/cameras/maintenance/cards/{card.pk}/", {"state": "ready"}, ("card", "state", "lost")),
    "maintenance:take_rate": ("/cameras/maintenance/incidents/", {}, ("meadow", "losses_per_year", 9.0)),
    "maintenance:take_rest": ("/cameras/maintenance/incidents/", {}, ("ford", "losses_per_year", 9.0)),
    "cards:place": (
        "/cards/import/2026-05-17-a/", {"deployment": "ford-1"}, ("card_import", "deployment_id", "{deployment.pk}")
    ),
    "cards:accept": ("/cards/import/2026-05-17-b/", {"what": "accept"}, ("spoilt", "accepted_by", "ada")),
    "rounds:change": ("/rounds/of/{round.uuid}/change/", {}, ("round", "name", "theirs")),
    "rounds:order": ("/rounds/of/{round.uuid}/", {"do": "later"}, ("round", "name", "theirs")),
    "rounds:delete": ("/rounds/of/{round.uuid}/delete/", {}, ("round", "name", "theirs")),
    "rounds:start": ("/rounds/start/", {"base_latitude": "47.1"}, ("reserve", "base_latitude", 47.2)),
    "rounds:nights": ("/rounds/nights/", {f"m{n}": "1" for n in range(1, 13)}, ("reserve", "climate", {"x": 1})),
    "people:species_delete": ("/people/species/of/roe-deer/delete/", {}, ("species", "note", "theirs")),
    "cameras:card_delete": ("/cameras/cards/{card.pk}/delete/", {}, ("card", "note", "theirs")),
    "maintenance:cost_delete": ("/cameras/maintenance/costs/{year.year}/delete/", {}, ("year", "note", "theirs")),
    "map:sign_delete": ("/map/sign/{sign.pk}/delete/", {}, ("sign", "note", "theirs")),
    "cameras:visit_delete": ("/cameras/visits/{visit.pk}/delete/", {}, ("visit", "note", "theirs")),
    "maintenance:lock_delete": ("/cameras/maintenance/locks/{lock.uuid}/delete/", {}, ("lock", "combination", "1")),
    "maintenance:incident_delete": ("/cameras/maintenance/incidents/{incident.uuid}/delete/", {}, ("incident", "note", "theirs")),  # noqa: E501
    "maintenance:stock_delete": ("/cameras/maintenance/stock/{stock.uuid}/delete/", {}, ("stock", "note", "theirs")),
    "planner:walk_test_delete": (
        "/map/sites/of/meadow/planner/walk-test/{walk.uuid}/delete/", {}, ("walk", "note", "theirs")
    ),
}  # fmt: skip
# These need walks or pictures that tell enough; that their pages carry a stamp is tried by their text.
NOT_PRESSED = {"planner:field_keep": "planner/field.html", "cameras:resolves_keep": "cameras/resolves_answer.html"}


def test_every_press_on_a_record_is_among_those_tried(client, house):
    found = {
        name
        for page, name, form in all_forms(client, house)
        if "rows" in (seen.read(form.values.get(seen.FIELD, [""])[0]) or {}) and name not in CHANGES_NO_RECORD
    }

    assert found - set(PRESS) - set(NOT_PRESSED) == set()
    templates = Path(seen.__file__).parent / "templates" / "trod"
    for name, template in NOT_PRESSED.items():
        assert '{% seen model "measured" %}' in (templates / template).read_text(), name


@pytest.mark.parametrize("name", PRESS)
def test_a_press_on_what_another_changed_is_held_back_and_told(house, name):
    from django.core.files.uploadedfile import SimpleUploadedFile

    _, two = people()
    page, said, (what, column, value) = PRESS[name]
    page = page.format(**vars(house))
    said = {key: text.format(**vars(house)) for key, text in said.items()}
    form = next(
        f
        for f in forms_of(two.get(page).content.decode(), path=page)
        if name in {resolve(a.partition("?")[0]).view_name for a in (f.action, *(b[2] for b in f.buttons if b[2]))}
    )
    address = next(
        a for a in (form.action, *(b[2] for b in form.buttons))
        if a and resolve(a.partition("?")[0]).view_name == name
    )  # fmt: skip
    row = getattr(house, what)
    value = int(value.format(**vars(house))) if column == "deployment_id" else value
    type(row).objects.filter(pk=row.pk).update(**{column: value})
    seen._note(type(row), type(row).objects.get(pk=row.pk))
    data = form.data(**said)
    if "file" in said:
        heights = "ncols 3\nnrows 3\nxllcorner 13.90\nyllcorner 47.30\ncellsize 0.01\n" + "1 2 3\n" * 3
        data["file"] = SimpleUploadedFile("g.asc", heights.encode())
    before = list(type(row).objects.values())
    late = two.post(address, data)

    text = late.content.decode()
    assert late.status_code == 409, text[:2000]
    assert "Changed meanwhile" in text and "Last changed" in text
    assert list(type(row).objects.values()) == before, "nothing is done yet"
    if "file" in said:
        assert "bring the file again" in text
        return
    (again,) = [f for f in forms_of(text, path=address) if f.action == address]
    assert two.post(address, again.data()).status_code in (200, 302), "having seen it, the person may"


@pytest.mark.parametrize(
    ("page", "codename"), [("/cameras/maintenance/locks/", "see_lock_numbers"), ("/people/settings/", "see_people")]
)
def test_a_right_given_meanwhile_is_not_taken_by_an_older_page(house, page, codename):
    from trod.web.shared import rights

    one, two = people()
    get_user_model().objects.update(is_superuser=False)
    names = {name: get_user_model().objects.create_user(name) for name in ("ada", "ben")}
    for user in get_user_model().objects.filter(username__in=["suri", "tobin"]):
        user.user_permissions.add(rights.right(codename))
    (his,) = [f for f in forms_of(two.get(page).content.decode(), path=page) if "shown" in f.values]
    (hers,) = [f for f in forms_of(one.get(page).content.decode(), path=page) if "shown" in f.values]
    one.post(hers.action, {**hers.values, "who": [*hers.values["who"], str(names["ada"].pk)]})
    two.post(his.action, {**his.values, "who": [*his.values["who"], str(names["ben"].pk)]})

    held = {user.username for user, holds in rights.holders(codename) if holds}
    assert held == {"suri", "tobin", "ada", "ben"}


def test_an_undo_does_not_sweep_away_what_another_changed_since(house):
    one, two = people()
    page = f"/cameras/maintenance/cards/{house.card.pk}/"
    (form, *_) = [f for f in forms_of(one.get(page).content.decode(), path=page) if f.action.endswith("state/")]
    one.post(form.action, form.data(state="ready"))
    edit = f"/cameras/cards/{house.card.pk}/"
    two.post(edit, form_on(two, edit).data(note="Tobin's words"))
    answer = one.post("/people/undo/", follow=True)

    assert "it was changed since" in answer.content.decode()
    card = m.Card.objects.get(pk=house.card.pk)
    assert (card.state, card.note) == ("ready", "Tobin's words")


def test_who_changed_a_record_last_is_known_and_forgotten_with_it(house):
    one, _ = people()
    page = "/people/species/of/roe-deer/"
    one.post(page, form_on(one, page).data(note="x"))
    held = m.LastChange.objects.get(kind="trod.species", number=house.species.pk)
    assert held.by == "suri"
    house.species.delete()

    assert not m.LastChange.objects.filter(kind="trod.species").exists()

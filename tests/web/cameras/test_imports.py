"""Lists of sites, cameras and deployments."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from trod.catalogue import models as m
from trod.catalogue import texts
from trod.errors import WrongInput
from trod.web.forms import lists

pytestmark = pytest.mark.django_db
SITES = "name,latitude,longitude,feature\nMill,47.31,13.92,ford\nTop,47.32,13.93,saddle or ridge\n"


def look(client, what, text, name="list.csv", **more):
    data = text if isinstance(text, bytes) else text.encode()
    return client.post(f"/cameras/import/{what}/", {"file": SimpleUploadedFile(name, data), **more})


def keep(client, what, text, **more):
    return client.post(f"/cameras/import/{what}/", {"text": text, "keep": "yes", **more})


def test_looking_at_a_list_keeps_nothing(client, cast):
    answer = look(client, "sites", SITES)

    assert answer.status_code == 200
    assert [line.action for line in answer.context["plan"].lines] == ["new", "new"]
    assert "Nothing is kept yet. This list would leave: 2 new." in answer.content.decode()
    assert m.Site.objects.count() == 2


def test_a_confirmed_list_is_kept_and_can_be_undone(client, cast):
    look(client, "sites", SITES)
    answer = keep(client, "sites", SITES)

    assert answer.status_code == 302
    assert set(m.Site.objects.values_list("slug", "feature")) >= {("mill", "ford"), ("top", "saddle")}
    assert "Undo it all" in client.get("/map/").content.decode()

    client.post("/people/undo/")

    assert set(m.Site.objects.values_list("slug", flat=True)) == {"meadow", "ford"}


def test_one_wrong_line_keeps_all_others_out(client, cast):
    text = SITES + "Bad,147.3,13.9,trail\n"
    answer = keep(client, "sites", text)

    assert answer.status_code == 422
    assert m.Site.objects.count() == 2
    wrong = answer.context["plan"].lines[2]
    assert (wrong.number, wrong.action) == (4, "wrong")
    assert "latitude: " in wrong.errors[0]


def test_a_known_site_is_changed_in_the_columns_that_are_there(client, cast):
    cast.meadow.note = "an old larch"
    cast.meadow.save()
    answer = look(client, "sites", "name;latitude;longitude\nMEADOW;47,3005;13,9\n")
    line = answer.context["plan"].lines[0]
    assert (line.action, line.changes) == ("changed", ["name", "latitude"])
    keep(client, "sites", "name;latitude;longitude\nMeadow;47,3005;13,9\n")
    cast.meadow.refresh_from_db()

    assert (cast.meadow.latitude, cast.meadow.note, cast.meadow.feature) == (
        47.3005,
        "an old larch",
        "meadow",
    )

    client.post("/people/undo/")
    cast.meadow.refresh_from_db()

    assert cast.meadow.latitude == 47.30


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_any_usual_encoding_is_read(client, cast, encoding):
    answer = look(client, "sites", "name,latitude,longitude\nHöhe Süd,47.3,13.9\n".encode(encoding))

    assert answer.context["plan"].lines[0].name == "Höhe Süd"


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_any_usual_parting_is_read(sign, ending):
    text = ending.join(sign.join(row) for row in (("name", "latitude", "longitude"), ("A", "1.5", "2.5"))) + ending
    (line,) = lists.read_table(text, "sites")

    assert line.values == {"name": "A", "latitude": "1.5", "longitude": "2.5"}


def test_lengths_may_come_in_feet_and_inches(client, cast):
    keep(client, "sites", "name,latitude,longitude,tree_diameter_in\nMill,47.3,13.9,10\n")

    assert m.Site.objects.get(slug="mill").tree_diameter_cm == pytest.approx(25.4)


def test_both_units_at_once_are_refused(client, cast):
    text = "name,latitude,longitude,tree_diameter_in,tree_diameter_cm\nMill,47.3,13.9,10,20\n"

    assert look(client, "sites", text).context["plan"].lines[0].errors == [
        "both tree_diameter_cm and tree_diameter_in are given; give one"
    ]


def test_a_name_that_stands_twice_is_told_with_its_first_line(client, cast):
    answer = look(client, "sites", SITES + "MILL,47.0,13.0,ford\n")

    assert answer.context["plan"].lines[2].errors == ["the site MILL stands in line 2 already"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name,latitude\nA,1\n", "the columns longitude too"),
        ("name,latitude,longitude,color\nA,1,2,red\n", "got 'the columns color'"),
        ("name,name,latitude,longitude\nA,B,1,2\n", "each column once"),
        ("\n\n", "needed: a heading line"),
    ],
)
def test_a_heading_that_cannot_be_read_is_told(text, words):
    with pytest.raises(WrongInput) as told:
        lists.read_table(text, "sites")

    assert words in str(told.value)


def test_a_line_with_too_many_batteries_is_told():
    (line,) = lists.read_table("name,latitude,longitude\nA,1,2,an oak, old\n", "sites")

    assert line.errors == ["it has 5 batteries, the heading has 3; put text with “,” in quotes"]


def test_cameras_bring_their_models(client, cast):
    answer = keep(
        client,
        "cameras",
        "serial,name,maker,model,state\nG-9,Nine,Hobkindle,Gill 8,in repair\nB-2,Bluebell,,,\n",
    )

    assert answer.status_code == 302
    nine = m.Camera.objects.get(serial="G-9")
    assert (str(nine.model), nine.state) == ("Hobkindle Gill 8", "repair")
    assert m.Camera.objects.get(serial="B-2").name == "Bluebell"
    client.post("/people/undo/")
    assert m.CameraModel.objects.count() == 0
    assert m.Camera.objects.get(serial="B-2").name == "Blue"


def test_deployments_are_read_in_local_time_and_set_the_camera_out(client, cast):
    text = "camera,site,start,height_ft,card\nB-2,ford,2026-06-20 09:00,3,C-77\n"
    answer = keep(client, "deployments", text)
    made = m.Deployment.objects.get(camera=cast.blue)

    assert answer.status_code == 302
    assert (made.slug, made.start.hour, made.utc_offset_min) == ("ford-2026-06-20", 7, 120)
    assert made.height_m == pytest.approx(0.9144)
    assert made.card.label == "C-77"
    assert m.Camera.objects.get(pk=cast.blue.pk).state == "out"
    client.post("/people/undo/")
    assert m.Camera.objects.get(pk=cast.blue.pk).state == "ready"
    assert not m.Card.objects.filter(label="C-77").exists()
    assert m.Deployment.objects.count() == 1


def test_overlapping_lines_are_told_apart(client, cast):
    text = (
        "camera,site,start,end\n"
        "B-2,Ford,2026-01-01 09:00,2026-02-01 09:00\n"
        "B-2,Meadow,2026-01-15 09:00,2026-03-01 09:00\n"
    )
    lines = look(client, "deployments", text).context["plan"].lines

    assert lines[0].action == "new"
    assert "Blue is at Ford from 2026-01-01 09:00 until 2026-02-01 09:00" in lines[1].errors[0]


def test_an_unknown_camera_or_site_is_told(client, cast):
    (line,) = look(client, "deployments", "camera,site,start\nX-1,Nowhere,2026-06-20\n").context["plan"].lines

    assert line.errors == [
        "camera: no camera has the serial 'X-1'; make it first",
        "site: no site is called 'Nowhere'; make it first",
    ]


def test_the_same_list_again_changes_nothing(client, cast):
    keep(client, "sites", SITES)

    assert [line.action for line in look(client, "sites", SITES).context["plan"].lines] == ["same", "same"]


def test_the_sample_can_be_brought_as_it_is(client, cast):
    for what in ("sites", "cameras", "deployments"):
        text = texts.decode(client.get(f"/cameras/import/{what}/sample.csv").content)
        answer = keep(client, what, text)
        assert answer.status_code == 302, answer.context["plan"].lines[0].errors


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="47.31" lon="13.92"><name>Mill</name><desc>by the bridge</desc></wpt><wpt lat="47.32" lon="13.93"/>
<trk><trkseg><trkpt lat="47.3" lon="13.9"/><trkpt lat="47.31" lon="13.9"/>
<trkpt lat="47.31" lon="13.91"/></trkseg></trk></gpx>"""


def test_waypoints_become_sites_and_one_without_a_name_is_told(client, cast):
    answer = look(client, "sites", GPX, "w.gpx", feature="water")
    named, nameless = answer.context["plan"].lines

    assert (named.name, named.action) == ("Mill", "new")
    assert nameless.errors == ["name: every site needs one"]

    one = GPX.replace('<wpt lat="47.32" lon="13.93"/>', "")
    keep(client, "sites", one, feature="water")
    made = m.Site.objects.get(slug="mill")

    assert (made.feature, made.note, made.latitude) == ("water", "by the bridge", 47.31)


@pytest.mark.parametrize(
    "text",
    [
        "<gpx",
        "<html></html>",
        '<!DOCTYPE x [<!ENTITY a "b">]><gpx>&a;</gpx>',
        "<gpx version='1.1'></gpx>",
        "\x00\x01\x02",
    ],
)
def test_a_file_that_is_none_is_told_and_nothing_falls_over(client, cast, text):
    answer = look(client, "sites", text, "w.gpx")

    assert answer.status_code == 422
    assert "Nothing is kept." in answer.content.decode()


def test_a_file_too_big_is_refused(client, cast):
    assert "at most 1 MB" in look(client, "sites", b"a" * 1_000_001).context["trouble"]


def test_text_from_a_list_stays_text(client, cast):
    answer = look(client, "sites", "name,latitude,longitude\n<script>alert(1)</script>,47,13\n")

    assert "<script>alert" not in answer.content.decode()


def test_tracks_become_boundary_or_lines(client, cast):
    def bring(use):
        return client.post("/map/tracks/", {"file": SimpleUploadedFile("Loop.gpx", GPX.encode()), "use": use})

    assert bring("boundary").status_code == 302
    assert bring("lines").status_code == 302
    cast.reserve.refresh_from_db()
    shapes = [f["geometry"] for f in cast.reserve.boundary["features"]]

    assert [shape["type"] for shape in shapes] == ["Polygon", "LineString"]
    ring = shapes[0]["coordinates"][0]
    assert ring[0] == ring[-1] == [13.9, 47.3]  # closed, longitude first (RFC 7946)

    client.post("/map/tracks/", {"clear": "lines"})
    cast.reserve.refresh_from_db()

    assert [f["geometry"]["type"] for f in cast.reserve.boundary["features"]] == ["Polygon"]


SPECIES = (
    "name;scientific_name;key;rank;parent\n"
    "Red deer;Cervus elaphus;d;;Deer\n"
    "Small mammals;;;group;Mammal\n"
    "Wood mouse;Apodemus sylvaticus;m;;Small mammals\n"
    "Wood grouse;;;;\n"
)


def test_a_list_of_species_is_looked_at_first_and_then_kept_and_undone(client, cast):
    seen = look(client, "species", SPECIES)
    assert [line.action for line in seen.context["plan"].lines] == ["new"] * 4
    assert "Nothing is kept yet. This list would leave: 4 new." in seen.content.decode()
    assert not m.Species.objects.exists()

    assert keep(client, "species", SPECIES).url == "/people/species/"

    told = {row.name: (row.rank, row.parent.name if row.parent else "") for row in m.Species.objects.all()}
    assert told == {
        "Red deer": ("species", "Deer"),
        "Deer": ("family", "Even-toed hoofed animal"),
        "Even-toed hoofed animal": ("order", "Mammal"),
        "Mammal": ("class", ""),
        "Small mammals": ("group", "Mammal"),
        "Wood mouse": ("species", "Small mammals"),
        "Wood grouse": ("species", ""),
    }
    client.post("/people/undo/")
    assert not m.Species.objects.exists()


def test_a_known_species_is_changed_by_a_list_and_a_wrong_line_keeps_all_out(client, cast):
    m.Species.objects.create(name="Red Deer", slug="red-deer", key="x")
    answer = keep(client, "species", "name,key,rank,parent\nred deer,d,,\nGhost,g,Spirit,\nElf,dd,,Nowhere\n")

    assert answer.status_code == 422 and m.Species.objects.get().key == "x"
    lines = answer.context["plan"].lines
    assert [line.action for line in lines] == ["changed", "wrong", "wrong"]
    assert "rank: " in lines[1].errors[0]
    assert lines[2].errors[0].startswith("parent: no kind above species is called 'Nowhere'; put it into a line")

    keep(client, "species", "name,key\nred deer,d\n")
    assert (m.Species.objects.get().name, m.Species.objects.get().key) == ("red deer", "d")


def test_the_sample_of_species_can_be_brought_as_it_is(client, cast):
    sample = client.get("/cameras/import/species/sample.csv").content.decode("utf-8-sig")

    assert keep(client, "species", sample).status_code == 302
    assert m.Species.objects.get(name="Red deer").parent.name == "Deer"

"""`trod place`: on a bare machine, from a catalogue, with wrong values, onto paper."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from nonsense import nonsense

from trod.commands.place import of_words
from trod.errors import WrongInput
from trod.planning.equipment import camera

BARE = ("--lat", 47.3, "--lon", 13.9, "--animal", "roe-deer")


def test_on_a_bare_machine_a_placement_is_worked_out_and_nothing_is_made(trod, trod_home):
    before = sorted(trod_home.rglob("*"))
    done = trod("place", *BARE, "--path-bearing", 30, "--offset", "3m")

    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Hang the camera about 0.50 m up")
    for words in ("To set", "sets the camera off", " ± ", "Try it", "Mind", "Nobody says the camera's"):
        assert words in done.stdout
    assert sorted(trod_home.rglob("*")) == before


def test_the_same_comes_as_json_and_its_inputs_can_be_given_back(said, tmp_path):
    told = said("place", *BARE, "--path-bearing", 30, "--offset", "10ft", "--height", "30in", "--input", "pace=walk",
                "--input", "months=[11,12,1]", "--figure", "trigger_s=0.4")  # fmt: skip

    assert told["inputs"] == {
        "path_bearing_deg": 30.0, "offset_m": pytest.approx(3.048), "height_m": pytest.approx(0.762), "pace": "walk",
        "months": [1, 11, 12],
    }  # fmt: skip
    assert told["advice"]["height_m"] == pytest.approx(0.762)
    caught = told["chances"]["day"]["whole in a picture"]
    assert 0 <= caught["value"] <= 1 and 0 < caught["standard_error"] < 0.01
    file = tmp_path / "inputs.json"
    file.write_text(json.dumps(told), "utf-8")
    again = said("place", *BARE, "--inputs", file, "--figure", "trigger_s=0.4")
    assert again == told


def test_an_option_goes_before_a_file(said, tmp_path):
    file = tmp_path / "inputs.json"
    file.write_text('{"height_m": 0.5, "offset_m": 6}', "utf-8")

    assert said("place", *BARE, "--inputs", file, "--height", 1.5)["inputs"] == {"height_m": 1.5, "offset_m": 6.0}


def test_setup_sheet_and_drawings_are_written_whole(trod, tmp_path):
    setup_sheet, plan, side = (tmp_path / name for name in ("s.pdf", "p.svg", "q.svg"))
    done = trod(
        "place", *BARE, "--setup-sheet", setup_sheet, "--paper", "letter", "--plan-svg", plan, "--side-svg", side
    )

    assert done.exit_code == 0, done.output
    assert setup_sheet.read_bytes().startswith(b"%PDF-")
    assert plan.read_text("utf-8").startswith("<svg") and "var(--" not in side.read_text("utf-8")
    assert sorted(path.name for path in tmp_path.iterdir() if path.is_file()) == ["p.svg", "q.svg", "s.pdf"]


def test_cameras_come_from_a_file_of_our_columns(said, trod, tmp_path):
    file = tmp_path / "cameras.csv"
    kinds = [camera.CameraSpec(maker="Bramble", model=f"No {n}", claimed=camera.Figures(trigger_s=n)) for n in (1, 2)]
    file.write_bytes(camera.to_csv(kinds).encode())

    assert said("place", *BARE, "--cameras", file, "--camera", "bramble no 2")["camera"] == "Bramble No 2"
    refused = trod("place", *BARE, "--cameras", file, "--camera", "No 3")
    assert refused.exit_code == 3 and "Bramble No 1, Bramble No 2" in refused.stderr


@pytest.mark.parametrize(
    ("words", "status", "needed"),
    [
        (("--animal", "roe-deer"), 2, "Name a SITE of the catalogue, or a place with --lat and --lon"),
        (("--lat", 47, "--lon", 13), 2, "--animal"),
        ((*BARE, "--height", "knee"), 3, "height_m: got 'knee'; needed: a number, alone in m or with one of m, km, cm"),
        ((*BARE, "--height", "99"), 3, "from 0.05 to 30 m"),
        ((*BARE, "--heading", "45ft"), 3, "heading_deg"),
        ((*BARE, "--feature", "carpark"), 3, "one of trail, road"),
        ((*BARE, "--input", "colour=red"), 3, "a input that there is not"),
        ((*BARE, "--input", "colour"), 3, "NAME=VALUE"),
        ((*BARE, "--figure", "trigger_s"), 3, "NAME=NUMBER"),
        ((*BARE, "--figure", "weight=3"), 3, "one of zone_deg"),
        ((*BARE, "--figure", "trigger_s=nan"), 3, "from 0 to 60 s"),
        ((*BARE, "--camera", "Wren"), 3, "none; give --cameras FILE.csv or --figure"),
        ((*BARE, "--inputs", "nowhere.json"), 3, "a file that can be read"),
        (("Stone Ford", "--animal", "elk"), 3, "without one give --lat and --lon"),
        (("--lat", 97, "--lon", 13, "--animal", "elk"), 3, "a latitude from -90 to 90"),
        (("--lat", 47, "--lon", 13, "--animal", "griffin"), 3, "one of white_tailed_deer"),
        ((*BARE, "--setup-sheet", "/nowhere/at/all.pdf"), 3, "Choose another place for it"),
    ],
)
def test_what_cannot_be_used_is_said_in_words(trod, trod_home, words, status, needed):
    done = trod("place", *words)

    assert done.exit_code == status
    assert needed in done.stderr


@pytest.mark.parametrize("text", ["[1, 2]", "{", '"x"', "[" * 20_000, '{"height_m": "0.8"}'])
def test_a_file_of_inputs_that_is_none_is_refused(trod, tmp_path, text):
    file = tmp_path / "inputs.json"
    file.write_text(text, "utf-8")
    done = trod("place", *BARE, "--inputs", file)

    assert done.exit_code == 3 and "needed" in done.stderr and len(done.stderr) < 500


@pytest.mark.parametrize(
    ("input", "words", "value"),
    [
        ("height_m", "0.8", 0.8), ("height_m", "80cm", 0.8), ("height_m", "2.5 ft", 0.762), ("height_m", "30IN", 0.762),
        ("slope_deg", "-5", -5), ("slope_deg", "5deg", 5), ("heading_deg", "45°", 45),
        ("tree_diameter_cm", "10in", 25.4),
        ("air_cold_c", "-4F", -20), ("air_cold_c", "-20 °C", -20), ("speed_mps", "3.6km/h", 1), ("herd", "12", 12),
        ("card_gb", "32GB", 32), ("canopy_percent", "40%", 40), ("side", "left", "left"),
        ("snow_m", "[0,0]", [0, 0]), ("tree_dead", "true", True),
    ],
)  # fmt: skip
def test_values_carry_their_unit(input, words, value):
    assert of_words(input, words) == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("input", "words"), [("height_m", "1m2"), ("height_m", "٣"), ("height_m", "1e3"), ("air_cold_c", "x")]
)
def test_what_is_no_number_with_a_unit_is_refused(input, words):
    with pytest.raises(WrongInput):
        of_words(input, words)


@pytest.fixture
def ground(made, trod_home):
    """A site whose ground is known. The tests' database lies elsewhere; the file only says that there is one."""
    (trod_home / "catalogue.sqlite3").touch()
    site = made.sites[1]
    site.latitude, site.longitude = 47.291234, 13.551234
    site.path_bearing_deg, site.ground = 30, {"offset_m": 6}
    site.access = "Over the plank bridge."
    site.save()
    return site


@pytest.mark.django_db
def test_a_site_brings_what_is_known_of_its_ground_and_options_go_before_it(ground, said):
    told = said("place", ground.name, "--animal", "elk")
    nearer = said("place", ground.slug, "--animal", "elk", "--offset", "3m")

    assert told["place"]["site"] == ground.slug
    assert told["inputs"]["path_bearing_deg"] == 30 and told["inputs"]["offset_m"] == 6
    assert nearer["inputs"]["offset_m"] == 3


@pytest.mark.django_db
def test_a_sensitive_sites_place_is_not_told_unless_asked_for(ground, trod, tmp_path):
    ground.sensitive = True
    ground.save()
    quiet = trod("place", ground.slug, "--animal", "elk", "--json").stdout
    told = trod("place", ground.slug, "--animal", "elk", "--json", "--true-places").stdout

    assert "47.291234" not in quiet and "13.551234" not in quiet
    assert "47.291234" in told


@pytest.mark.django_db
def test_an_unknown_site_is_told_the_known_ones(ground, trod):
    done = trod("place", "Nowhere", "--animal", "elk")

    assert done.exit_code == 3 and ground.name in done.stderr


@pytest.mark.django_db
def test_a_kind_of_camera_of_the_catalogue_is_found_by_its_name(ground, said):
    from trod.catalogue import models as m

    m.CameraModel.objects.create(maker="Bramble", name="Two", slug="bramble-two", trigger_time_s=0.3)

    assert said("place", ground.slug, "--animal", "elk", "--camera", "Bramble Two")["camera"] == "Bramble Two"


def test_the_animals_are_listed(trod):
    done = trod("place", "--animals")

    assert done.exit_code == 0 and "red-deer" in done.stdout and "from memory" in done.stdout


@pytest.mark.parametrize(
    ("words", "needed"),
    [
        (("--figure", "columns=nan"), "columns: got nan; needed: a whole number from 16 to 60000 pixels"),
        (("--figure", "columns=2.7"), "columns: got 2.7; needed: a whole number"),
        (("--height", "9" * 400), "height_m: got '9999999999999999999999999999999999999999'; needed: a number"),
        (("--height", "-0.8"), "height_m: got -0.8; needed: a number from 0.05 to 30 m"),
        (("--height", "¤m"), "height_m: got '¤m'; needed: a number, alone in m or with one of m, km, cm, mm, ft, in"),
        (("--input", "air_cold_c=200F"), "air_cold_c: got 93.3333; needed: a number from -60 to 60 °C"),
        (("--input", "=3"), "'': got 'a input that there is not'"),
        (("--input", "\x1b[31m=3"), "'\\x1b[31m': got 'a input that there is not'"),
        (("--input", "snow_m=[1,1,1,1,1,1,1,1,1,1,1,NaN]"), "snow_m: got 'no fitting number'; needed: twelve depths"),
        (("--setup-sheet", ""), "is no name for a file. Name one, as setup-sheet.pdf."),
    ],
)
def test_hostile_values_are_refused_in_words(trod, words, needed):
    done = trod("place", *BARE, *words)

    assert done.exit_code == 3 and needed in done.stderr


def test_a_word_may_be_written_large(said):
    assert said("place", *BARE, "--side", "Left")["inputs"]["side"] == "left"


@pytest.mark.parametrize("lat", [-45, 0, 70, -90])
@pytest.mark.parametrize("units", ["metric", "us"])
def test_from_pole_to_pole_what_is_printed_holds_no_nonsense(trod, lat, units):
    for more in ((), ("--feature", "feeding", "--herd", 60, "--aim", "herd", "--holder", "ladder"),
                 ("--figure", "flash_reach_m=0", "--height", "0.05", "--input", "triggers=5000")):  # fmt: skip
        done = trod("place", "--lat", lat, "--lon", -180, "--animal", "elk", "--units", units, *more)

        assert done.exit_code == 0, done.output
        assert nonsense(done.stdout) == []


def test_hills_from_a_height_grid_take_the_low_sun_away(said: Any, tmp_path: Path) -> None:
    battery, size = 0.001, 61
    line = " ".join(["500"] * (size - 4) + ["1100"] * 4)
    grid = tmp_path / "hills.asc"
    head = f"ncols {size}\nnrows {size}\nxllcorner {13.9 - size * battery / 2}\nyllcorner {47.3 - size * battery / 2}\n"
    grid.write_text(head + f"cellsize {battery}\n" + "\n".join([line] * size) + "\n")
    where = ("place", "--lat", 47.3, "--lon", 13.9, "--animal", "roe-deer", "--heading", 90)

    level, hilly = said(*where), said(*where, "--heights", grid)

    assert "horizon" not in level["inputs"] or not level["inputs"]["horizon"]
    assert hilly["inputs"]["horizon"].startswith("0 ")

    def sun_h(told: Any) -> float:
        words = next((w for w in told["cautions"] if "The sun is in or near the picture" in w), "about 0 hours")
        return float(re.search(r"about ([\d.]+) hours", words)[1])

    assert sun_h(level) > 400  # facing east
    assert sun_h(hilly) < 0.7 * sun_h(level)


def test_a_height_grid_that_is_not_there_is_told(trod: Any, tmp_path: Path) -> None:
    done = trod("place", "--lat", 47, "--lon", 13, "--animal", "elk", "--heights", tmp_path / "none.asc")

    assert done.exit_code == 3 and "a file that can be read" in done.output

"""The set-up sheet on paper: one page, its words, its code readable from the printed page."""

from __future__ import annotations

import re

import pytest
import zxingcpp
from fitted import at
from PIL import Image
from poppler import poppler

from trod.errors import WrongInput
from trod.field import setup_code
from trod.field import setup_sheet as sheets
from trod.field.setup_sheet import SetupSheetData
from trod.leaving.setups import fit_setup
from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec, Figures

PLACEMENT = "6f0d7e2a-1c3b-4d5e-8f90-123456789abc"
SPEC = CameraSpec(maker="Bramble", model="Two", claimed=Figures(zone_deg=50, range_m=22, fov_deg=42, burst_max=3))
TRAIL = {"path_bearing_deg": 30, "offset_m": 4, "slope_deg": 5, "snow_m": [0.4] * 3 + [0] * 9,
         "branch_height_m": 2, "tree_diameter_cm": 20, "tree_dead": True}  # fmt: skip
FEED = {"feature": "feeding", "patch_near_m": 8, "patch_far_m": 18, "herd": 20, "holder": "ladder", "aim": "herd"}


def setup_sheet(told=TRAIL, who="red_deer", system="metric", sensitive=False, **more):
    hidden = sensitive and not more.get("with_place", True)
    place = at(46.61234, 13.84321, sensitive=sensitive, true_places=not hidden)
    done = fit_setup(SPEC, told, place=place, animal=animal(who), system=system, passes=512)
    given = {"site": "Alder Ford", "reserve": "Harrowmere", "code": setup_code.code_of(done, placement=PLACEMENT)} | more
    return SetupSheetData(setup=done, **given)


def printed(data, folder):
    """The page's text and picture as independent tools (Poppler) see them."""
    file = folder / "setup-sheet.pdf"
    file.write_bytes(sheets.setup_sheet_pdf(data))
    info = poppler("pdfinfo", file)
    words = poppler("pdftotext", "-layout", file, "-")
    poppler("pdftoppm", "-r", 150, "-gray", "-png", "-singlefile", file, folder / "setup-sheet")
    return info, " ".join(words.split()), Image.open(folder / "setup-sheet.png")


LONG = "Take the second gate after the sawmill and follow the fence. " * 40


@pytest.mark.parametrize(("paper", "size"), [("a4", "595.276 x 841.89"), ("us-letter", "612 x 792")])
@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_setup_sheet_is_one_page_and_its_code_is_read_from_the_printed_page(paper, size, system, tmp_path):
    data = setup_sheet(paper=paper, system=system)
    info, words, page = printed(data, tmp_path)

    assert re.search(r"Pages:\s+1\n", info) and size in info
    found = zxingcpp.read_barcodes(page)
    assert [one.text for one in found] == [data.code.text()]
    for told in ("Alder Ford", "Lens height", "Aim at a mark", "Try it", "Mind", "What was really done", "Local law"):
        assert told in words, told
    for label, value, _ in sheets.tiles(data.setup):
        assert label in words and value in words


def test_the_fullest_setup_sheet_still_is_one_page(tmp_path):
    data = setup_sheet(
        FEED, "elk", "us", sensitive=True, access=LONG, safety=LONG, closed=LONG, camera="W" * 60, placement="w " * 40,
        paper="us-letter", site="The very long name of a feeding ground behind the upper sawmill", invented=True,
        made="0.1", made_on="12 March 2026",
    )  # fmt: skip
    info, words, _ = printed(data, tmp_path)

    assert re.search(r"Pages:\s+1\n", info)
    assert "more on the site's page" in words.replace("’", "'")
    assert "An invented reserve" in words


def test_place_and_way_stay_off_the_setup_sheet_when_they_are_to(tmp_path):
    _, quiet, _ = printed(setup_sheet(sensitive=True, with_place=False, access="Over the plank bridge."), tmp_path)
    _, told, _ = printed(setup_sheet(with_place=True, access="Over the plank bridge."), tmp_path)

    assert "46.61" not in quiet and "plank" not in quiet and "are left out of this set-up sheet" in quiet
    assert "46.61234° N, 13.84321° E" in told and "plank" in told


def test_what_a_person_typed_is_text_and_never_markup(tmp_path):
    nasty = '#panic("x") *bold* $x$ <tag> @ref \\ "quoted" [x]'
    _, words, _ = printed(setup_sheet(site=nasty, access=nasty, reserve=nasty), tmp_path)

    assert words.count('#panic("x") *bold* $x$ <tag> @ref \\ "quoted" [x]'.replace('"', '"')) >= 2


def test_another_paper_is_refused():
    with pytest.raises(WrongInput, match="one of a4, us-letter"):
        setup_sheet(paper="a3")


def test_the_same_setup_sheet_is_the_same_file():
    first = sheets.setup_sheet_pdf(setup_sheet())

    assert sheets.setup_sheet_pdf(setup_sheet()) == first
    assert (
        b"CreationDate" not in first and b"ModDate" not in first
    )  # a clock's time would hide in two made within a second


def test_values_are_large_and_right():
    tiles = {label: (value, beside) for label, value, beside in sheets.tiles(setup_sheet().setup)}
    advice = setup_sheet().setup.advice

    assert tiles["Lens height"][0] == f"{round(advice.height_m * 20) / 20:.2f} m"
    assert tiles["Tilt"][0] == f"{advice.tilt_deg:.0f}° down"
    assert tiles["Wedge"] == (f"{advice.wedge.thickness_mm:.0f} mm", "behind the top of the case")
    assert tiles["Path"][1] == "to the axis, 4.0 m off"


def test_a_simulated_number_comes_with_its_error_and_no_more_digits_than_it_is_worth():
    from trod.planning.catch.walkby import Estimate

    assert sheets.estimate_words(Estimate(0.6412, 0.0041), "share") == "64 ± 0.4 in 100"
    assert sheets.estimate_words(Estimate(1234.4, 3.2), "pixels") == "1200 ± 3"
    assert sheets.estimate_words(Estimate(2.345, 0.02), "number") == "2.3 ± 0.02"
    assert sheets.estimate_words(None, "share") == "–"
    table = sheets.outcome_table(setup_sheet().setup.day, setup_sheet().setup.night)
    assert [row[0] for row in table][:3] == ["sets the camera off", "in a picture", "whole in a picture"]

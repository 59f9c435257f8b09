"""The code on a set-up sheet: written, drawn, read back by a reader that is not ours."""

from __future__ import annotations

import contextlib
import io

import pytest
import segno
import zxingcpp
from fitted import at
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageFilter

from trod.errors import WrongInput
from trod.field import setup_code
from trod.field.setup_code import SetupCode
from trod.leaving.setups import fit_setup
from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec

PLACEMENT = "6f0d7e2a-1c3b-4d5e-8f90-123456789abc"
FULL = SetupCode(
    placement=PLACEMENT, site="alder-ford", deployment="alder-ford-2026-03-12", height_m=0.85, tilt_deg=6,
    wedge=(14, "top"), heading_deg=45, aim_m=(7.5, 0.85), burst=3, delay_s=0, sensitivity="high", mode="picture",
    position=(46.61234, -13.84321),
)  # fmt: skip


def test_the_line_is_plain_text_with_units_in_it():
    assert FULL.text() == (
        f"TROD1 {PLACEMENT} site=alder-ford dep=alder-ford-2026-03-12 h=0.85m tilt=+6deg wedge=14mm/top dir=045 "
        "aim=7.5m/0.85m burst=3 delay=0s sens=high mode=picture at=46.61234,-13.84321"
    )
    assert setup_code.read(FULL.text()) == FULL


def photographed(text, *, scale, blur=0.0, turn=0.0):
    """The code as a camera may see it."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False, boost_error=False).save(out, kind="png", scale=scale, border=4)
    image = Image.open(out).convert("L").rotate(turn, expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC)
    return image.filter(ImageFilter.GaussianBlur(blur))


@pytest.mark.parametrize(("blur", "turn"), [(0.0, 0.0), (1.5, 0.0), (1.0, 17.0), (0.0, 180.0)])
def test_an_independent_reader_finds_the_line_also_blurred_and_turned(blur, turn):
    found = zxingcpp.read_barcodes(photographed(FULL.text(), scale=4, blur=blur, turn=turn))

    assert [one.text for one in found] == [FULL.text()]
    assert setup_code.read(found[0].text) == FULL


def test_the_drawing_on_setup_sheet_and_page_holds_the_very_modules_that_are_read():
    """The SVG's strokes, painted here module by module, are read by the independent reader."""
    import re

    svg = setup_code.code_svg(FULL.text())
    size = int(re.search(r'viewBox="0 0 (\d+) \1"', svg)[1])
    assert '<path fill="#fff"' in svg  # light on its own ground, whatever the theme
    image = Image.new("L", (size, size), 255)
    d = re.search(r'class="qrline"[^>]* d="([^"]+)"', svg)[1]
    x = y = 0.0
    for letter, numbers in re.findall(r"([Mmh])([-\d. ]+)", d):
        values = [float(n) for n in re.findall(r"-?[\d.]+", numbers)]
        if letter == "M":
            x, y = values
        elif letter == "m":
            x, y = x + values[0], y + values[1]
        else:
            for column in range(int(x), int(x + values[0])):
                image.putpixel((column, int(y)), 0)
            x += values[0]
    found = zxingcpp.read_barcodes(image.resize((size * 6, size * 6), Image.Resampling.NEAREST))

    assert [one.text for one in found] == [FULL.text()]


def code(sensitive=False, **more):
    done = fit_setup(
        CameraSpec(maker="B", model="T"), {"path_bearing_deg": 30, "height_m": 1.2},
        place=at(46.61234, 13.84321, sensitive=sensitive, true_places=True), animal=animal("elk"), passes=256,
    )  # fmt: skip
    return done, setup_code.code_of(done, placement=PLACEMENT, site="alder-ford", **more)


def test_a_setups_code_says_what_its_advice_says():
    done, made = code()
    back = setup_code.read(made.text())

    assert back.height_m == 1.2 and back.position == (46.61234, 13.84321)
    assert back.tilt_deg == pytest.approx(done.advice.tilt_deg, abs=0.51)
    assert back.aim_m[0] == pytest.approx(done.advice.aim_distance_m, abs=0.051)


def test_a_sensitive_site_never_has_its_position_in_the_code():
    for wished in (True, False):
        assert code(sensitive=True, with_position=wished)[1].position is None
    assert "at=" not in code(with_position=False)[1].text()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "begins with TROD1"),
        ("https://example.org", "begins with TROD1"),
        ("TROD2 " + PLACEMENT, "begins with TROD1"),
        ("TROD1 mine", "a uuid"),
        (f"TROD1 {PLACEMENT} h=0.85", "a value as on a set-up sheet"),
        (f"TROD1 {PLACEMENT} h=٣m", "a value as on a set-up sheet"),
        (f"TROD1 {PLACEMENT} h=1m h=2m", "each name once"),
        (f"TROD1 {PLACEMENT} height", "name=value"),
        (f"TROD1 {PLACEMENT} at=91.0,10.0", "latitude,longitude"),
        (f"TROD1 {PLACEMENT} site=../../etc", "a value as on a set-up sheet"),
        (f"TROD1 {PLACEMENT} " + "x" * 500, "at most 400"),
    ],
)
def test_what_is_no_setup_sheets_code_is_refused_in_words(text, words):
    with pytest.raises(WrongInput) as refused:
        setup_code.read(text)

    assert words in str(refused.value)


def test_names_of_a_later_version_are_passed_over():
    assert setup_code.read(f"TROD1 {PLACEMENT} h=1.00m moon=full").height_m == 1.0


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=120) | st.text(max_size=80).map(lambda t: f"TROD1 {PLACEMENT} {t}"))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(WrongInput):
        assert setup_code.read(text).placement == PLACEMENT

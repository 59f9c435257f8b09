"""Plan, side view and the sun's year as drawings."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from trod.drawing import placement as drawing
from trod.drawing import silhouettes
from trod.errors import WrongInput
from trod.planning.catch.animals import ANIMALS, Build, animal
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.ground.site import SiteGround, Trunk
from trod.planning.place import glare, inputs, setup
from trod.planning.place.advice import path_to_axis
from trod.planning.place.placement import Mount, work_out

CAMERA = CameraSpec(
    maker="Brackwater", model="Test 1", claimed=Figures(fov_deg=41, columns=5000, rows=3750, flash_reach_m=18)
)
TRAIL = SiteGround(latitude_deg=47.3, longitude_deg=13.9, path_bearing_deg=70, offset_m=4, slope_deg=10)
SVG = "{http://www.w3.org/2000/svg}"


def both(ground: SiteGround, key: str = "elk", mount: Mount | None = None, **more: object) -> list[ET.Element]:
    one = animal(key)
    advice = work_out(CAMERA, ground, one, mount)
    return [
        ET.fromstring(draw(advice, ground, one, **more))  # type: ignore[operator]
        for draw in (drawing.plan_svg, drawing.side_svg)
    ]


def text_of(svg: ET.Element) -> str:
    return " | ".join(t.text or "" for t in svg.iter(f"{SVG}text"))


def test_each_drawing_carries_a_title_and_a_description_in_words() -> None:
    for svg in both(TRAIL):
        ids = (svg.get("aria-labelledby") or "").split()
        told = [next(e.text for e in svg.iter() if e.get("id") == i) for i in ids]
        assert svg.get("role") == "img" and len(told) == 2
        assert "To scale." in (told[1] or "")


def test_the_side_view_keeps_one_scale_for_both_directions() -> None:
    """The animal stands as many pixels tall as its shoulder by the scale of the ticks along the ground."""
    level = replace(TRAIL, slope_deg=0)
    _, side = both(level)
    marks = {t.text: float(t.get("x") or 0) for t in side.iter(f"{SVG}text")}
    metre = (marks["6 m"] - marks["4 m"]) / 2
    bounds = next(
        [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", p.get("d") or "")]
        for p in side.iter(f"{SVG}path")
        if "Q" in (p.get("d") or "")
    )
    ys = bounds[1::2]

    # Smoothing takes a little off the tips; the outline's top is the ear at 1.5 shoulders.
    shoulder = animal("elk").shoulder_mid_m
    assert (max(ys) - min(ys)) / metre == approx(1.5 * shoulder, rel=0.05)


def test_the_plan_draws_the_aim_point_where_it_is() -> None:
    plan, _ = both(TRAIL)
    words = text_of(plan)

    assert "aim, 7.5 m" in words
    assert re.search(r"path 30° to the axis \(good: 25–35°\)", words)


def test_the_path_is_drawn_on_the_side_that_bearing_and_heading_give() -> None:
    advice = work_out(CAMERA, TRAIL, animal("elk"), Mount(heading_deg=40))

    assert path_to_axis(advice, TRAIL) == (approx(30), True)
    other = work_out(CAMERA, TRAIL, animal("elk"), Mount(heading_deg=100))
    assert path_to_axis(other, TRAIL) == (approx(30), False)
    nothing = replace(TRAIL, feature="feeding", path_bearing_deg=None)
    assert path_to_axis(work_out(CAMERA, nothing, animal("elk")), nothing) is None


def test_snow_is_drawn_when_there_is_any() -> None:
    snowy = replace(TRAIL, snow_m=(0.5, *[0.0] * 11))

    assert "usual snow 0.50 m" in text_of(both(snowy)[1])
    assert "snow" not in text_of(both(TRAIL)[1])


def test_feet_are_told_to_those_who_want_them() -> None:
    one = animal("elk")
    advice = work_out(CAMERA, TRAIL, one)
    for draw in (drawing.plan_svg, drawing.side_svg):
        words = text_of(ET.fromstring(draw(advice, TRAIL, one, system="us")))
        assert " ft" in words and " m" not in words.replace(" mi", "")


def test_a_page_drawing_follows_the_theme_and_a_paper_one_has_plain_colours() -> None:
    one = animal("elk")
    advice = work_out(CAMERA, TRAIL, one)
    page = drawing.plan_svg(advice, TRAIL, one)
    paper = drawing.plan_svg(advice, TRAIL, one, theme="paper")

    assert "var(--ink, #26231c)" in page and "var(" not in paper
    colours = set(re.findall(r"var\((--[a-z-]+), (#[0-9a-f]{6})\)", page))
    assert ("--moss", "#46602a") in colours
    # Nothing that the pages' content policy would stop.
    assert "style=" not in page and "<style" not in page and "<script" not in page


def test_two_drawings_on_one_page_keep_their_ids_apart() -> None:
    one = animal("elk")
    advice = work_out(CAMERA, TRAIL, one)
    drawn = [drawing.plan_svg(advice, TRAIL, one, key=k) for k in ("a", "b")]
    ids = [set(re.findall(r'id="([^"]+)"', d)) for d in drawn]

    assert ids[0] and not ids[0] & ids[1]
    for d, own in zip(drawn, ids, strict=True):
        assert set(re.findall(r"url\(#([^)]+)\)", d)) <= own
    with pytest.raises(WrongInput):
        drawing.plan_svg(advice, TRAIL, one, key='"><script>')


def test_no_name_breaks_out_of_a_drawing() -> None:
    nasty = replace(animal("elk"), name="<script>alert(1)</script>&")
    ground = replace(TRAIL, trunk=Trunk(name='"><img>', diameter_cm=30))
    advice = work_out(CAMERA, ground, nasty)
    for draw in (drawing.plan_svg, drawing.side_svg):
        svg = ET.fromstring(draw(advice, ground, nasty))
        assert {e.tag for e in svg.iter()} <= {
            SVG + name
            for name in ("svg", "title", "desc", "defs", "clipPath", "pattern", "path", "rect", "g", "text", "circle")
        }


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from(ANIMALS),
    st.floats(0.3, 40),
    st.floats(-30, 30),
    st.sampled_from([0.2, 1.0, 4.0, None]),
    st.sampled_from([0.0, 0.4, 2.5]),
    st.sampled_from(["trail", "feeding"]),
    st.sampled_from(["metric", "us"]),
)
def test_any_placement_is_drawn_inside_its_paper(
    one: object, offset: float, slope: float, height: float | None, snow: float, feature: str, system: str
) -> None:
    ground = SiteGround(
        latitude_deg=47, offset_m=offset, slope_deg=slope, snow_m=(snow,) * 12, feature=feature, path_bearing_deg=9  # type: ignore[arg-type]
    )  # fmt: skip
    advice = work_out(CAMERA, ground, one, Mount(height_m=height))  # type: ignore[arg-type]
    for draw in (drawing.plan_svg, drawing.side_svg):
        written = draw(advice, ground, one, system=system)  # type: ignore[operator]
        assert "nan" not in written and "inf" not in written.replace("info", "")
        svg = ET.fromstring(written)
        _, _, wide, tall = (float(n) for n in (svg.get("viewBox") or "").split())
        assert 0 < tall < 4 * wide
        for text in svg.iter(f"{SVG}text"):
            assert -1 <= float(text.get("x") or 0) <= wide + 1
            assert -1 <= float(text.get("y") or 0) <= tall + 1, text.text


def test_the_suns_year_is_drawn_small_enough_to_send() -> None:
    year = glare.glare_year(glare.Frame(heading_deg=90), latitude_deg=47.3, longitude_deg=13.9, utc_offset_min=60)
    written = drawing.glare_svg(year)
    words = text_of(ET.fromstring(written))

    assert len(written) < 60_000
    assert "sun in the picture" in words and "UTC+01:00" in words and "Jan | " in words
    assert "On clear days the sun is in or near the picture for about" in written


def test_a_camera_without_sun_still_gets_its_year() -> None:
    year = glare.glare_year(glare.Frame(heading_deg=0), latitude_deg=47.3, utc_offset_min=-210)
    written = drawing.glare_svg(year)

    assert "The sun never comes into or near the picture." in written
    assert "UTC-03:30" in written
    ET.fromstring(written)


def test_every_build_has_an_outline_that_stands_on_the_ground() -> None:
    for build in get_args(Build):
        points = silhouettes.SIDE[build]
        assert min(y for _, y in points) == 0.0
        assert 0.8 <= max(y for _, y in points) <= 1.6


def test_a_lens_that_looks_past_its_own_foot_is_drawn_with_the_ground_at_its_foot() -> None:
    """120° across, 62° down: the shaded picture reaches straight down to the foot, and the words say so."""
    fox, mount = animal("red_fox"), Mount(height_m=4, aim_distance_m=2)
    wide = replace(CAMERA, claimed=replace(CAMERA.claimed, fov_deg=120))
    level = SiteGround(latitude_deg=47.3, longitude_deg=13.9, feature="feeding")
    advice = work_out(wide, level, fox, mount)

    drawn = drawing.side_svg(advice, level, fox, theme="paper")

    assert advice.tilt_deg + advice.vertical_deg / 2 > 90
    assert "ground seen from the foot on" in drawn
    shaded = next(path for path in re.findall(r'<path d="([^"]*)"[^>]*fill-opacity="0.8"', drawn))
    (xl, yl), (_, yu), (_, yg), (xf, yf) = [map(float, pair.split()) for pair in re.findall(r"[ML]([^MLZ]+)", shaded)]
    assert xf == approx(xl) and yf == approx(yg)
    assert yl < yu < yf


def test_a_feeding_ground_is_drawn_as_wide_as_it_was_entered_and_none_on_a_path() -> None:
    def drawn(**told: object) -> list[tuple[float, float]]:
        entered = inputs.read(told, latitude_deg=47.3, longitude_deg=13.9, animal=animal("elk"))
        advice = work_out(CAMERA, entered.ground, entered.animal, entered.mount)
        patch = setup.patch_told(advice, entered)
        svg = drawing.plan_svg(advice, entered.ground, entered.animal, patch=patch, across=10_000)
        return [(float(w), float(h)) for w, h in re.findall(r'd="M[^"]*h([\d.]+)v([\d.]+)h-\1Z"', svg)]

    edges = {"patch_near_m": 8, "patch_far_m": 18}
    for told, ratio in (({}, 4 / 3), ({"patch_width_m": 25}, 2.5), ({"patch_width_m": 5}, 0.5)):
        ((wide, deep),) = drawn(feature="feeding", **edges, **told)
        assert wide / deep == approx(ratio, rel=1e-3)
    assert drawn(feature="trail", path_bearing_deg=30, offset_m=4, **edges) == []

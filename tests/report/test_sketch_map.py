"""The map: true to scale, and silent about sensitive sites."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import invented
import pytest

from trod.findings.blur import cell_of
from trod.leaving.sites import fit_site
from trod.report.sketch_map import Marker, draw

SITES = invented.sites()


def markers(*sites: object, true_places: bool = False) -> list[Marker]:
    fit = [fit_site(site, true_places=true_places) for site in sites or SITES]  # type: ignore[arg-type]
    return [Marker(place=site.place, number=n, watched=True) for n, site in enumerate(fit, start=1)]


def circles(svg: str) -> list[tuple[float, float]]:
    return [
        (float(e.get("cx", "nan")), float(e.get("cy", "nan")))
        for e in ElementTree.fromstring(svg).iter()
        if e.tag.endswith("circle")
    ]


def test_distances_on_the_map_are_to_scale() -> None:
    """Barn Track lies 600 m east and 1100 m south of Alder Ford; Crag Saddle 2400 m east and 500 m north."""
    a, b, c = circles(draw(markers(*SITES[:3])))

    ratio = math.dist(a, b) / math.dist(a, c)
    assert ratio == pytest.approx(math.hypot(600, 1100) / math.hypot(2400, 500), rel=0.01)
    assert b[1] > a[1] and c[0] > a[0]  # south is down, east is right


def test_the_scale_bar_is_as_long_as_it_says() -> None:
    svg = draw(markers(*SITES[:3]))
    a, _, c = circles(svg)
    px_per_m = math.dist(a, c) / math.hypot(2400, 500)
    start, end = (float(x) for x in re.findall(r'd="M([\d.]+) [\d.]+V[\d.]+H([\d.]+)', svg)[0])
    words = re.findall(r">([\d.]+) (m|km)<", svg)[0]
    told_m = float(words[0]) * (1000 if words[1] == "km" else 1)

    assert (end - start) / px_per_m == pytest.approx(told_m, rel=0.01)


def test_miles_for_those_who_think_in_miles() -> None:
    assert re.search(r">[\d.]+ (mi|ft)<", draw(markers(), system="us"))


def test_a_sensitive_site_is_a_cell_and_moving_it_within_changes_nothing() -> None:
    den = SITES[-1]
    assert den.sensitive
    cell = cell_of(latitude_deg=den.latitude_deg, longitude_deg=den.longitude_deg)
    moved = replace(den, latitude_deg=cell.south_deg + 0.001, longitude_deg=cell.west_deg + 0.001)

    assert draw(markers(*SITES[:-1], moved)) == draw(markers())
    assert len(circles(draw(markers()))) == len(SITES) - 1
    assert len(circles(draw(markers(true_places=True)))) == len(SITES)


def test_the_map_bears_numbers_only_so_no_name_can_harm_it() -> None:
    odd = replace(SITES[0], name="<script>", slug="<b>", feature="&")

    assert "script" not in draw(markers(odd, *SITES[1:]))


def test_one_site_no_site_and_two_hundred_sites_are_drawn() -> None:
    assert draw([]) == ""
    assert len(circles(draw(markers(SITES[0])))) == 1
    many = [
        replace(SITES[0], slug=f"s{n}", latitude_deg=47 + n * 7919 % 200 / 2000, longitude_deg=12 + n / 1500)
        for n in range(200)
    ]
    assert len(circles(draw(markers(*many)))) == 200

"""Drawings in a field form: shapes and words get through, all else is refused."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree

import invented
import pytest

from trod.errors import WrongInput
from trod.field.form.drawings import safe_svg
from trod.leaving.sites import fit_site
from trod.report.sketch_map import Marker, draw

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">'


def test_the_report_s_own_map_passes_and_keeps_all_its_shapes() -> None:
    places = [fit_site(site).place for site in invented.sites()]
    svg = draw([Marker(place=place, number=n, watched=True) for n, place in enumerate(places, 1)])

    kept = safe_svg(svg, key="s1")

    before = [node.tag for node in ElementTree.fromstring(svg).iter()]
    after = [node.tag for node in ElementTree.fromstring(kept.replace("<svg", HEAD.split(" viewBox")[0], 1)).iter()]
    assert len(before) > 10 and before == after


def test_two_drawings_on_a_page_do_not_take_each_other_s_patterns(made: Any) -> None:
    kept = safe_svg(made.map, key="s7-map")

    assert 'id="s7-map-hatch"' in kept and 'fill="url(#s7-map-hatch)"' in kept
    assert "width" not in kept.split(">")[0]  # a fixed width would push a phone's page wide


def test_words_in_a_drawing_stay_words() -> None:
    kept = safe_svg(f"{HEAD}<text>&lt;script&gt;alert(1)&lt;/script&gt; &amp; co</text></svg>", key="a")

    assert "<text>&lt;script&gt;alert(1)&lt;/script&gt; &amp; co</text>" in kept


@pytest.mark.parametrize(
    ("svg", "words"),
    [
        (f"{HEAD}<script>alert(1)</script></svg>", "<script>"),
        (f"{HEAD}<foreignObject/></svg>", "<foreignObject>"),
        (f"{HEAD}<image href='data:image/png;base64,AA'/></svg>", "<image>"),
        (f"{HEAD}<style>*{{}}</style></svg>", "<style>"),
        (f"{HEAD}<animate/></svg>", "<animate>"),
        (f"{HEAD}<a/></svg>", "<a>"),
        (f"{HEAD}<p xmlns='http://www.w3.org/1999/xhtml'/></svg>", "http://www.w3.org/1999/xhtml"),
        (f"{HEAD}<g onclick='alert(1)'/></svg>", "the attribute onclick"),
        (f"{HEAD}<g style='fill:red'/></svg>", "the attribute style"),
        (f"{HEAD}<use href='https://elsewhere.example/#a'/></svg>", "a place in the same drawing"),
        (
            f"{HEAD}<use xmlns:x='http://www.w3.org/1999/xlink' x:href='#a'/></svg>",
            "the attribute {http://www.w3.org/1999/xlink}href",
        ),
        (f"{HEAD}<path fill='url(https://elsewhere.example/a)'/></svg>", "url(#…) of the same drawing"),
        (f"{HEAD}<path fill='url(#a) url(//b)'/></svg>", "url(#…) of the same drawing"),
        (f"{HEAD}<path fill='\\75rl(//b)'/></svg>", "a value without backslash"),
        ("<!DOCTYPE svg [<!ENTITY a 'b'>]>" + HEAD + "</svg>", "plain SVG elements only"),
        ("<?xml version='1.0'?><?xml-stylesheet href='a'?>" + HEAD + "</svg>", "plain SVG elements only"),
        (HEAD, "no well-formed SVG"),
        ("<svg/>", "an <svg> of"),
        ("<svg xmlns='http://www.w3.org/2000/svg'/>", "a viewBox, so that it fits a phone"),
        (HEAD + "<g>" * 60 + "</g>" * 60 + "</svg>", "<g>"),
    ],
)
def test_what_runs_loads_or_leads_elsewhere_is_refused_by_name(svg: str, words: str) -> None:
    with pytest.raises(WrongInput) as told:
        safe_svg(svg, key="a")

    assert words in str(told.value)


def test_no_drawing_is_no_drawing() -> None:
    assert safe_svg("  ", key="a") == ""

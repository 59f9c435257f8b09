"""The pen: what it writes is well formed, whatever is drawn with it."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod.drawing.palette import NIGHT
from trod.drawing.pen import Pen, arc, number, sector, shape, smooth, through
from trod.errors import WrongInput

HOSTILE = ('"><script>alert(1)</script>', "a & b < c", 'it\'s "so"', "\x00\x0b\ufffe]]>", "&amp;", "\ud800")


@pytest.mark.parametrize("words", HOSTILE)
def test_no_words_break_out_of_a_drawing(words: str) -> None:
    pen = Pen()
    pen.text(0, 0, words)
    pen.put("path", d=words, css=words)
    with pen.group(aria_label=words):
        pen.rect(0, 0, 1, 1)
    read = ElementTree.fromstring(pen.done(10, 10, words, desc=words).encode())

    assert [e.tag.rpartition("}")[2] for e in read.iter()] == ["svg", "title", "desc", "text", "path", "g", "rect"]
    shown = re.sub("[\x00\x0b\ufffe\ud800]", " ", words)
    assert [read[n].text for n in (0, 1, 2)] == [shown] * 3
    assert read[4].get("aria-label") == shown


@given(st.text(max_size=60))
def test_any_text_is_well_formed(words: str) -> None:
    pen = Pen()
    pen.text(0, 0, words)

    assert len(ElementTree.fromstring(pen.done(1, 1, words or "x").encode())) == 1


@pytest.mark.parametrize("nothing", [math.nan, math.inf, -math.inf])
def test_a_place_that_is_no_number_is_refused(nothing: float) -> None:
    pen = Pen()
    for draw in (
        lambda: pen.circle(0, nothing, 1),
        lambda: pen.text(0, 0, "x", turn=nothing),
        lambda: pen.path(shape("M", 0, nothing)),
        lambda: pen.path(through(((0, 0), (nothing, 1)))),
        lambda: pen.path(sector(0, 0, 0, nothing, 20)),
        lambda: pen.rect(0, 0, 1, 1, opacity=nothing),
        lambda: pen.done(nothing, 1),
    ):
        with pytest.raises(WrongInput, match="finite"):
            draw()


def test_numbers_are_rounded_and_bear_no_needless_digit() -> None:
    assert [number(n) for n in (1, 1.0, 0.125, -0.001, -1.5, 12345.678, 1e-9)] == [
        "1", "1", "0.12", "0", "-1.5", "12345.68", "0",
    ]  # fmt: skip
    assert shape("M", 0, 1.25, "h", 8, "v", -2, "Z") == "M0 1.25h8v-2Z"


def test_a_shape_is_not_filled_unless_told() -> None:
    pen = Pen()
    pen.path("M0 0L1 1", ink="ink")
    pen.path("M0 0L1 1Z", fill="moss")
    pen.path("M0 0", css="way")  # the page's style sheet paints it

    assert re.findall(r"<path[^>]*>", pen.done(1, 1)) == [
        '<path d="M0 0L1 1" fill="none" stroke="var(--ink, #26231c)"/>',
        '<path d="M0 0L1 1Z" fill="var(--moss, #46602a)"/>',
        '<path d="M0 0" class="way"/>',
    ]


def test_by_night_it_is_drawn_in_the_night_s_colours_and_a_page_chooses_itself() -> None:
    def drawn(theme: str) -> str:
        pen = Pen(theme)  # type: ignore[arg-type]
        for name in NIGHT:
            pen.text(0, 0, name, fill=name, halo=True)
        return pen.done(1, 1)

    assert set(re.findall(r"#[0-9a-f]{6}", drawn("night"))) == set(NIGHT.values())
    assert "var(" not in drawn("night") + drawn("paper")
    assert not re.search(r'(?:fill|stroke)="(?!var\(--)', drawn("page"))


def test_only_colours_of_the_palette_are_taken() -> None:
    for colour in ("red", "#46602a", "url(#other-hatch)", "var(--ink)"):
        with pytest.raises(WrongInput, match="colour"):
            Pen().path("M0 0", fill=colour)
    with pytest.raises(WrongInput, match="theme"):
        Pen("dusk")  # type: ignore[arg-type]
    with pytest.raises(WrongInput, match="key"):
        Pen(key='"><script>')


def test_hatching_and_clips_bear_the_drawing_s_own_key() -> None:
    def drawn(key: str) -> str:
        pen = Pen(key=key)
        fill = pen.hatch("near", ink="clay", turn=30, gap=5)
        with pen.clipped(0, 0, 5, 5):
            pen.rect(0, 0, 9, 9, fill=fill)
        return pen.done(9, 9, "Sun", desc="The sun's year")

    ids = [set(re.findall(r' id="([^"]+)"', drawn(key))) for key in ("a", "b")]
    assert ids[0] == {"a-t", "a-d", "a-near", "a-clip"} and not ids[0] & ids[1]
    assert set(re.findall(r"url\(#([^)]+)\)", drawn("a"))) == {"a-near", "a-clip"}


def test_a_drawing_says_what_it_shows_or_that_it_says_nothing() -> None:
    assert 'role="img" aria-label="A day &amp; a night"' in Pen().done(1, 1, "A day & a night")
    assert 'aria-hidden="true"' in Pen().done(1, 1) and "role=" not in Pen().done(1, 1)


def test_a_template_takes_a_drawing_as_it_is_and_what_is_joined_to_it_as_text() -> None:
    svg = Pen().done(1, 1)

    assert svg.__html__() is svg  # type: ignore[comparison-overlap]
    assert not hasattr(svg + "<b>", "__html__")


def test_a_smooth_outline_stays_within_its_corners() -> None:
    d = smooth([(0, 0), (4, 0), (4, 4), (0, 4)])

    assert d == "M0 2Q0 0 2 0Q4 0 4 2Q4 4 2 4Q0 4 0 2Z"


def test_a_sector_has_its_ends_at_its_angle_and_beyond_a_half_turn_takes_the_long_way() -> None:
    assert sector(0, 0, 0, 10, 30) == "M0 0L-5 -8.66A10 10 0 0 1 5 -8.66Z"
    assert "0 1 1" in sector(0, 0, 0, 10, 100)
    assert arc(0, 0, 10, 90) == "M-10 0A10 10 0 0 1 10 0"

"""The field form's page as text: one file, whole, that asks nobody for anything and lets nobody in."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from html.parser import HTMLParser
from typing import Any

import pytest

from trod.drawing import placement as drawing
from trod.errors import WrongInput
from trod.field.form.making import field_form_html
from trod.planning.catch.animals import animal
from trod.planning.equipment.camera import CameraSpec, Figures
from trod.planning.ground.site import SiteGround
from trod.planning.place import glare
from trod.planning.place.placement import work_out
from trod.report.sentences import clean

HOSTILE = [
    "</script><script>window.broken=1</script>",
    '"><img src=x onerror="window.broken=1">',
    "${window.broken=1}",
    "$title ${data} $$",
    "<!--<script>",
    "&lt;b&gt; & <b>",
    "\u2028\u2029\x00\x1b[31m\ud800",
    "javascript:alert(1)",
]


class Page(HTMLParser):
    """Counts elements and gathers what could ask or run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.reaching: list[tuple[str, str, str]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name in ("src", "srcset", "href", "action", "data", "poster", "style") or name.startswith("on"):
                self.reaching.append((tag, name, value or ""))


def data_of(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="field-form-data">(.*?)</script>', page, flags=re.S)
    assert found
    read: dict[str, Any] = json.loads(found[1])
    return read


def test_the_page_holds_everything_and_asks_for_nothing(made: Any) -> None:
    page = Page(field_form_html(made.field_form()))

    assert {tag for tag in page.tags if tag in ("link", "iframe", "object", "embed", "form", "base", "audio")} == set()
    assert all(tag == "a" and name == "href" and (value.startswith(("#", "geo:"))) for tag, name, value in page.reaching)


def test_the_same_field_form_gives_the_same_bytes(made: Any) -> None:
    assert field_form_html(made.field_form()) == field_form_html(made.field_form())


def test_the_policy_lets_our_own_script_and_style_run_and_no_other(made: Any) -> None:
    page = field_form_html(made.field_form())
    policy = html.unescape(re.search(r'Policy" content="([^"]*)"', page)[1])  # type: ignore[index]

    for tag in ("script", "style"):
        inside = re.findall(rf"<{tag}>(.*?)</{tag}>", page, flags=re.S)
        assert len(inside) == 1
        digest = base64.b64encode(hashlib.sha256(inside[0].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy and "unsafe" not in policy and "img-src data: blob:" in policy


def test_a_field_form_without_upload_may_not_connect_at_all(made: Any) -> None:
    page = field_form_html(made.field_form(upload_path="", upload_token=""))

    assert "connect-src 'none'" in html.unescape(re.search(r'Policy" content="([^"]*)"', page)[1])  # type: ignore[index]
    assert '<div id="upload-part" hidden>' in page


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_names_do_not_break_out(made: Any, words: str) -> None:
    plain = Page(field_form_html(made.field_form(made.stop(site_slug="a", card="C01"))))
    stop = made.stop(
        name=words + "x",
        site_slug="a",
        camera_name=words,
        camera_serial=words,
        card=words,
        batteries=words,
        plan="",
        why=(words + ".",),
        to_do=(words + ".", words + "."),
        setup_sheet=((words, words), (words, words)),
    )

    page = field_form_html(made.field_form(stop, reserve=words + "x", round_name=words + "x", people=(words, words)))

    assert Page(page).tags == plain.tags
    assert Page(page).reaching == plain.reaching
    told = data_of(page)
    assert told["stops"][0]["name"] == clean(words + "x")


def test_the_data_in_the_page_are_what_was_handed_in(made: Any) -> None:
    told = data_of(field_form_html(made.field_form()))

    assert told["id"] == made.field_form_id and told["round"] == "West side" and told["day"] == "2026-10-17"
    assert told["made_at"] == "2026-10-16T18:00:00Z"
    assert told["stops"][1] == {
        "site": "barn-track",
        "name": "Barn Track",
        "sensitive": False,
        "cameras": [{"deployment": "barn-track-2026a", "name": "Alder 2", "card": "C01", "utc_offset_min": 60}],
    }


def test_each_camera_of_a_stop_is_told_with_its_own_setup_sheet(made: Any) -> None:
    two = (made.camera(), made.camera("by-the-gate", name="Gate 7", setup_sheet=(("Height", "2.40 m"),)))
    page = field_form_html(made.field_form(made.stop(cameras=two)))

    assert [c["deployment"] for c in data_of(page)["stops"][0]["cameras"]] == ["alder-ford-2026a", "by-the-gate-2026a"]
    assert "Set-up sheet of Alder 2" in page and "Set-up sheet of Gate 7" in page
    assert "0.90 m" in page and "2.40 m" in page


def test_a_deployment_stands_only_once_at_a_stop(made: Any) -> None:
    with pytest.raises(WrongInput, match="each deployment once"):
        made.stop(cameras=(made.camera(), made.camera()))


def test_a_sensitive_place_gets_no_link_to_a_map(made: Any) -> None:
    page = field_form_html(made.field_form(made.stop(sensitive=True)))

    assert "geo:" not in page and "show nobody this page" in page
    assert "geo:54.11000,-2.30000" in field_form_html(made.field_form(made.stop()))


def test_stops_and_their_words_can_be_read_without_the_script(made: Any) -> None:
    page = field_form_html(made.field_form())

    assert '<section id="stop-1" class="view stop"' in page  # not hidden before the script runs
    for words in ("Swap the card", "Its batteries will probably be empty by 12 November.", "0.90 m"):
        assert words in page


@pytest.mark.parametrize("bad", ["<svg><script/></svg>", "<svg/>", "plain words"])
def test_a_drawing_that_is_not_of_the_pen_stops_the_making(made: Any, bad: str) -> None:
    with pytest.raises(WrongInput, match="a drawing of"):
        field_form_html(made.field_form(made.stop(side_view_svg=bad)))


def test_the_planner_s_own_drawings_may_stand_in_a_field_form(made: Any) -> None:
    """Plan, side view and the sun's year as the drawing room draws them go through."""
    camera = CameraSpec(maker="Brackwater", model="Test 1", claimed=Figures(fov_deg=41, columns=5000, rows=3750))
    ground = SiteGround(latitude_deg=47.3, longitude_deg=13.9, path_bearing_deg=70, offset_m=4, slope_deg=10)
    one = animal("elk")
    advice = work_out(camera, ground, one)
    sun = glare.glare_year(glare.Frame(heading_deg=90, tilt_deg=4, fov_deg=41, vertical_deg=31), latitude_deg=47.3)

    for svg in (
        drawing.plan_svg(advice, ground, one),
        drawing.side_svg(advice, ground, one, across=340),
        drawing.glare_svg(sun),
    ):
        assert "var(--moss" in field_form_html(made.field_form(made.stop(side_view_svg=svg)))


def test_two_hundred_stops_still_make_a_page_that_is_light_to_carry(made: Any) -> None:
    page = field_form_html(made.field_form(*[made.stop(f"Site {n}") for n in range(200)]))

    assert len(page.encode()) < 1_000_000

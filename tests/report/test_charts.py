"""Charts: one style, drawn offline, readable without colour."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from xml.etree import ElementTree

import altair
import invented
import pytest
import vl_convert

from trod.errors import WrongInput
from trod.findings import Filter
from trod.report import charts
from trod.telling.change import answer as change
from trod.telling.what_comes import answer as what_comes
from trod.telling.when import answer as when

DEER = Filter(species=("red-deer",))
YEAR = invented.year()
FINDINGS = {
    "what comes": what_comes(YEAR),
    "when": when(YEAR, DEER),
    "change": change(YEAR, DEER),
}


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 §1.4.3."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", ["light", "night", "paper"])
@pytest.mark.parametrize("name", FINDINGS)
def test_every_finding_is_drawn_in_every_theme(name: str, theme: charts.Theme) -> None:
    spec = charts.chart(FINDINGS[name], theme)
    assert spec is not None
    drawn = ElementTree.fromstring(charts.svg(spec))

    assert drawn.tag.endswith("svg")
    assert spec["description"].startswith(FINDINGS[name].sentence)
    assert spec["width"] == (charts.PAPER_WIDTH_PX if theme == "paper" else "container")


def test_the_chart_library_and_the_drawing_speak_one_version_of_vega_lite() -> None:
    assert altair.SCHEMA_VERSION.startswith(f"v{charts.VEGALITE}.")
    assert charts.VEGALITE in vl_convert.get_vegalite_versions()


@pytest.mark.parametrize("name", FINDINGS)
def test_a_spec_names_no_address_but_its_schema(name: str) -> None:
    spec = json.dumps(charts.chart(FINDINGS[name]))

    assert set(re.findall(r"https?://[^\"]+", spec)) == {
        f"https://vega.github.io/schema/vega-lite/{altair.SCHEMA_VERSION}.json"
    }


@pytest.mark.parametrize("name", FINDINGS)
def test_marks_bear_styles_and_themes_differ_only_in_config(name: str) -> None:
    light, night = charts.chart(FINDINGS[name], "light"), charts.chart(FINDINGS[name], "night")
    assert light is not None and night is not None
    assert light.pop("config") != night.pop("config")

    assert light == night
    assert not re.search(r"#[0-9a-f]{6}", json.dumps(light))


@pytest.mark.parametrize(("theme", "ground"), [("light", "#f6f1e4"), ("night", "#201c15"), ("paper", "#ffffff")])
def test_words_and_marks_stand_out_from_the_ground(theme: charts.Theme, ground: str) -> None:
    """WCAG 2.2: 4.5 to 1 for text, 3 to 1 for what must be seen to understand a graphic."""
    config = charts.config(theme)

    assert contrast(config["axis"]["labelColor"], ground) >= 4.5
    for style in ("note", "figure"):
        assert contrast(config["style"][style]["color"], ground) >= 4.5
    for style in ("dot", "range", "line", "exact", "none"):
        assert contrast(config["style"][style]["color"], ground) >= 3


def test_what_is_drawn_is_what_the_finding_says() -> None:
    spec = charts.chart(FINDINGS["what comes"])
    assert spec is not None
    values = next(v for v in spec["datasets"].values() if "species" in v[0])

    assert [v["species"] for v in values] == [row["species"] for row in FINDINGS["what comes"].rows]
    assert [v["rate"] for v in values] == [row["rate"] for row in FINDINGS["what comes"].rows]
    assert [v["low"] for v in values] == [row["low"] for row in FINDINGS["what comes"].rows]


def test_the_day_runs_from_noon_to_noon_and_keeps_its_density() -> None:
    spec = charts.chart(FINDINGS["when"], by="clock")
    assert spec is not None
    points = next(v for v in spec["datasets"].values() if "clock" in v[0])
    clock = FINDINGS["when"].series["clock"]

    assert [p["h"] for p in points] == sorted(p["h"] for p in points)
    assert points[0]["clock"] == "12:00"
    assert sorted(p["y"] for p in points) == pytest.approx(sorted(100 * d for d in clock["density"]))


def test_a_species_never_seen_is_drawn_as_an_upper_limit() -> None:
    found = what_comes(YEAR, Filter(species=("lynx", "red-deer"), species_names={"lynx": "Lynx"}))
    spec = charts.chart(found)
    assert spec is not None

    assert "none; under 0.438" in json.dumps(spec)


def test_a_month_of_little_effort_does_not_squeeze_the_others_flat() -> None:
    rows = [dict(row) for row in FINDINGS["change"].rows]
    rows[0].update(rate=0.0, low=0.0, high=900.0)
    spec = charts.chart(replace(FINDINGS["change"], rows=tuple(rows)))
    assert spec is not None
    values = next(v for v in spec["datasets"].values() if "strip_from" in v[0])

    assert values[0]["cut"] and values[0]["high"] < 150


def test_two_months_of_which_the_first_has_two_days_are_both_drawn_to_be_read() -> None:
    """The first month's end once set the scale for both, at 10¹⁵ and more; now it is cut, with an arrowhead."""
    rows = [dict(row) for row in FINDINGS["change"].rows[:2]]
    rows[0].update(detections=1, camera_days=2.0, rate=50.0, low=0.1, high=1e15)
    spec = charts.chart(replace(FINDINGS["change"], rows=tuple(rows)))
    assert spec is not None
    values = next(v for v in spec["datasets"].values() if "strip_from" in v[0])

    assert [v["cut"] for v in values] == [True, False]
    assert values[0]["high"] < 3 * rows[1]["high"]
    assert values[0]["high"] >= values[0]["rate"]


@pytest.mark.parametrize("top", [8.9, 9.9, 0.89, 19.0, 40.0, 890.0])
def test_the_labels_of_the_axis_are_its_ticks(top: float) -> None:
    """2.5 and 7.5 were once drawn as 3 and 8. What is drawn is read here, whatever the spec says."""
    rows = [{**row, "rate": top / 2, "low": top / 4, "high": top} for row in FINDINGS["change"].rows[:4]]
    spec = charts.chart(replace(FINDINGS["change"], rows=tuple(rows)), "paper")
    assert spec is not None
    ticks = [tick for tick in charts._nice_ticks(top) if tick <= top]
    drawn = {e.text for e in ElementTree.fromstring(charts.svg(spec)).iter() if e.tag.endswith("text")}

    assert {f"{tick:,g}" for tick in ticks} <= drawn


def test_names_cannot_break_out_of_the_drawing() -> None:
    nasty = '</text><script>alert(1)</script> & "quotes" \\ {{x}}'
    rows = tuple({**row, "species": f"{nasty}{n}"} for n, row in enumerate(FINDINGS["what comes"].rows))
    spec = charts.chart(replace(FINDINGS["what comes"], rows=rows), "paper")
    assert spec is not None
    drawn = ElementTree.fromstring(charts.svg(spec))

    assert not [e for e in drawn.iter() if e.tag.endswith("script")]


def test_an_empty_finding_has_no_chart_and_an_odd_theme_is_refused() -> None:
    bare = what_comes(replace(YEAR, observations=()))

    assert charts.chart(bare) is None
    with pytest.raises(WrongInput) as refused:
        charts.config("sepia")  # type: ignore[arg-type]
    assert str(refused.value) == "theme: got 'sepia'; needed: light, night or paper"


@pytest.mark.parametrize("name", FINDINGS)
def test_every_chart_says_what_its_marks_mean(name: str) -> None:
    assert "95 %" in charts.caption(FINDINGS[name])

"""Camera figures, claimed and measured, and their CSV."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import WrongInput
from trod.planning.equipment import camera
from trod.planning.equipment.camera import CameraSpec, Figures, from_csv, to_csv
from trod_demo.camera_models import CAMERA_SPECS
from trod_demo.reserve import CAMERA_MODELS

BOXED = CameraSpec(
    maker="Thornmere",
    model="Owl 20",
    flash="no glow",
    battery="FR6",
    claimed=Figures(trigger_s=0.2, columns=5200, rows=3900),
    measured=Figures(trigger_s=0.6, columns=2600, rows=1950),
)


def test_what_was_measured_goes_before_what_is_claimed_before_what_is_assumed() -> None:
    claimed_only = CameraSpec(maker="Thornmere", model="Owl", claimed=Figures(trigger_s=0.2))

    assert BOXED.figure("trigger_s") == camera.Known(0.6, "measured")
    assert claimed_only.figure("trigger_s") == camera.Known(0.2, "claimed")
    assert claimed_only.figure("rearm_s") == camera.Known(5.0, "assumed")
    with pytest.raises(WrongInput, match="one of zone_deg, range_m"):
        BOXED.figure("colour")


def test_every_figure_has_limits_and_an_assumption() -> None:
    for name in camera.LIMITS:
        assert getattr(camera.ASSUMED, name) is not None
        assert CameraSpec(maker="a", model="b").figure(name).origin == "assumed"


def test_enlarged_pixels_are_told() -> None:
    assert BOXED.enlarged() == approx(4.0)
    assert CameraSpec(maker="a", model="b", claimed=Figures(columns=4000, rows=3000)).enlarged() is None


def test_a_walk_test_adds_to_what_is_known() -> None:
    found = BOXED.with_measured(zone_deg=52.0, burst_max=3.0)

    assert found.figure("zone_deg") == camera.Known(52.0, "measured")
    assert found.measured.burst_max == 3
    assert found.claimed == BOXED.claimed and found.measured.trigger_s == 0.6
    with pytest.raises(WrongInput, match="figure: got 'weight'"):
        BOXED.with_measured(weight=3)


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"zone_deg": 400}, "zone_deg: got 400; needed: a number from 1 to 170 degrees"),
        ({"trigger_s": -0.1}, "trigger_s: got -0.1; needed: a number from 0 to 60 s"),
        ({"range_m": float("nan")}, "range_m: got nan; needed: a number from 0.5 to 200 m"),
        ({"columns": 100.5}, "columns: got 100.5; needed: a whole number from 16 to 60000 pixels"),
        ({"burst_max": 0}, "burst_max: got 0; needed: a whole number from 1 to 100"),
    ],
)
def test_a_figure_that_cannot_be_is_refused(given_: dict[str, float], words: str) -> None:
    with pytest.raises(WrongInput) as caught:
        Figures(**given_)  # type: ignore[arg-type]

    assert str(caught.value) == words


def test_a_camera_without_a_name_or_with_an_unknown_flash_is_refused() -> None:
    with pytest.raises(WrongInput, match="maker: got '  '; needed: a name of 1 to 80 characters"):
        CameraSpec(maker="  ", model="b")
    with pytest.raises(WrongInput, match="one of none, white, low glow, no glow"):
        CameraSpec(maker="a", model="b", flash="purple")  # type: ignore[arg-type]


def test_the_demos_dozen_survives_csv() -> None:
    assert len(CAMERA_SPECS) == 12
    assert from_csv(to_csv(CAMERA_SPECS)) == list(CAMERA_SPECS)
    assert from_csv("\ufeff" + to_csv(CAMERA_SPECS)) == list(CAMERA_SPECS)


def test_the_demos_dozen_begins_with_the_cameras_of_its_reserve() -> None:
    for spec, model in zip(CAMERA_SPECS, CAMERA_MODELS, strict=False):
        assert (spec.maker, spec.model) == (model.maker, model.model)
        claim = spec.claimed
        assert (claim.fov_deg, claim.trigger_s, claim.rearm_s, claim.burst_max) == (
            model.hfov_deg, model.trigger_s, model.rearm_s, model.burst,
        )  # fmt: skip
        assert claim.flash_reach_m == model.flash_range_m
        assert claim.columns is not None and claim.rows is not None
        assert claim.columns * claim.rows / 1e6 == approx(model.megapixels, rel=0.03)
        assert spec.flash == model.flash.replace("-", " ")


def test_csv_has_a_column_for_everything_and_lines_end_as_rfc_4180_says() -> None:
    text = to_csv([BOXED])

    assert text.splitlines()[0].split(",") == list(camera.COLUMNS)
    assert text.count("\r\n") == 2
    row = next(csv.DictReader(io.StringIO(text)))
    assert (row["claimed_trigger_s"], row["measured_trigger_s"], row["claimed_zone_deg"]) == (
        "0.2",
        "0.6",
        "",
    )


@given(st.text(max_size=60), st.text(min_size=1, max_size=60).filter(lambda t: t.strip() and "\0" not in t))
def test_any_text_in_a_note_or_name_comes_back(note: str, name: str) -> None:
    spec = CameraSpec(maker=name.strip(), model="b", note=note.replace("\0", "").strip())

    back = from_csv(to_csv([spec]))[0]

    # Line ends inside a battery may be made uniform on the way.
    assert back.maker.split() == spec.maker.split()
    assert back.note.split() == spec.note.split()


def test_a_battery_that_a_spreadsheet_would_run_is_kept_as_text() -> None:
    text = to_csv([CameraSpec(maker="=1+1", model="b")])

    assert "\r\n'=1+1,b," in text
    assert from_csv(text)[0].maker == "=1+1"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "heading line: got ''; needed: a column named maker"),
        ("maker\nx", "heading line: got 'maker'; needed: a column named model"),
        ("maker,model,maker\na,b,c", "heading line: got 'maker twice'; needed: each column once"),
        (
            "maker,model,claimed_trigger_s\na,b,fast",
            "line 2, claimed_trigger_s: got 'fast'; needed: a number with a decimal point, or nothing",
        ),
        (
            "maker,model,claimed_trigger_s\na,b,1\nc,d,-5",
            "line 3, claimed_trigger_s: got -5.0; needed: a number from 0 to 60 s",
        ),
        ("maker,model\na,", "line 2, model: got ''; needed: a name of 1 to 80 characters"),
        ("maker,model\na,b,c", "line 2: got '3 batteries'; needed: at most 2, as the heading"),
        (
            'maker,model\n"a,b',
            "line 2: got 'unexpected end of data'; needed: comma-separated text with balanced quotes",
        ),
        (
            "maker,model,flash\na,b,red",
            "line 2, flash: got 'red'; needed: one of none, white, low glow, no glow",
        ),
    ],
)
def test_a_list_that_cannot_be_read_says_where_and_why(text: str, words: str) -> None:
    with pytest.raises(WrongInput) as caught:
        from_csv(text)

    assert str(caught.value) == words


def test_an_unknown_column_is_refused_by_name_and_a_huge_list_unread() -> None:
    with pytest.raises(WrongInput, match="heading line: got 'weight_kg'; needed: columns named maker, model"):
        from_csv("maker,model,weight_kg\na,b,1")
    with pytest.raises(WrongInput, match="needed: at most 2000000"):
        from_csv("x" * 2_000_001)


@given(st.text(max_size=400))
def test_rubbish_is_refused_and_never_breaks(text: str) -> None:
    try:
        from_csv("maker,model,claimed_columns\n" + text)
    except WrongInput as error:
        assert str(error)

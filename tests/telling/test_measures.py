"""What is printed is read back, and what people write is read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trod import units
from trod.errors import WrongInput
from trod.telling import measures

# What the page for a phone reads too: tests/scripts/field_values.test.js.
LENGTHS = json.loads((Path(__file__).parents[1] / "scripts" / "lengths.json").read_text("utf-8"))
SYSTEMS = st.sampled_from(["metric", "us"])


@pytest.mark.parametrize(
    ("words", "metres"),
    [
        *LENGTHS["read"],
        ("1½ in", 1.5 * 0.0254),
        ("-3 ft 4 in", -40 * 0.0254),
        ("−0.5 m", -0.5),
        ("0.4 km", 400),
        ("2 mi", 3218.688),
    ],
)
def test_a_length_is_read_as_people_write_it(words: str, metres: float) -> None:
    assert measures.read(words) == pytest.approx(metres)
    assert measures.read(words, "cm", system="us") == pytest.approx(100 * metres)


def test_a_bare_number_is_in_the_unit_that_is_shown() -> None:
    assert measures.read("1,2") == 1.2
    assert measures.read("4", system="us") == pytest.approx(1.2192)
    assert measures.read("4 1/2", "cm", system="us") == pytest.approx(11.43)
    assert measures.read("50", "°C", system="us") == pytest.approx(10)
    assert measures.read("-4 °F", "°C") == pytest.approx(-20)
    assert measures.read("-20C", "°C", system="us") == pytest.approx(-20)
    assert measures.read("45", "°") == 45


@pytest.mark.parametrize("words", ["", "under 1 in", "nan", "1e400", "٣ m", "3 ft 4 in 2", *LENGTHS["refused"]])
def test_what_is_no_length_is_refused(words: str) -> None:
    with pytest.raises(WrongInput) as refusal:
        measures.read(words, system="us", what="height_m")
    assert "a number, alone in ft or with one of m, km, cm, mm, ft, in" in str(refusal.value)
    assert refusal.value.what == "height_m"


@given(st.floats(0.03, 30000), SYSTEMS)
def test_a_printed_length_is_read_and_printed_the_same(metres: float, system: units.System) -> None:
    said = measures.length(metres, system)

    assert measures.length(measures.read(said, system=system), system) == said


@given(st.floats(3, 300), st.floats(1, 150), SYSTEMS)
def test_a_printed_wedge_and_a_printed_trunk_are_read_back(mm: float, cm: float, system: units.System) -> None:
    wedge, trunk = measures.thickness(mm, system), measures.diameter(cm, system)

    assert measures.thickness(measures.read(wedge, "mm", system=system), system) == wedge
    assert measures.diameter(measures.read(trunk, "cm", system=system), system) == trunk


@given(st.floats(-60, 60), st.floats(0.1, 30), st.floats(1, 80), SYSTEMS)
def test_printed_airs_speeds_and_loads_are_read_back(c: float, mps: float, kg: float, system: units.System) -> None:
    air, speed, mass = measures.air(c, system), measures.speed(mps, system), measures.mass(kg, system)

    assert measures.air(measures.read(air, "°C", system=system), system) == air
    assert measures.speed(measures.read(speed, "m/s", system=system), system) == speed
    if mass.startswith("about"):
        assert measures.mass(measures.read(mass, "kg", system=system), system) == mass


@pytest.mark.parametrize(
    ("stored", "sign", "kept", "shown"),
    # NIST Handbook 44 (2023), Appendix C: 1 mile 1609.344 m, 1 acre 4046.8564224 m², 1 mph 0.44704 m/s.
    [
        ("km", "mi", 1.609344, 1.0),
        ("ha", "acres", 0.40468564224, 1.0),
        ("m/s", "mph", 0.44704, 1.0),
        ("km²", "mi²", 2.589988110336, 1.0),
        ("kg", "lb", 0.45359237, 1.0),
        ("mm", "in", 25.4, 1.0),
        ("°C", "°F", 100.0, 212.0),
        ("°C", "°F", -40.0, -40.0),
    ],
)
def test_the_table_of_units_agrees_with_the_published_factors(stored: str, sign: str, kept: float, shown: float) -> None:
    scale = units.scale(stored, "us")

    assert scale.sign == sign
    assert scale.to_stored(shown) == pytest.approx(kept, rel=1e-12)
    assert scale.from_stored(kept) == pytest.approx(shown, rel=1e-12)
    assert units.scale(stored).sign == stored and units.scale(stored).to_stored(kept) == kept


def test_units_of_two_kinds_are_not_turned_into_each_other() -> None:
    with pytest.raises(ValueError, match="no two units of one kind"):
        units.between("m", "kg")


def test_a_way_has_two_figures_and_a_cars_speed_the_readers_unit() -> None:
    """By definition 1609.344 m a mile and 0.3048 m a foot."""
    assert [measures.way(m, "metric") for m in (42, 347, 1234)] == ["42 m", "350 m", "1.2 km"]
    assert [measures.way(m, "us") for m in (150, 1609.344)] == ["490 ft", "1 mi"]
    assert (measures.wheels(20), measures.wheels(20, "us")) == ("20 km/h", "12 mph")

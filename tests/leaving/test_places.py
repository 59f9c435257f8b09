"""What is fit to leave, and that nothing else goes into what leaves."""

from __future__ import annotations

import ast
import dataclasses
import importlib
import inspect
import pkgutil
import types
import typing
from pathlib import Path
from typing import Any

import pytest
from fitted import at, line

import trod.exchange
import trod.field
import trod.report
from trod.errors import WrongInput
from trod.exchange.records_in import Records
from trod.findings.observations import Evidence, Selection, Site
from trod.leaving import FitPlace, FitToLeave, fit_line, fit_place, without_places
from trod.planning.ground.site import SiteGround
from trod.planning.place.inputs import Read
from trod.planning.place.setup import Setup
from trod.planning.visit.rounds import LeftOut, RoundPlan, Stop, StopTime, Trip
from trod.planning.visit.travel import Place

# Records that hold a true place.
RAW = {Site, Evidence, Selection, Stop, StopTime, Trip, RoundPlan, LeftOut, Place, Setup, Read, SiteGround}
SOURCE = Path(trod.report.__file__).parents[1]


def test_a_sensitive_place_is_its_cells_middle_wherever_in_the_cell_it_lies() -> None:
    a, b = at(47.3111, 13.9222, sensitive=True), at(47.3001, 13.9399, sensitive=True)

    assert a == b and (a.latitude_deg, a.longitude_deg) == (47.31, 13.93)
    assert a.hidden and not a.shown and a.uncertainty_m and a.uncertainty_m > 1000
    told = at(47.3111, 13.9222, sensitive=True, true_places=True)
    assert (told.latitude_deg, told.shown, told.uncertainty_m) == (47.3111, True, None)
    assert at(47.3111, 13.9222) == fit_place(latitude_deg=47.3111, longitude_deg=13.9222)


def test_a_line_that_leads_to_a_hidden_place_does_not_leave() -> None:
    hidden = at(47.3111, 13.9222, sensitive=True)
    assert fit_line([(47.3, 13.9), (47.3111, 13.9222)], leads_to=[hidden]) is None
    assert line((47.3, 13.9), (47.31, 13.91)).points == ((47.3, 13.9), (47.31, 13.91))


def test_nobody_else_can_make_or_change_what_is_fit_to_leave() -> None:
    with pytest.raises(WrongInput, match=r"FitPlace: got 'one made by hand'; needed: one made by trod\.leaving"):
        FitPlace(latitude_deg=1, longitude_deg=2)
    with pytest.raises(WrongInput, match="one made by hand"):
        dataclasses.replace(at(47.3111, 13.9222, sensitive=True), latitude_deg=47.3111, cell=None)
    using = [
        path.relative_to(SOURCE).as_posix()
        for path in SOURCE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if (isinstance(node, ast.Name) and node.id == "_SEAL") or (isinstance(node, ast.alias) and node.name == "_SEAL")
    ]
    assert using and all(name.startswith("leaving/") for name in using)


def parts(kind: Any) -> list[Any]:
    """A type with all that it is made of."""
    found = [kind]
    for inner in typing.get_args(kind):
        found += parts(inner) if not isinstance(inner, str | list | tuple) else []
    return found


def raw_within(kind: Any, trail: str, seen: set[Any]) -> list[str]:
    """Where a raw record can come in through a type; what is fit to leave is not looked into."""
    found: list[str] = []
    for part in parts(kind):
        if not inspect.isclass(part) or isinstance(part, types.GenericAlias) or part in seen:
            continue
        seen.add(part)
        if issubclass(part, FitToLeave):
            continue
        if part in RAW:
            found.append(f"{trail}: {part.__name__}")
        elif dataclasses.is_dataclass(part):
            for name, inner in typing.get_type_hints(part).items():
                found += raw_within(inner, f"{trail}.{name}", seen)
    return found


def modules(package: Any) -> list[Any]:
    names = [package.__name__, *(m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + "."))]
    return [importlib.import_module(name) for name in names]


def doors() -> list[tuple[str, Any]]:
    """Every function and record of the three rooms whose work leaves."""
    found = []
    for module in (*modules(trod.report), *modules(trod.field), *modules(trod.exchange)):
        for name, thing in vars(module).items():
            if getattr(thing, "__module__", "") == module.__name__ and (
                inspect.isfunction(thing) or dataclasses.is_dataclass(thing)
            ):
                found.append((f"{module.__name__}.{name}", thing))
    return found


# Named under TYPE_CHECKING alone, for the two modules know one another.
FOR_TYPES_ALONE = {"Records": Records}
# What reads evidence that `FitEvidence` has handed on; its sites are generalised already.
INSIDE = {"trod.report.contents._sites": Selection}


def test_no_function_or_record_of_what_leaves_takes_a_raw_place() -> None:
    faults, looked = [], 0
    for name, thing in doors():
        looked += 1
        for argument, kind in typing.get_type_hints(thing, localns=FOR_TYPES_ALONE).items():
            if argument != "return":
                seen: set[Any] = {INSIDE[name]} if name in INSIDE else set()
                faults += raw_within(kind, f"{name}({argument})", seen)
    assert looked > 100
    assert faults == []


def test_the_walk_over_signatures_finds_a_raw_place_where_there_is_one() -> None:
    @dataclasses.dataclass
    class Inner:
        stops: tuple[Stop, ...]

    Inner.__annotations__["stops"] = tuple[Stop, ...]  # a class within a function does not find its own names again
    assert raw_within(list[Inner], "x", set()) == ["x.stops: Stop"]
    assert raw_within(dict[str, Site | None], "x", set()) == ["x: Site"]
    assert raw_within(FitPlace, "x", set()) == []


def test_what_leaves_never_asks_where_a_site_is_in_its_own_way() -> None:
    """The cell of a place is worked out in one room."""
    using = [
        path.relative_to(SOURCE).as_posix()
        for path in SOURCE.rglob("*.py")
        if "cell_of" in path.read_text("utf-8") and not path.relative_to(SOURCE).as_posix().startswith("leaving/")
    ]
    assert using == ["findings/blur.py"]


@pytest.mark.parametrize(
    "words",
    [
        "47.31112, 13.92223", "N47.31112 E13.92223", "47,31112; 13,92223", "47°18'40\" N 13°55'20\" E", "47° 18.667' N",
        "geo:47.3111,13.9222", "https://maps.example.org/?q=47.3111,13.9222",
        "33T WN 12345 67890", "33 T 412345 5240123",
        "-47.31112 113.92223", "47.31112°N",
    ],
)  # fmt: skip
def test_coordinates_in_peoples_words_are_left_out(words: str) -> None:
    told = without_places(f"By the hut ({words}) on the left, 3 m up.")

    assert not any(piece in told for piece in ("47", "31112", "12345", "412345"))
    assert told.startswith("By the hut (") and told.endswith("on the left, 3 m up.")


@pytest.mark.parametrize(
    "words",
    ["Key 12, gate 3.", "8 × FR6, 2.5 m up, 47 % left", "Closed from 1 May 2026 to 3.6.2026", "tilt 12° and 30° down",
     "0.85 m", "about 9:40, 25 min", "heading 047° N", "1,250 pictures, 13.9 °C"],
)  # fmt: skip
def test_other_numbers_in_peoples_words_stay(words: str) -> None:
    assert without_places(words) == words

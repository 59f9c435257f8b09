"""The drawing of which room imports which: docs/pictures/imports-after.svg is what scripts/import-graph draws now."""

from __future__ import annotations

import re
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]


def script() -> Any:
    """scripts/import-graph as a module."""
    loader = SourceFileLoader("import_graph", str(ROOT / "scripts" / "import-graph"))
    spec = spec_from_loader("import_graph", loader)
    assert spec is not None
    module = module_from_spec(spec)
    loader.exec_module(module)
    return module


def dots(drawing: str) -> set[str]:
    return set(re.findall(r"<title>(\S.* imports \S[^<]*)</title></circle>", drawing))


def test_the_drawing_in_the_docs_is_the_one_drawn_now() -> None:
    drawn = script()
    there, now = drawn.AFTER.read_text("utf-8"), drawn.drawn_now()

    assert len(dots(now)) > 300 and "web/map imports catalogue/models" in dots(now)
    assert dots(there) == dots(now), "say scripts/import-graph"
    assert there == now, "say scripts/import-graph"


def test_no_page_room_is_drawn_importing_another() -> None:
    shared = ("web/shared", "web/forms", "web/templatetags")
    pages = [dot for dot in dots(script().drawn_now()) if re.fullmatch(r"web/\w+ imports web/\w+", dot)]

    assert pages
    assert [dot for dot in pages if not dot.endswith(shared)] == []


def test_before_the_rooms_were_set_right_page_rooms_imported_one_another() -> None:
    before = dots((ROOT / "docs/pictures/imports-before.svg").read_text("utf-8"))

    assert {"web/cameras imports web/today", "web/map imports web/shared"} & before == {"web/cameras imports web/today"}


def test_a_circle_is_drawn_as_one_and_a_chain_is_not() -> None:
    drawn = script()
    chain = drawn.draw({("b", "a"), ("c", "b")}, "a chain")
    circle = drawn.draw({("b", "a"), ("c", "b"), ("b", "c")}, "a circle")

    assert [sorted(group) for group in drawn.circles_of({("b", "a"), ("c", "b")})] == [["a"], ["b"], ["c"]]
    assert "0 rooms in circles" in chain and drawn.CLAY not in chain
    assert "2 rooms in circles" in circle and circle.count(f'fill="{drawn.CLAY}"><title>') == 1

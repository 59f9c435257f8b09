"""What the stylesheets draw is what the pages call it: a class renamed on one side alone loses its looks unseen."""

from __future__ import annotations

import re
from pathlib import Path

TROD = Path(__file__).resolve().parents[2] / "src" / "trod"
STATIC = TROD / "web" / "static" / "trod"


def classes_in_pages() -> set[str]:
    """Every word in a class attribute of a template, with what stands between a tag's branches."""
    found: set[str] = set()
    for page in (TROD / "web" / "templates").rglob("*.html"):
        bare = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", " ", page.read_text("utf-8"))
        for value in re.findall(r'class="([^"]*)"', bare):
            found |= set(value.split())
    return found


def test_every_drawing_that_a_stylesheet_speaks_of_is_on_a_page() -> None:
    drawn = {c for sheet in STATIC.glob("*.css") for c in re.findall(r"\bsvg\.([a-z][\w-]*)", sheet.read_text("utf-8"))}
    scripts = " ".join(p.read_text("utf-8") for p in [*STATIC.glob("*.js"), *TROD.rglob("*.py")])
    made = {c for value in re.findall(r"(?:class|css)=\\?[\"']([^\"']*)", scripts) for c in value.split()}

    assert {"batteries"} <= drawn
    assert drawn <= classes_in_pages() | made


def test_a_figure_of_a_model_that_is_wrong_is_marked() -> None:
    page = (TROD / "web" / "templates" / "trod" / "cameras" / "model_form.html").read_text("utf-8")
    marked = re.findall(r"\.pair \.([\w-]+)\.wrong input", (STATIC / "planning.css").read_text("utf-8"))

    assert len(marked) == 1
    assert page.count(f'class="{marked[0]}{{% if row.') == 2


def test_no_mark_needs_a_type_that_few_machines_have() -> None:
    """Full-width signs stand in East Asian type alone; elsewhere they show as an empty box."""
    found = [
        f"{path.name}: {sign}"
        for room in ("web/static", "field/form")
        for path in (TROD / room).rglob("*.css")
        for sign in re.findall("[\uff00-\uffef]", path.read_text("utf-8"))
    ]

    assert found == []

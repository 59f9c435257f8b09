"""Words of ours that the trade has better ones for: none stands on a page, in a help text, in a column or in a name."""

from __future__ import annotations

import html
import importlib.util
import re
import subprocess
from datetime import date
from pathlib import Path

import click
import pytest
from django.apps import apps
from django.test import Client

from trod.commands import main

ROOT = Path(__file__).resolve().parents[2]
# The word, and what stands for it now. Parts of longer names count too: age_class, PacketPage.
RETIRED = {
    "sighting": "observation", "hunch": "suggestion", "passage": "detection", "hunger": "power draw",
    "mishap": "incident", "intake": "import", "packet": "field form", "ribbon": "activity timeline",
    "look-through": "review", "claim and field": "specification and field test", "age class": "life stage",
    "quiet days": "disturbance after a visit", "cell_by": "battery_by",
    "cells changed": "batteries changed", "speaks against": "limitations", "unsure": "unknown",
}  # fmt: skip
# Whole words that have an innocent sense elsewhere: none of them may stand where a technician reads.
ON_PAGES = {
    r"events?": "sequence", r"(?<!coarse )cells?": "batteries", r"words? of": "identification", r"your word": "identification",  # noqa: E501
    r"not (?:yet )?sorted": "not yet reviewed", r"keep this way": "keep this option",
    r"bench": "placement planner", r"slips?": "set-up sheet", r"shelf": "stock", r"storms?": "run of false triggers",
    r"struck out": "withdrawn",
    r"tak(?:e|es|en|ing) (?:it |them |(?:a|the) card )?in": "import", r"tak(?:e|en|ing) (?:it )?down": "retrieve",
    r"dial(?:s|led)?(?: in)?": "enter", r"way there": "access", r"proven": "verified", r"blurred": "generalised",
    r"leaves the house": "leaves", r"by the sun": "sun time", r"stopped, in 100": "Chance it has stopped, %", r"young or males": "juveniles",  # noqa: E501
    r"not told": "unknown, not given", r"(?:the|a|its) watch(?!es)": "camera clock",
    r"got .{0,80}; needed:": "a sentence for people",
}  # fmt: skip
MAY = [
    ("src/trod/planning/", "passage"),  # of an animal through the modelled ground
    ("tests/planning/", "passage"),
    ("src/trod/report/charts.py", "ribbon"),
]
# Choices and forms say these too, also where no page of the benchmark opens them; "not told" is fine within a sentence.
IN_SOURCE = re.compile(
    r"""(?<![\w-])[Cc]orrect (?:the|a) watch|["'>]not told["'<]|is not told: |>Its watch|(?:page|on|of) Ground\b"""
)
HERE = "tests/web/test_retired_words.py"


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\n")
    kinds = (".py", ".html", ".js", ".css", ".typ", ".md", ".toml")
    return [f for f in listed if f.endswith(kinds) and f != HERE and not f.startswith(("changelog.d/", "CHANGELOG"))]


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="not a checkout")
def test_no_retired_word_stands_in_any_file_or_file_name() -> None:
    pattern = re.compile("|".join(re.escape(w).replace(r"\ ", "[ _-]?").replace("-", "[ _-]?") for w in RETIRED), re.I)
    found = []
    for name in tracked():
        text = f"{name}\n{(ROOT / name).read_text('utf-8')}" if (ROOT / name).is_file() else name
        for match in pattern.finditer(text):
            if not any(name.startswith(where) and what in match[0].lower() for where, what in MAY):
                found.append(f"{name}:{text.count(chr(10), 0, match.start())}: {match[0]}")

    assert not found, "\n".join(found)


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="not a checkout")
def test_no_choice_or_template_says_one() -> None:
    found = [
        f"{name}: {match[0]}"
        for name in tracked()
        if name.startswith(("src/", "benchmarks/", "tests/web/browser/")) and (ROOT / name).is_file()
        for match in IN_SOURCE.finditer((ROOT / name).read_text("utf-8"))
    ]

    assert not found, "\n".join(found)


def helps(command: click.Command, context: click.Context | None = None) -> list[str]:
    """The help of a command and of all below it."""
    with click.Context(command, info_name=command.name, parent=context) as inner:
        texts = [command.get_help(inner)]
        if isinstance(command, click.Group):
            for name in command.list_commands(inner):
                below = command.get_command(inner, name)
                assert below is not None
                texts += helps(below, inner)
    return texts


def retired_in(text: str) -> list[str]:
    return [m[0] for w in ON_PAGES for m in re.finditer(rf"(?<![\w-]){w}(?![\w-])", text, flags=re.I)]


def test_no_help_text_uses_one() -> None:
    found = [(text.split("\n", 1)[0], words) for text in helps(main) if (words := retired_in(text))]

    assert not found


def test_no_column_or_table_bears_one() -> None:
    old = re.compile("|".join([*(w.replace(" ", "_") for w in RETIRED), r"(^|_)(cells?|words?|events?)($|_)"]))
    names = [
        f"{model._meta.db_table}.{field.name}" for model in apps.get_app_config("trod").get_models()
        for field in model._meta.get_fields() if old.search(field.name) or old.search(model._meta.db_table)
    ]  # fmt: skip

    assert not names


@pytest.mark.django_db
def test_no_page_of_a_filled_reserve_says_one(trod_home: Path, client: Client, filler) -> None:
    spec = importlib.util.spec_from_file_location("pages_benchmark", ROOT / "benchmarks" / "pages.py")
    assert spec is not None and spec.loader is not None
    bench = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(bench)
    filler.fill(300, now=date(2026, 6, 30))
    found = []
    for name, address in bench.addresses():
        page = client.get(address).content.decode()
        shown = re.sub(r"(?s)<(script|style|svg|textarea)\b.*?</\1>", " ", page)
        text = html.unescape(re.sub(r"<[^>]+>", " ", shown))
        text += " ".join(re.findall(r'(?:aria-label|title|placeholder|alt)="([^"]*)"', shown))
        for word in retired_in(text):
            found.append(f"{name}: {word}: …{text[max(0, text.find(word) - 40) : text.find(word) + 40]!r}")

    assert not found, "\n".join(found)

"""The documents run and are complete: their code works, their commands exist, every word has its origin."""

from __future__ import annotations

import doctest
import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from django.apps import apps

from trod.commands import main
from trod.web import pages

ROOT = Path(__file__).resolve().parents[1]
DOCUMENTS = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), *(ROOT / "changelog.d").glob("*.md")])
START_WORDS = {"test", "wheels"}  # what start.py itself understands; all else goes to trod


@dataclass(frozen=True)
class Block:
    """A fenced piece of a document."""

    document: Path
    line: int
    language: str
    text: str

    def __str__(self) -> str:
        return f"{self.document.relative_to(ROOT).as_posix()}:{self.line}"


def blocks(*languages: str) -> list[Block]:
    """The fenced pieces of all documents in these languages."""
    found = []
    for document in DOCUMENTS:
        text = document.read_text("utf-8")
        for match in re.finditer(r"^```(\w+)[^\n]*\n(.*?)^```", text, flags=re.M | re.S):
            if match[1] in languages:
                line = text.count("\n", 0, match.start()) + 1
                found.append(Block(document, line, match[1], match[2]))
    return found


def verbs(command: click.Command, name: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command below this one by its whole name, like "ask when"."""
    yield name, command
    if isinstance(command, click.Group):
        with click.Context(command) as context:
            for word in command.list_commands(context):
                whole = f"{name} {word}".strip()
                try:
                    below = command.get_command(context, word)
                except ModuleNotFoundError:
                    below = None  # told by its own test
                if below is not None:
                    yield from verbs(below, whole)


def options(command: click.Command) -> set[str]:
    """The long options of a command, its own --help with them."""
    given = {word for param in command.params for word in (*param.opts, *param.secondary_opts)}
    return {word for word in given if word.startswith("--")} | {"--help"}


def table() -> dict[str, tuple[str, str, str]]:
    """The glossary: word -> (where seen, meaning, origin)."""
    rows = {}
    for line in (ROOT / "docs" / "glossary.md").read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("|") and len(cells) == 4 and cells[0] != "word" and not set(cells[0]) <= {"-"}:
            assert cells[0] not in rows, f"the glossary has {cells[0]} twice"
            rows[cells[0]] = (cells[1], cells[2], cells[3])
    return rows


def seen_words() -> dict[str, set[str]]:
    """What a person meets, by kind: commands, options, pages, records."""
    all_verbs = dict(verbs(main))
    return {
        "command": {f"`{name}`" for name in all_verbs if name},
        "option": {f"`{word}`" for command in all_verbs.values() for word in options(command)},
        "page": {door.label for door in (*pages.NAV, *pages.FOOT)},
        "record": {model.__name__ for model in apps.get_app_config("trod").get_models()},
    }


def test_every_verb_that_is_listed_can_be_had() -> None:
    had = {name for name, _ in verbs(main)}

    assert [name for name in main.list_commands(click.Context(main)) if name not in had] == []


def test_every_word_that_a_person_meets_stands_in_the_glossary() -> None:
    rows = table()

    missing = [f"{kind}: {word}" for kind, words in seen_words().items() for word in sorted(words - set(rows))]

    assert not missing, "docs/glossary.md lacks:\n" + "\n".join(missing)


def test_the_glossary_keeps_no_word_that_is_gone() -> None:
    seen = seen_words()

    gone = [
        f"{kind}: {word}"
        for word, (where, _, _) in table().items()
        for kind in seen
        if where == kind and word not in seen[kind]
    ]

    assert not gone, "docs/glossary.md still has:\n" + "\n".join(gone)


def test_every_word_of_the_glossary_has_a_meaning_and_an_origin() -> None:
    rows = table()

    assert len(rows) > 80
    assert [word for word, (where, meaning, _) in rows.items() if not where or not meaning] == []
    assert [w for w, (_, _, o) in rows.items() if not re.fullmatch(r"trade|ours|standard: .+", o)] == []


def test_python_in_the_documents_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    found = blocks("python")
    told: list[str] = []
    for block in found:
        if ">>>" in block.text:
            examples = doctest.DocTestParser().get_doctest(block.text, {}, str(block), str(block), block.line)
            doctest.DocTestRunner(optionflags=doctest.ELLIPSIS).run(examples, out=told.append)
        else:
            exec(compile(block.text, str(block), "exec"), {"__name__": "document"})

    assert found
    assert not told, "".join(told)


def command_lines() -> list[tuple[str, str]]:
    """(place, words after trod) of each command of ours in a document."""
    found = []
    for block in blocks("console", "sh"):
        for line in block.text.splitlines():
            words = line.removeprefix("$ ").split("  #")[0].strip()
            if match := re.match(r"(?:trod|python3 start\.py) (.+)", words):
                found.append((str(block), match[1]))
    return found


@pytest.mark.parametrize(("place", "line"), command_lines())
def test_a_command_in_a_document_exists_with_its_options(place: str, line: str) -> None:
    words = shlex.split(line)
    if words[0] in START_WORDS:
        return
    command: click.Command = main
    known = options(main)
    for word in words:
        if word.startswith("--"):
            assert word.split("=")[0] in known, f"{place}: {line}: there is no {word}"
        elif isinstance(command, click.Group):
            below = command.get_command(click.Context(command), word)
            assert below is not None, f"{place}: {line}: there is no command {word}"
            command, known = below, options(below)


def test_every_link_inside_the_documents_leads_somewhere() -> None:
    dead = []
    for document in DOCUMENTS:
        for target in re.findall(r"\]\(([^)#\s]+)[^)]*\)", document.read_text("utf-8")):
            if "://" not in target and not (document.parent / target).exists():
                dead.append(f"{document.relative_to(ROOT).as_posix()}: {target}")

    assert not dead, "\n".join(dead)


def test_every_package_we_ask_for_is_accounted_for() -> None:
    text = (ROOT / "docs" / "dependencies.md").read_text("utf-8").lower()
    asked = set()
    for name in ("core", "dev", "built"):
        for line in (ROOT / "requirements" / f"{name}.in").read_text("utf-8").splitlines():
            if match := re.match(r"[a-z][\w-]*", line):
                asked.add(match[0])

    assert sorted(name for name in asked if not re.search(rf"(?<![\w-]){name}(?![\w-])", text)) == []


def test_the_help_of_every_verb_has_an_example() -> None:
    bare = []
    for name, command in verbs(main):
        text = re.sub(r"\s+", " ", command.help or "")
        if not isinstance(command, click.Group) and f"trod {name}" not in text:
            bare.append(name)

    assert bare == []

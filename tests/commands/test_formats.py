"""An archive of another format under the verbs: a newer one is refused by name, an older one brought up to date."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pulled
import pytest
from commanded import Command, environment

from trod.archive.verify import verify

pytestmark = pytest.mark.long

# What a Trod of another format leaves: invented, for none was released. Format 0 called sites `stations`.
WRITTEN_BY = """
import json
from pathlib import Path
from trod.archive import formats, papers, sidecar
root = Path({root!r})
old = {{path: json.loads(papers.bytes_of(root, path)) for path in papers.all_papers(root) if path.endswith(".json")}}
for path, fields in old.items():
    kind = fields.pop("kind")
    fields.pop("trod")
    if kind == "ledger" and {number} == 0:
        fields["stations"] = fields.pop("sites")
    formats.FORMAT = {number}
    data = sidecar.written(kind, fields)
    formats.FORMAT = 1
    papers.put(root, path, data, kind=kind)
with papers.held(root) as writer:
    writer.renew(of_format={number})
"""
LIFTS = """
import sys
from trod.archive import formats
from trod.commands import main
from trod.web import server

def paper(kind, fields):
    return {("sites" if kind == "ledger" and name == "stations" else name): fields[name] for name in fields}

formats.STEPS[0] = formats.Step(paper=paper, line=dict)
server.run = lambda *a, **k: None
sys.argv = ["trod", *sys.argv[1:]]
main()
"""
SITES = """
from trod.catalogue.start import ready
ready()
from trod.catalogue.models import Identification, Picture, Site
print(*Site.objects.values_list("name", flat=True), Picture.objects.count(), Identification.objects.count())
"""


@pytest.fixture
def kept(command: Command, card: pulled.Pulled, trod_home: Path) -> Path:
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--yes", "--json")
    assert said.status == 0, said.err
    return trod_home


def python(home: Path, code: str, *words: str) -> subprocess.CompletedProcess[str]:
    call = [sys.executable, "-c", code, *words]
    return subprocess.run(call, env=environment(home), capture_output=True, text=True, check=False, timeout=200)


def written_by(home: Path, number: int) -> None:
    done = python(home, WRITTEN_BY.format(root=str(home / "archive"), number=number))
    assert done.returncode == 0, done.stderr


def state(root: Path) -> dict[str, bytes]:
    return {
        str(path): path.read_bytes() for path in root.rglob("*") if path.is_file() and not path.name.endswith("lock")
    }


def test_an_archive_of_a_newer_format_is_refused_by_name_by_every_verb(
    kept: Path, tmp_path: Path, command: Command, card: pulled.Pulled
) -> None:
    written_by(kept, 2)
    before = state(kept / "archive")
    card.bursts(pulled.days(1), frames=1)
    for words in (
        ["card", str(card.folder), "--yes"],
        ["verify"],
        ["verify", "--register"],
        ["rebuild", "--yes"],
        ["serve", "--no-browser", "--port", "0"],
        ["backup", str(tmp_path / "copy")],
        ["restore", "--papers"],
        ["ask", "when"],
        ["power"],
        ["export", str(tmp_path / "out")],
    ):
        said = command(*words)
        assert said.status == 3, (words, said)
        assert "The archive is of format 2, written by a newer Trod; this Trod reads up to format 1. " in said.err, words
        assert "Use the newer Trod for it" in said.err and "Traceback" not in said.err, words
    assert state(kept / "archive") == before
    assert not list(kept.glob("catalogue.sqlite3.before-*"))


@pytest.mark.parametrize("verb", ["rebuild", "serve"])
def test_an_archive_of_an_older_format_is_brought_up_by_rebuild_and_at_the_start_of_serve(
    kept: Path, command: Command, verb: str
) -> None:
    before = python(kept, SITES).stdout
    assert before.startswith("Alder Track ")
    written_by(kept, 0)
    if verb == "rebuild":  # as the older Trod left it; else, as a state that was brought back
        adopted = "from trod.catalogue.papers import standing\nstanding.adopt()\n"
        assert python(kept, f"from trod.catalogue.start import ready\nready(settle=False)\n{adopted}").returncode == 0
    old = (kept / "archive/ledger.json").read_bytes()
    assert b"stations" in old

    refused = command("ask", "when")  # a Trod that knows nothing of format 0
    assert refused.status == 3 and "is of format 0; this Trod reads format 1 alone" in refused.err
    stopped = python(kept, LIFTS, "ask", "when")
    assert stopped.returncode == 3 and (kept / "archive/ledger.json").read_bytes() == old
    said = "The archive is of an older format than this Trod writes."
    assert said in stopped.stderr and "trod rebuild" in stopped.stderr

    words = ["rebuild", "--yes"] if verb == "rebuild" else ["serve", "--no-browser", "--port", "0", "--no-worker"]
    done = python(kept, LIFTS, *words)

    assert done.returncode == 0, done.stderr
    told = done.stdout if verb == "rebuild" else done.stderr
    assert "The archive was brought up to format 1: 2 papers were written anew." in told, told
    assert (kept / "archive/.earlier/format-0/ledger.json").read_bytes() == old
    assert b"stations" not in (kept / "archive/ledger.json").read_bytes()
    assert python(kept, SITES).stdout == before
    report = verify(kept / "archive")
    assert report.ok, report
    assert command("verify").status == 0

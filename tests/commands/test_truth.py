"""A catalogue that is missing, empty, half made, older or foreign never writes to the archive."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from http.cookiejar import CookieJar
from pathlib import Path

import pulled
import pytest
from commanded import Command, environment

pytestmark = pytest.mark.long

ENTERED = """
from trod.catalogue.start import ready
ready()
from trod.catalogue.models import Camera, Deployment, Lock, Site, Species, Visit
from datetime import UTC, datetime
Species.objects.create(name="Red deer", slug="red-deer")
site = Site.objects.get()
Lock.objects.create(label="blue", site=site, combination="4417")
Visit.objects.create(site=site, deployment=Deployment.objects.get(), at=datetime(2026, 6, 1, 9, tzinfo=UTC), by="Ilka")
"""


@pytest.fixture
def kept(command: Command, card: pulled.Pulled, trod_home: Path) -> Path:
    """A home with one bag and what people entered; gives the home."""
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--yes", "--json")
    assert said.status == 0, said.err
    python(trod_home, ENTERED)
    return trod_home


def python(home: Path, code: str) -> str:
    words = [sys.executable, "-c", code]
    done = subprocess.run(words, env=environment(home), capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def archive(home: Path) -> dict[str, bytes]:
    """Every file of an archive that says something, locks and the register left out."""
    root = home / "archive"
    return {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in root.rglob("*")
        if path.is_file() and path.name not in (".lock",) and not path.relative_to(root).parts[0].startswith(".")
        and "register" not in path.name
    }  # fmt: skip


def fresh_home(home: Path, at: Path) -> Path:
    """Only the archive, copied into a new home."""
    at.mkdir()
    shutil.copytree(home / "archive", at / "archive")
    return at


class Served:
    """`trod serve` as a process."""

    def __init__(self, home: Path, *words: str) -> None:
        self.errors = home.parent / f"serve-{time.monotonic_ns()}.txt"
        self.process = subprocess.Popen(
            [sys.executable, "-m", "trod", "serve", "--port", "0", "--no-browser", "--json", *words],
            env=environment(home), stdout=subprocess.PIPE, stderr=self.errors.open("w"), text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        self.address = json.loads(line)["address"] if line else ""
        self.jar = CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))

    def get(self, path: str) -> str:
        with self.opener.open(self.address + path, timeout=30) as answer:
            return str(answer.read().decode())

    def post(self, path: str, **fields: str) -> tuple[int, str]:
        token = next((c.value for c in self.jar if c.name == "csrftoken"), "") or ""
        data = urllib.parse.urlencode({**fields, "csrfmiddlewaretoken": token}).encode()
        try:
            with self.opener.open(self.address + path, data=data, timeout=30) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as answer:
            return answer.code, answer.read().decode()

    def end(self) -> str:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
        self.process.wait(60)
        return self.errors.read_text()


@pytest.fixture
def serve() -> Iterator[Callable[..., Served]]:
    running: list[Served] = []

    def start(home: Path, *words: str) -> Served:
        running.append(Served(home, *words))
        return running[-1]

    yield start
    for one in running:
        if one.process.poll() is None:
            one.process.kill()
            one.process.wait()


def settled(served: Served, home: Path, seconds: float = 60) -> None:
    """Wait until the worker has looked at the archive, as it does at its start."""
    until = time.monotonic() + seconds
    sign = home / "at-work"
    while time.monotonic() < until and not list(sign.glob("serve-*.json"))[1:]:
        time.sleep(0.1)
    time.sleep(2)


def same_papers(before: dict[str, bytes], after: dict[str, bytes]) -> None:
    assert set(before) == set(after)
    for path, data in before.items():
        assert after[path] == data, path


def test_the_archive_alone_in_a_new_home_is_served_as_it_is(kept: Path, tmp_path: Path, serve: Callable) -> None:
    before = archive(kept)
    home = fresh_home(kept, tmp_path / "new")
    served = serve(home)
    assert served.address
    settled(served, home)
    assert "Alder Track" in served.get("map/sites/of/alder-track/")
    told = served.end()
    assert "made anew from the archive" in told and "The catalogue is back" in told
    same_papers(before, archive(home))


@pytest.mark.parametrize("verb", ["card", "ask", "export", "report", "rounds"])
def test_with_the_archive_alone_a_command_stops_and_names_rebuild(
    verb: str, kept: Path, tmp_path: Path, command: Command, card: pulled.Pulled
) -> None:
    before = archive(kept)
    home = fresh_home(kept, tmp_path / "new")
    words = {"card": (str(card.folder), "--yes"), "ask": ("what-comes",), "export": (str(tmp_path / "out"),)}
    said = command(verb, *words.get(verb, ()), home=home)
    assert said.status == 3 and "trod rebuild" in said.err and "catalogue is empty" in said.err
    same_papers(before, archive(home))


def test_restore_then_serve_leaves_the_papers_as_they_came(
    kept: Path, tmp_path: Path, command: Command, serve: Callable
) -> None:
    before = archive(kept)
    assert command("backup", str(tmp_path / "second")).status == 0
    home = tmp_path / "new"
    assert command("restore", str(tmp_path / "second"), home=home).status == 0
    served = serve(home)
    settled(served, home)
    served.end()
    same_papers(before, archive(home))


def test_a_catalogue_of_no_bytes_is_made_anew(kept: Path, serve: Callable) -> None:
    before = archive(kept)
    for file in kept.glob("catalogue.sqlite3-*"):
        file.unlink()
    (kept / "catalogue.sqlite3").write_bytes(b"")
    served = serve(kept)
    settled(served, kept)
    assert "made anew" in served.end()
    same_papers(before, archive(kept))


def test_a_rebuild_killed_midway_writes_nothing_and_serve_makes_it_whole(
    kept: Path, command: Command, serve: Callable
) -> None:
    before = archive(kept)
    killed = (
        "import os, sys\nimport trod.commands.bar as bar\n"
        "bar.Bar.step = lambda self, done, total, message='', **more: message.startswith('Putting') and os._exit(9)\n"
        "sys.argv = ['trod', 'rebuild']\nfrom trod.commands import main\nmain()\n"
    )
    done = subprocess.run([sys.executable, "-c", killed], env=environment(kept), check=False)
    assert done.returncode == 9
    said = command("ask", "what-comes")
    assert said.status == 3 and "not made to its end" in said.err and "trod rebuild" in said.err
    said = command("card", str(kept), "--yes")
    assert said.status == 3
    same_papers(before, archive(kept))
    served = serve(kept)
    settled(served, kept)
    assert "not made to its end" in served.end()
    same_papers(before, archive(kept))
    assert command("ask", "what-comes").status == 0


def test_backup_beside_an_empty_catalogue_copies_the_archive_as_it_lies_there(
    kept: Path, tmp_path: Path, command: Command
) -> None:
    before = archive(kept)
    home = fresh_home(kept, tmp_path / "new")
    said = command("backup", str(tmp_path / "second"), home=home)
    assert said.status == 0 and "catalogue is empty" in said.out and "trod rebuild" in said.out
    same_papers(before, archive(home))
    assert (tmp_path / "second" / "ledger.json").read_bytes() == before["ledger.json"]


def older(home: Path, to: Path) -> None:
    """A copy of the catalogue, whole."""
    import sqlite3

    with sqlite3.connect(home / "catalogue.sqlite3") as db:
        db.execute("VACUUM INTO ?", (str(to),))


def put_back(home: Path, copy: Path) -> None:
    for file in home.glob("catalogue.sqlite3*"):
        file.unlink()
    shutil.copy(copy, home / "catalogue.sqlite3")


LATER = """
from trod.catalogue.start import ready
ready()
from trod.catalogue.models import Site
for site in Site.objects.all():
    site.note = "moved up the bank"
    site.save()
"""


def test_an_older_catalogue_is_made_anew_before_it_is_served(kept: Path, tmp_path: Path, serve: Callable) -> None:
    older(kept, tmp_path / "older.sqlite3")
    python(kept, LATER)
    before = archive(kept)
    put_back(kept, tmp_path / "older.sqlite3")
    served = serve(kept)
    settled(served, kept)
    assert "moved up the bank" in served.get("map/sites/of/alder-track/change/")
    assert "newer than the catalogue" in served.end()
    same_papers(before, archive(kept))
    assert list(kept.glob("catalogue.sqlite3.before-*"))


def test_an_older_catalogue_put_back_under_a_running_server_refuses_to_save_and_shows_what_was_typed(
    kept: Path, tmp_path: Path, serve: Callable
) -> None:
    served = serve(kept, "--no-worker")
    page = served.get("people/species/new/")
    assert "csrf" in page
    python(kept, "import json, sys\nfrom pathlib import Path\nfrom trod.archive import sidecar\n"
                 f"root = Path({str(kept / 'archive')!r})\nbook = sidecar.read_ledger(root)\n"
                 "book['species'].append({**book['species'][0], 'slug': 'jay', 'name': 'Jay', 'key': None})\n"
                 "sidecar.write_ledger(root, book)\n")  # fmt: skip
    before = archive(kept)
    status, answer = served.post("people/species/new/", name="Marten", note="seen by the mill <b>")
    assert status == 409, (status, answer[:300])
    assert "Not saved" in answer and "trod rebuild" in answer
    assert "seen by the mill &lt;b&gt;" in answer and "Marten" in answer
    served.end()
    same_papers(before, archive(kept))
    found = python(kept, "from trod.catalogue.start import ready\nready(settle=False)\nfrom trod.catalogue.models import Species\n"  # noqa: E501
                         "print(Species.objects.filter(name='Marten').count())")  # fmt: skip
    assert found.strip() == "0"


def test_another_archives_catalogue_is_not_emptied_without_being_asked(
    kept: Path, tmp_path: Path, command: Command, card: pulled.Pulled
) -> None:
    other = tmp_path / "other"
    assert command("card", str(card.folder), "--camera", "X-9", "--site", "Far", "--yes", home=other).status == 0
    older(other, tmp_path / "foreign.sqlite3")
    before = archive(kept)
    put_back(kept, tmp_path / "foreign.sqlite3")
    for words in (("serve", "--no-browser", "--port", "0"), ("card", str(card.folder), "--yes"), ("ask", "when")):
        said = command(*words)
        assert said.status == 3 and "another archive's" in said.err and "trod rebuild" in said.err, (words, said.err)
    same_papers(before, archive(kept))
    found = python(kept, "from trod.catalogue.start import ready\nready(settle=False)\nfrom trod.catalogue.models import Site\n"  # noqa: E501
                         "print(*Site.objects.values_list('name', flat=True))")  # fmt: skip
    assert found.strip() == "Far"
    said = command("rebuild")
    assert said.status == 0 and "before-" in said.out
    same_papers(before, archive(kept))


@pytest.mark.parametrize("how", ["removed", "emptied", "cut", "edited"])
def test_a_ledger_that_something_else_touched_stops_all_and_is_not_written_over(
    how: str, kept: Path, command: Command, card: pulled.Pulled
) -> None:
    ledger = kept / "archive" / "ledger.json"
    data = ledger.read_bytes()
    if how == "removed":
        ledger.unlink()
    else:
        new = {"emptied": b"", "cut": data[: len(data) // 2], "edited": data.replace(b"Red deer", b"Roe deer")}[how]
        assert new != data
        ledger.write_bytes(new)
    before = archive(kept)
    for words in (("serve", "--no-browser", "--port", "0"), ("card", str(card.folder), "--yes")):
        said = command(*words)
        assert said.status == 3 and "ledger.json" in said.err and "trod verify" in said.err, said.err
    same_papers(before, archive(kept))


def test_an_archive_whose_disk_is_not_there_is_told_and_no_new_one_begun(kept: Path, command: Command) -> None:
    (kept / "archive").rename(kept / "elsewhere")
    said = command("serve", "--no-browser", "--port", "0")
    assert said.status == 3 and "not there any more" in said.err
    assert not (kept / "archive").exists() or not list((kept / "archive").glob("*.json"))


def test_words_that_the_catalogue_lacks_are_taken_up_at_the_start(kept: Path, tmp_path: Path, command: Command) -> None:
    older(kept, tmp_path / "older.sqlite3")
    python(kept, "from trod.catalogue.start import ready\nready()\nfrom datetime import UTC, datetime\n"
                 "from trod.catalogue.identifications import identifications\nfrom trod.catalogue.models import Sequence\n"  # noqa: E501
                 "[identifications.say(e, [identifications.Line(what='animal', species='red-deer')], by='Ilka', at=datetime.now(UTC))"  # noqa: E501
                 " for e in Sequence.objects.all()]")  # fmt: skip
    before = archive(kept)
    put_back(kept, tmp_path / "older.sqlite3")
    command("ask", "what-comes")
    count = "from trod.catalogue.start import ready\nready()\nfrom trod.catalogue.models import Identification\nprint(Identification.objects.count())"  # noqa: E501
    found = python(kept, count)
    assert int(found) == 4
    same_papers(before, archive(kept))


def test_accounts_and_their_passwords_survive_a_rebuild(kept: Path, command: Command) -> None:
    python(kept, "from trod.catalogue.start import ready\nready()\nfrom trod.web.shared import accounts\n"
                 "accounts.make('ilka', 'a long enough secret 7')")  # fmt: skip
    assert command("rebuild").status == 0
    found = python(kept, "from trod.catalogue.start import ready\nready()\nfrom django.contrib.auth import authenticate\n"  # noqa: E501
                         "print(authenticate(username='ilka', password='a long enough secret 7'))")  # fmt: skip
    assert found.strip() == "ilka"


def test_a_rebuild_is_refused_while_pages_are_served_and_the_archive_and_catalogue_stay(
    kept: Path, command: Command, serve: Callable
) -> None:
    before = archive(kept)
    served = serve(kept)
    settled(served, kept)
    said = command("rebuild")
    assert said.status == 3 and f"trod serve (process {served.process.pid} on " in said.err
    assert "Alder Track" in served.get("map/sites/of/alder-track/")
    served.end()
    same_papers(before, archive(kept))
    assert command("rebuild").status == 0


def test_a_broken_catalogue_is_kept_aside_and_made_anew(kept: Path, command: Command) -> None:
    before = archive(kept)
    for file in kept.glob("catalogue.sqlite3-*"):
        file.unlink()
    data = bytearray((kept / "catalogue.sqlite3").read_bytes())
    data[4096:-1] = os.urandom(len(data) - 4097)
    (kept / "catalogue.sqlite3").write_bytes(data)
    said = command("ask", "what-comes")
    assert said.status == 3 and "trod rebuild" in said.err
    said = command("rebuild", "--json")
    assert said.status == 0 and Path(said.json["before"]).read_bytes() == data
    same_papers(before, archive(kept))

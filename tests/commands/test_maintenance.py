"""`trod verify`, `rebuild`, `backup`, `restore`: the four verbs that keep the archive."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pulled
import pytest
from commanded import Command, environment

from trod.archive.sidecar import append_identification, read_ledger, write_ledger


@pytest.fixture
def filled(command: Command, card: pulled.Pulled, trod_home: Path) -> Path:
    """A home with one bag; gives the bag."""
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--json")
    assert said.status == 0, said.err
    return trod_home / "archive" / said.json["bag"]


def test_a_sound_archive_is_told_so(command: Command, filled: Path) -> None:
    said = command("verify", "--json")
    assert said.status == 0
    found = said.json
    assert (found["files"], found["missing"], found["changed"], found["unreadable"], found["unexpected"]) == (
        12, [], [], [], [],
    )  # fmt: skip


def test_missing_changed_and_unexpected_are_told_apart_and_end_with_1(command: Command, filled: Path) -> None:
    data = filled / "data/DCIM/100TARNB"
    (data / "LANT0001.JPG").unlink()
    changed = data / "LANT0002.JPG"
    spoilt = bytearray(changed.read_bytes())
    spoilt[-10] ^= 1
    changed.write_bytes(spoilt)
    (data / "stranger.txt").write_text("hello")
    said = command("verify", "--json")
    assert said.status == 1
    assert [Path(d["path"]).name for d in said.json["missing"]] == ["LANT0001.JPG"]
    assert [Path(d["path"]).name for d in said.json["changed"]] == ["LANT0002.JPG"]
    assert [Path(d["path"]).name for d in said.json["unexpected"]] == ["stranger.txt"]
    assert "1 missing, 1 changed, 0 unreadable, 1 unexpected" in command("verify").out


def test_the_quick_look_does_not_see_a_changed_byte_and_says_how_it_looked(command: Command, filled: Path) -> None:
    changed = filled / "data/DCIM/100TARNB/LANT0002.JPG"
    spoilt = bytearray(changed.read_bytes())
    spoilt[-10] ^= 1
    changed.write_bytes(spoilt)
    said = command("verify", "--quick")
    assert said.status == 0 and "sizes and names only" in said.out


def test_a_lost_paper_is_named_and_a_kept_state_of_it_comes_back(
    command: Command, filled: Path, trod_home: Path
) -> None:
    archive = trod_home / "archive"
    write_ledger(archive, {**(read_ledger(archive) or {}), "turn": 2})
    (archive / "ledger.json").unlink()
    said = command("verify", "--json")
    assert said.status == 1 and [d["path"] for d in said.json["missing"]] == ["ledger.json"]
    listed = command("restore", "--papers", "--json").json["papers"]["ledger.json"]
    assert listed and "\nledger.json: 1 earlier states, the newest last\n" in command("restore", "--papers").out
    newest = listed[-1]["state"]
    said = command("restore", "--papers", "--bring", newest)
    assert said.status == 0, said.err
    assert f"ledger.json is again as it was in {newest}." in said.out and "Now say: trod rebuild" in said.out
    kept = (archive / ".papers").joinpath(*newest.split("/"))
    assert (archive / "ledger.json").read_bytes() == kept.read_bytes()
    assert command("verify").status == 0
    said = command("restore", "--papers", "--bring", "nonsense")
    assert said.status == 3 and "a name as trod restore --papers lists it" in said.err
    assert command("restore").status == 2 and command("restore", "--bring", newest).status == 2


def test_a_paper_that_was_changed_by_hand_is_accepted_only_on_purpose(
    command: Command, filled: Path, trod_home: Path
) -> None:
    ledger = trod_home / "archive/ledger.json"
    ledger.write_text(ledger.read_text("utf-8").replace("Alder", "Elder"), "utf-8")
    assert command("verify").status == 1
    said = command("verify", "--accept", "ledger.json")
    assert said.status == 0 and "ledger.json: the register now says what lies there." in said.out
    assert command("verify", "--accept", "nothing.json").status == 3


def test_an_archive_from_before_the_register_is_told_until_it_is_put_under_one(
    command: Command, filled: Path, trod_home: Path
) -> None:
    for name in ("register.jsonl", "register-twin.jsonl"):
        (trod_home / "archive" / name).unlink()
    said = command("verify", "--json")
    assert said.status == 1 and said.json["registered"] is False and said.json["missing"] == []
    assert "say trod verify --register" in command("verify").out
    (trod_home / "archive/ledger.json").chmod(0o644)
    assert command("verify", "--json").json["permissions"]
    said = command("verify", "--register")
    assert said.status == 0 and "papers and bags were put under the register." in said.out
    assert command("verify", "--json").json["permissions"] == []


def test_words_that_the_catalogue_does_not_know_are_told(command: Command, filled: Path) -> None:
    uuid = "5f1c8a1e-93b5-4f0e-8a70-0c8f2d1e6a77"
    append_identification(filled.parent, {"act": "say", "uuid": uuid, "by": "Ada Fenn", "sequence": "nowhere"})
    said = command("verify", "--json")
    place = f"{filled.parent.parent.name}/{filled.parent.name}/identifications.jsonl"
    assert said.status == 1 and said.json["unknown_words"] == {place: 1}
    assert "1 words in 1 files are not in the catalogue; say trod rebuild." in command("verify").out


def test_without_an_archive_verify_ends_with_3(command: Command) -> None:
    said = command("verify")
    assert said.status == 3 and "import a card first (trod card PATH)" in said.err


def test_rebuild_sets_the_old_catalogue_aside_and_brings_all_back(
    command: Command, filled: Path, trod_home: Path
) -> None:
    said = command("rebuild", "--json")
    assert said.status == 0, said.err
    assert (said.json["pictures"], said.json["sequences"], said.json["deployments"]) == (12, 4, 1)
    aside = Path(said.json["before"])
    assert aside.is_file() and aside.name.startswith("catalogue.sqlite3.before-")
    again = command("rebuild")
    assert again.status == 0 and "The catalogue is back: 1 reserves" in again.out
    assert len(list(trod_home.glob("catalogue.sqlite3.before-*Z"))) + len(
        list(trod_home.glob("catalogue.sqlite3.before-*Z-2"))
    ) == 2  # fmt: skip


def test_rebuild_without_an_archive_ends_with_3(command: Command) -> None:
    said = command("rebuild")
    assert said.status == 3 and "there is none to read" in said.err


def test_rebuild_tells_what_it_could_not_read_and_ends_with_1(command: Command, filled: Path) -> None:
    (filled.parent / "sidecar.json").write_text("{")
    said = command("rebuild", "--json")
    assert said.status == 1
    assert any("come back as unplaced" in sentence for sentence in said.json["trouble"])


def test_from_a_backup_a_new_home_is_the_old_one(command: Command, filled: Path, tmp_path: Path) -> None:
    backup, fresh = tmp_path / "second disk", tmp_path / "new home"
    said = command("backup", str(backup), "--json")
    assert said.status == 0 and said.json["bags_copied"] == 1 and said.json["ok"]
    assert command("backup", str(backup), "--json").json["bags_there"] == 1
    assert command("verify", "--at", str(backup)).status == 0
    back = command("restore", str(backup), home=fresh)
    assert back.status == 0 and "Now say: trod rebuild" in back.out
    said = command("rebuild", "--json", home=fresh)
    assert said.status == 0 and said.json["pictures"] == 12 and said.json["sequences"] == 4
    assert command("verify", home=fresh).status == 0


def test_a_backup_leaves_out_what_is_damaged_and_ends_with_1(command: Command, filled: Path, tmp_path: Path) -> None:
    changed = filled / "data/DCIM/100TARNB/LANT0002.JPG"
    changed.write_bytes(b"x" * changed.stat().st_size)
    said = command("backup", str(tmp_path / "second disk"))
    assert said.status == 1 and "LANT0002.JPG" in said.out


@pytest.mark.parametrize("verb", ["card", "verify", "rebuild", "backup", "restore", "demo"])
def test_every_verb_has_an_example_and_its_exit_statuses(command: Command, verb: str) -> None:
    said = command(verb, "--help")
    assert said.status == 0
    assert "Example" in said.out and "Exit statuses:" in said.out and "--json" in said.out


def test_on_postgresql_too_a_card_comes_in_and_the_catalogue_comes_back(
    postgres_url: str, trod_home: Path, card: pulled.Pulled
) -> None:
    env = {**environment(trod_home), "TROD_DATABASE_URL": postgres_url}

    def call(*words: str) -> dict[str, object]:
        done = subprocess.run(
            [sys.executable, "-m", "trod", *words, "--yes", "--json"],
            env=env,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        found: dict[str, object] = json.loads(done.stdout)
        return found

    (trod_home / "archive").mkdir()
    subprocess.run([sys.executable, "-m", "trod", "rebuild", "--yes"], env=env, check=False)
    taken = call("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track")
    assert (taken["new"], taken["sequences"]) == (12, 4)
    back = call("rebuild")
    assert (back["pictures"], back["sequences"], back["trouble"], back["before"]) == (12, 4, [], None)

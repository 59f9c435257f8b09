"""`trod card`: what it prints, asks and refuses, and that a kill at any moment costs nothing."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import bagit
import pulled
import pytest
from commanded import Command, environment

PROMISED = {"bag", "files", "new", "duplicates", "damaged", "foreign", "bytes", "seconds"}


def test_with_camera_and_site_named_it_works_in_an_empty_house(
    command: Command, trod_home: Path, card: pulled.Pulled
) -> None:
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--yes", "--json")
    assert said.status == 0, said.err
    found = said.json
    assert set(found) >= PROMISED
    assert (found["files"], found["new"], found["duplicates"], found["damaged"], found["foreign"]) == (
        12,
        12,
        0,
        0,
        0,
    )
    assert found["bytes"] == sum(p.stat().st_size for p in card.folder.rglob("*.JPG"))
    assert found["told"] == [
        "Made a reserve, “My reserve”, in this machine's time zone, UTC.",
        "Made the site Alder Track, with no place of its own yet.",
        "Made the camera INV-001.",
        "Made a deployment of INV-001 at Alder Track from 1 May 2026 on.",
    ]
    bagit.Bag(str(trod_home / "archive" / found["bag"])).validate()


def test_a_new_site_takes_its_place_from_the_pictures(command: Command, trod_home: Path, tmp_path: Path) -> None:
    card = pulled.Pulled(tmp_path / "c", more={"place": (47.301, 13.8842)})
    card.bursts(pulled.days(2))
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Grey Lick", "--json")
    assert said.status == 0, said.err
    assert "Made the site Grey Lick, where its pictures say." in said.json["told"]
    book = json.loads((trod_home / "archive/ledger.json").read_text())
    assert book["sites"][0]["latitude"] == pytest.approx(47.301, abs=1e-6)


def test_unknown_and_nobody_to_ask_ends_with_3_and_what_is_needed(command: Command, card: pulled.Pulled) -> None:
    said = command("card", str(card.folder), "--json")
    assert said.status == 3 and said.out == ""
    assert "No deployment is known that these pictures could come from." in said.err
    assert "Name both, and they are made: --camera INV-001 --site NAME. Or add --yes" in said.err


def test_unknown_with_yes_comes_in_as_unplaced_and_says_so(command: Command, card: pulled.Pulled) -> None:
    said = command("card", str(card.folder), "--yes", "--json")
    assert said.status == 0
    assert said.json["bag"].startswith("unplaced/") and said.json["deployment"] is None
    assert said.json["told"][0].startswith("Imported as unplaced.")


def test_a_known_serial_is_sure_with_yes(command: Command, card: pulled.Pulled, tmp_path: Path) -> None:
    command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track")
    later = pulled.Pulled(tmp_path / "later", number=200)
    later.bursts(pulled.days(2, pulled.FIRST + timedelta(days=9)))
    said = command("card", str(later.folder), "--yes", "--json")
    assert said.status == 0 and said.json["site"] == "alder-track"
    assert "bear its camera's serial" in said.json["told"][0]


def test_only_a_site_is_enough_when_the_pictures_bear_a_serial(command: Command, card: pulled.Pulled) -> None:
    said = command("card", str(card.folder), "--site", "Alder Track", "--json")
    assert said.status == 0 and said.json["camera"] == "INV-001"


def test_a_camera_alone_that_stands_nowhere_asks_for_the_site(command: Command, card: pulled.Pulled) -> None:
    said = command("card", str(card.folder), "--camera", "INV-001")
    assert said.status == 3 and "Name --site NAME too" in said.err


def test_damaged_files_end_with_1_and_are_named(command: Command, card: pulled.Pulled) -> None:
    file = next(card.folder.rglob("LANT0002.JPG"))
    file.write_bytes(file.read_bytes()[:-30])
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track")
    assert said.status == 1
    assert "LANT0002.JPG breaks off before its end" in said.out
    assert "12 new, 0 kept before, 1 damaged, 0 of another camera; 4 sequences" in said.out


def test_status_json_and_sentence_are_one_verdict(command: Command, card: pulled.Pulled) -> None:
    file = next(card.folder.rglob("LANT0002.JPG"))
    file.write_bytes(file.read_bytes()[:-30])
    words = ("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--json")
    said = command(*words)
    assert (said.status, said.json["safe_to_format"], said.json["damaged"]) == (1, False, 1)
    assert [r["what"] for r in said.json["reasons"]] == ["truncated"]
    assert said.json["sentence"].startswith("Do not format this card: 1 file breaks off before its end")
    again = command(*words)
    assert (again.status, again.json["safe_to_format"], again.json["new"]) == (1, False, 0)
    accepted = command(*words, "--accept-damaged")
    assert (accepted.status, accepted.json["safe_to_format"], accepted.json["accepted_damaged"]) == (0, True, 1)
    assert accepted.json["bag"] is None and accepted.json["accepted_by"]


def test_a_picture_that_a_repair_renamed_comes_in_with_its_date_and_sequence(
    command: Command, card: pulled.Pulled
) -> None:
    (card.folder / "FOUND.000").mkdir()
    late = pulled.FIRST + timedelta(days=2, hours=3)
    (card.folder / "FOUND.000" / "FILE0000.CHK").write_bytes(pulled.jpeg("found", late))
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--json")
    assert (said.status, said.json["new"], said.json["skipped"], said.json["sequences"]) == (0, 13, 0, 5)
    assert any("FOUND.000/FILE0000.CHK" in note for note in said.json["notes"])


def test_a_card_of_two_minutes_from_a_new_site_is_imported(command: Command, tmp_path: Path) -> None:
    short = pulled.Pulled(tmp_path / "short")
    for k in range(3):
        short.shoot(pulled.FIRST + timedelta(seconds=40 * k))
    said = command("card", str(short.folder), "--camera", "NEW-9", "--site", "Heron Pool", "--json")
    assert (said.status, said.json["new"], said.json["sequences"]) == (0, 3, 1)
    assert said.json["safe_to_format"] and said.json["notes"] == [
        "The pictures bear the serial INV-001; the camera of this deployment is entered as NEW-9. If it is the same, "
        "mend its serial under Cameras; if not, place this import elsewhere."
    ]


def test_two_at_once_end_in_words_and_keep_each_file_once(command: Command, trod_home: Path, tmp_path: Path) -> None:
    card = pulled.Pulled(tmp_path / "ESK-01-A")
    for file in card.bursts(pulled.days(20)):
        file.write_bytes(file.read_bytes() + os.urandom(300_000) + b"\xff\xd9")
    first = pulled.Pulled(tmp_path / "first")
    first.bursts(pulled.days(1, pulled.FIRST - timedelta(days=9)))
    command("card", str(first.folder), "--yes")  # makes the catalogue: two first starts at once are another test
    words = [sys.executable, "-m", "trod", "card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track"]
    both = [
        subprocess.Popen(
            [*words, "--json"], env=environment(trod_home), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    ended = [(p.communicate(timeout=240), p.returncode) for p in both]
    assert sorted(status for _, status in ended) in ([0, 0], [0, 3]), ended
    for (_, err), status in ended:
        assert "Traceback" not in err
        if status == 3:
            assert "is being imported already. Wait until that has ended" in err
    kept = [p.read_bytes() for p in (trod_home / "archive").rglob("data/**/*.JPG")]
    assert sorted(kept) == sorted(p.read_bytes() for p in tmp_path.glob("*/DCIM/*/*.JPG"))
    assert command(*words[3:], "--json").json["new"] == 0
    assert command("verify", "--json").json["ok"]


@pytest.mark.skipif(os.name == "nt", reason="makes links and pipes as Unix has them")
def test_links_pipes_and_devices_end_in_words(command: Command, card: pulled.Pulled) -> None:
    os.mkfifo(card.folder / "DCIM" / "pipe.jpg")
    (card.folder / "DCIM" / "loop").symlink_to(card.folder, target_is_directory=True)
    (card.folder / "DCIM" / "zero.jpg").symlink_to("/dev/zero")
    (card.folder / "DCIM" / "self").symlink_to("self")
    said = command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track", "--json")
    assert (said.status, said.json["new"], said.json["skipped"]) == (0, 12, 4)


def test_the_same_card_again_brings_no_bag(command: Command, card: pulled.Pulled) -> None:
    command("card", str(card.folder), "--camera", "INV-001", "--site", "Alder Track")
    said = command("card", str(card.folder), "--yes", "--json")
    assert (said.json["bag"], said.json["new"], said.json["duplicates"]) == (None, 0, 12)
    assert "unplaced" not in command("card", str(card.folder), "--yes").out.replace("Imported as unplaced", "")


def test_a_folder_without_pictures_is_told(command: Command, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    said = command("card", str(tmp_path / "empty"), "--yes")
    assert said.status == 3 and "No picture or clip lies below" in said.err


def test_help_names_the_keys_and_the_statuses(command: Command) -> None:
    said = command("card", "--help")
    assert said.status == 0
    for word in (
        "--camera",
        "--site",
        "--yes",
        "--no-read-back",
        "--watch",
        "--json",
        "Exit statuses",
        "Examples",
    ):
        assert word in said.out
    for key in PROMISED:
        assert key in said.out


# Staying


@contextlib.contextmanager
def watching(home: Path, folder: Path, out: Path) -> Iterator[subprocess.Popen[bytes]]:
    """`trod card --watch` in a process of its own, its lines going to a file."""
    words = [
        sys.executable,
        "-m",
        "trod",
        "card",
        str(folder),
        "--watch",
        "--every",
        "0.3",
        "--yes",
        "--json",
    ]
    with out.open("wb") as file, out.with_suffix(".err").open("wb") as err:
        process = subprocess.Popen(words, env=environment(home), stdout=file, stderr=err)
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()
            process.wait()


def lines_of(out: Path, many: int, wait_s: float = 90) -> list[dict[str, object]]:
    """Wait until there are so many lines, and read them."""
    until = time.monotonic() + wait_s
    while time.monotonic() < until and out.read_bytes().count(b"\n") < many:
        time.sleep(0.1)
    return [json.loads(line) for line in out.read_text().splitlines()]


def test_a_watched_folder_is_imported_as_it_fills_and_growing_files_wait(
    command: Command, trod_home: Path, tmp_path: Path
) -> None:
    cloud = pulled.Pulled(tmp_path / "north gate")
    cloud.folder.mkdir()
    cloud.bursts(pulled.days(2))
    growing = cloud.next_path()
    whole = pulled.jpeg("growing", pulled.FIRST + timedelta(days=4))
    growing.write_bytes(whole[:400])
    with watching(trod_home, cloud.folder, tmp_path / "a") as process:
        (first,) = lines_of(tmp_path / "a", 1)
        assert (first["new"], first["safe_to_format"]) == (6, False)
        assert [(r["what"], r["count"]) for r in first["reasons"]] == [("waiting", 1)]
        growing.write_bytes(whole)
        second = lines_of(tmp_path / "a", 2)[1]
        assert (second["new"], second["damaged"], second["safe_to_format"]) == (1, 0, True)
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=30) == 0
        assert "Traceback" not in (tmp_path / "a.err").read_text()
    cloud.bursts(pulled.days(1, pulled.FIRST + timedelta(days=8)))
    with watching(trod_home, cloud.folder, tmp_path / "b"):
        (third,) = lines_of(tmp_path / "b", 1)
        assert (third["files"], third["new"]) == (3, 3), "what was imported before is not read again"
    assert command("verify", "--json").json["ok"]


# Killed


@pytest.mark.kill
@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is not a signal of Windows")
def test_killed_some_dozens_of_times_archive_catalogue_and_card_agree_in_the_end(
    command: Command, trod_home: Path, tmp_path: Path
) -> None:
    card = pulled.Pulled(tmp_path / "ESK-01-A", number=9900)
    card.bursts(pulled.days(60))
    files = sorted(card.folder.rglob("*.JPG"))
    for file in files[::7]:  # some bigger ones, so that kills fall into the copying
        file.write_bytes(file.read_bytes() + os.urandom(2_500_000) + b"\xff\xd9")
    rng = random.Random(11)
    words = [sys.executable, "-m", "trod", "card", str(card.folder)]
    words += ["--camera", "INV-001", "--site", "Alder Track", "--yes"]
    kills = 0
    for _ in range(120):
        process = subprocess.Popen(
            words,
            env=environment(trod_home),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            process.wait(timeout=0.4 + 1.2 * rng.random())
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
            kills += 1
            if kills % 8 == 0 and (trod_home / "archive").is_dir():
                assert command("verify", "--quick", "--json").json["ok"]
        if kills == 30:
            break
    last = command(*words[3:], "--json")
    assert last.status in (0, 1), last.err
    again = command("card", str(card.folder), "--yes", "--json").json
    assert (again["new"], again["duplicates"]) == (0, len(files))
    assert command("verify", "--json").json["ok"]
    assert kills == 30
    with contextlib.closing(sqlite3.connect(trod_home / "catalogue.sqlite3")) as database:
        rows = database.execute("SELECT path, looked, sequence_id IS NOT NULL FROM trod_picture").fetchall()
        open_imports = database.execute("SELECT count(*) FROM trod_import WHERE state != 'whole'").fetchone()[0]
    kept = {p.relative_to(trod_home / "archive").as_posix() for p in (trod_home / "archive").rglob("data/**/*.JPG")}
    assert {path for path, *_ in rows} == kept and len(kept) == len(files)
    assert all(looked and in_sequence for _, looked, in_sequence in rows)
    assert open_imports == 0
    assert sorted((trod_home / "archive" / path).read_bytes() for path in kept) == sorted(f.read_bytes() for f in files)
    assert not list((trod_home / "archive" / ".incoming").glob("2*/plan.json"))

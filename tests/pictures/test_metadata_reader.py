"""The general metadata reader: what it says is kept, what can be true is believed, and its troubles stay its own."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import piexif
import pytest
from absence import need
from PIL import Image

from trod.pictures import metadata_reader
from trod.pictures.metadata_reader import MetadataReader, ReaderSaid, said_in

posix = pytest.mark.skipif(os.name == "nt", reason="stand-ins for the program are scripts of a POSIX shell")


def picture(path: Path, *, serial: bytes | None = b"TB3-40117", tenths_c: int | None = -75) -> Path:
    tags: dict[int, object] = {}
    if serial is not None:
        tags[piexif.ExifIFD.BodySerialNumber] = serial
    if tenths_c is not None:
        tags[0x9400] = (tenths_c, 10)
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (32, 24), (90, 100, 80)).save(path, "JPEG", exif=piexif.dump({"0th": {}, "Exif": tags}))
    return path


@pytest.fixture
def reader() -> MetadataReader:
    need("exiftool", package="libimage-exiftool-perl")
    found = metadata_reader.find(os.environ | {metadata_reader.SETTING: ""})
    assert found is not None
    return found


def test_serial_and_temperature_are_read_by_the_program_itself(reader: MetadataReader, tmp_path: Path) -> None:
    path = picture(tmp_path / "a.jpg")
    (said,) = reader.read([path]).values()

    assert (said.serial, said.temperature_c, said.battery_v) == ("TB3-40117", -7.5, None)
    assert said.raw == {"EXIF:SerialNumber": "TB3-40117", "EXIF:AmbientTemperature": "-7.5 C"}
    assert reader.name.startswith("ExifTool 1")


@pytest.mark.parametrize("serial", ["0042", "12e5", "1234567890123456789", "1.50"])
def test_a_serial_that_looks_like_a_number_stays_as_it_was_written(
    reader: MetadataReader, tmp_path: Path, serial: str
) -> None:
    path = picture(tmp_path / "a.jpg", serial=serial.encode())
    assert reader.read([path])[path].serial == serial


@pytest.mark.parametrize(
    "name",
    ["--.jpg", "-overwrite_original.jpg", "-@", "-execute.jpg", "#a.jpg", " lead.jpg", "ümläut 鹿.jpg", "%f$x;|a.jpg",
     "a\\nb.jpg", "'\"`.jpg"],
)  # fmt: skip
def test_a_name_is_never_taken_for_an_option(
    reader: MetadataReader, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    if os.name == "nt" and set(name) & set('\\|"'):
        pytest.skip("no name that this system takes")
    monkeypatch.chdir(tmp_path)
    path = picture(tmp_path / name)
    before = path.read_bytes()

    assert reader.read([Path(name)])[Path(name)].serial == "TB3-40117"
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [name]


@posix
def test_a_name_that_holds_a_line_break_is_not_asked_for_and_costs_no_other(
    reader: MetadataReader, tmp_path: Path
) -> None:
    odd, other = picture(tmp_path / "a\n-execute\n.jpg"), picture(tmp_path / "b.jpg")
    assert list(reader.read([odd, other])) == [other]


def test_broken_files_cost_no_other_its_facts(reader: MetadataReader, tmp_path: Path) -> None:
    good = [picture(tmp_path / f"{n}.jpg", serial=f"TB3-{n}".encode()) for n in range(3)]
    broken, empty, cut = tmp_path / "broken.jpg", tmp_path / "empty.jpg", tmp_path / "cut.jpg"
    broken.write_bytes(b"\xff\xd8no picture")
    empty.write_bytes(b"")
    cut.write_bytes(good[0].read_bytes()[:60])
    found = reader.read([broken, good[0], empty, good[1], tmp_path / "nowhere.jpg", cut, good[2]])

    assert {path.name: said.serial for path, said in found.items()} == {f"{n}.jpg": f"TB3-{n}" for n in range(3)}
    assert reader.failures == 0


def test_settings_of_the_program_are_not_run(
    reader: MetadataReader, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / ".ExifTool_config").write_text(f"open(my $f, '>', '{tmp_path}/ran'); 1;\n")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("EXIFTOOL_HOME", str(tmp_path))
    reader.read([picture(tmp_path / "a.jpg")])
    assert not (tmp_path / "ran").exists()
    # The same without the option does run it, so that this test can fail.
    subprocess.run([reader.program, "-ver"], check=True, capture_output=True)
    assert (tmp_path / "ran").exists()


# What is believed --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [("12 C", 12), ("-7.5 C", -7.5), ("50 F", 10), ("14", None), ("900 C", None), ("n/a", None), ("-128 C", None)],
)
def test_a_temperature_needs_its_unit_and_must_be_one_of_air(text: str, told: float | None) -> None:
    assert said_in({"MakerNotes:AmbientTemperature": text}).temperature_c == told


@pytest.mark.parametrize(
    ("text", "told"), [("8.91 V", 8.91), ("8.91V", 8.91), ("8910", None), ("0 V", None), ("300 V", None), ("low", None)]
)
def test_a_voltage_needs_its_unit_and_must_be_one_of_batteries(text: str, told: float | None) -> None:
    assert said_in({"MakerNotes:BatteryVoltage": text}).battery_v == told


def test_what_is_not_believed_is_kept_as_it_was_printed() -> None:
    row = {"MakerNotes:BatteryVoltage": "8910", "MakerNotes:CameraTemperature": "31 C", "EXIF:SerialNumber": "0000"}
    assert said_in(row) == ReaderSaid(raw=row)


def test_the_bodys_temperature_is_not_taken_for_the_airs() -> None:
    assert said_in({"MakerNotes:CameraTemperature": "31 C"}).temperature_c is None


def test_a_number_of_the_electronics_is_not_taken_for_the_serial() -> None:
    assert said_in({"MakerNotes:InternalSerialNumber": "A12"}).serial == ""


def test_an_endless_value_is_cut_and_what_is_no_text_left_out() -> None:
    said = said_in({"EXIF:SerialNumber": "9" * 10_000, "XMP:SerialNumber": ["a"], "File:X": None})
    assert {key: len(text) for key, text in said.raw.items()} == {"EXIF:SerialNumber": metadata_reader.MOST_TEXT}
    assert said.serial == ""  # no plate has so long a one


# The program -------------------------------------------------------------------------------------------------


def stand_in(folder: Path, body: str) -> str:
    """A program that answers the question for its version and does `body` otherwise."""
    path = folder / "reader"
    path.write_text(f'#!/bin/sh\ncase "$*" in *-ver*) echo 12.99; exit 0;; esac\n{body}\n')
    path.chmod(0o755)
    return str(path)


def test_without_the_program_there_is_no_reader(tmp_path: Path) -> None:
    assert metadata_reader.find({"PATH": str(tmp_path)}) is None
    assert metadata_reader.find({"PATH": "", metadata_reader.SETTING: str(tmp_path / "nothing")}) is None


@posix
@pytest.mark.parametrize("said", ["off", "OFF", "no", "0"])
def test_a_setting_switches_it_off(tmp_path: Path, said: str) -> None:
    program = stand_in(tmp_path, "echo '[]'")
    environ = {"PATH": os.environ["PATH"], metadata_reader.SETTING: program}
    found = metadata_reader.find(environ)
    assert found is not None and found.name == "ExifTool 12.99"
    assert metadata_reader.find(environ | {metadata_reader.SETTING: said}) is None


@posix
def test_another_program_of_its_name_is_no_reader(tmp_path: Path) -> None:
    path = tmp_path / "exiftool"
    path.write_text("#!/bin/sh\necho hello\n")
    path.chmod(0o755)
    assert metadata_reader.find({"PATH": f"{tmp_path}:{os.environ['PATH']}"}) is None


@posix
@pytest.mark.parametrize("body", ["exit 3", "echo nonsense", "kill -9 $$", "echo '{}'", "echo '[1, null]'"])
def test_a_program_that_fails_says_nothing_and_is_soon_asked_no_more(tmp_path: Path, body: str) -> None:
    reader = MetadataReader(stand_in(tmp_path, body))
    assert reader.read([tmp_path / f"{n}.jpg" for n in range(600)]) == {}
    assert reader.given_up == ("1, null" not in body)
    assert reader.failures <= metadata_reader.NEVER


@posix
def test_a_program_that_hangs_is_ended_in_its_time(tmp_path: Path) -> None:
    reader = MetadataReader(stand_in(tmp_path, "exec sleep 60"), start_s=0.2, each_s=0.0)
    began = time.monotonic()
    assert reader.read([tmp_path / "a.jpg", tmp_path / "b.jpg"]) == {}
    assert time.monotonic() - began < 10
    assert reader.failures == 3


@posix
@pytest.mark.parametrize("at", [0, 17, 30])
def test_one_file_that_stops_it_costs_no_other_its_facts(tmp_path: Path, at: int) -> None:
    stopper = f"{sys.executable} -c '" + (
        'import sys, json\n'
        'names = [l for l in sys.stdin.read().splitlines() if l.endswith(".jpg")]\n'
        'sys.exit(9) if any("poison" in n for n in names) else None\n'
        'print(json.dumps([{"SourceFile": n, "EXIF:SerialNumber": "S1"} for n in names]))'
    ) + "'"  # fmt: skip
    reader = MetadataReader(stand_in(tmp_path, stopper))
    paths = [tmp_path / f"{n}.jpg" for n in range(30)]
    paths.insert(at, tmp_path / "poison.jpg")
    assert set(reader.read(paths)) == set(paths) - {tmp_path / "poison.jpg"}
    assert not reader.given_up


@posix
def test_a_person_who_stops_the_work_is_heard_between_two_runs(tmp_path: Path) -> None:
    reader = MetadataReader(stand_in(tmp_path, "echo '[]'"))
    asked = iter([False, True])
    reader.read([tmp_path / f"{n}.jpg" for n in range(600)], stop=lambda: next(asked))
    assert reader.answers == 1

"""Serial, temperature and voltage from the files: kept, believed in their order, and told where a person looks."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

import piexif
import pulled
import pytest
from absence import need
from django.urls import reverse
from PIL import Image

from trod.archive.card import scan
from trod.catalogue.imports import facts, propose
from trod.catalogue.line import Silent
from trod.catalogue.models import Picture
from trod.pictures.metadata_reader import SETTING

pytestmark = pytest.mark.skipif(os.name == "nt", reason="stand-ins for the program are scripts of a POSIX shell")


@pytest.fixture
def says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A stand-in for the program, which says the same of every file: says({tag: text})."""

    def switch_on(row: dict[str, str]) -> None:
        told, script, program = tmp_path / "told.json", tmp_path / "script.py", tmp_path / "reader"
        told.write_text(json.dumps(row))
        script.write_text(
            "import sys, json\n"
            f"row = json.load(open({str(told)!r}))\n"
            "names = [line for line in sys.stdin.read().splitlines() if line.startswith('/')]\n"
            "print(json.dumps([{'SourceFile': name} | row for name in names]))\n"
        )
        program.write_text(
            f'#!/bin/sh\ncase "$*" in *-ver*) echo 12.99; exit 0;; esac\nexec "{sys.executable}" "{script}"\n'
        )
        program.chmod(0o755)
        monkeypatch.setenv(SETTING, str(program))

    return switch_on


def card_of(small: Any, serial: str = "INV-001", days: int = 2) -> Any:
    card = small.card(serial=serial)
    card.bursts(pulled.days(days))
    return card


def test_what_the_reader_says_is_kept_with_each_picture_and_who_said_it(small: Any, take: Any, says: Any) -> None:
    row = {"MakerNotes:AmbientTemperature": "4 C", "MakerNotes:BatteryVoltage": "8.91 V", "MakerNotes:BatteryLevel": "7"}
    says(row)
    take(card_of(small).folder, small.alder)

    assert Picture.objects.count() == 6
    for one in Picture.objects.all():
        assert (one.temperature_c, one.battery_v, one.serial) == (4.0, 8.91, "INV-001")
        assert one.header_said == {"by": "ExifTool 12.99", "told": row}


def test_without_a_reader_files_say_what_the_standard_has_a_tag_for(small: Any, take: Any) -> None:
    card = card_of(small, days=1)
    path = sorted(card.folder.rglob("*.JPG"))[0]
    tags = piexif.load(path.read_bytes())
    tags["Exif"][0x9400] = (-35, 10)
    with Image.open(path) as image:
        image.save(path, "JPEG", exif=piexif.dump(tags))
    take(card.folder, small.alder)

    first, *others = Picture.objects.order_by("file_order")
    assert (first.temperature_c, first.battery_v) == (-3.5, None)
    assert first.header_said == {"by": "Trod", "told": {"EXIF:AmbientTemperature": "-3.5 C"}}
    assert {(o.temperature_c, o.battery_v, o.header_said) for o in others} == {(None, None, None)}


def test_the_standards_own_serial_comes_before_the_makers(small: Any, take: Any, says: Any) -> None:
    says({"MakerNotes:SerialNumber": "INV-999"})
    row = take(card_of(small).folder, small.alder)
    assert set(Picture.objects.values_list("serial", flat=True)) == {"INV-001"}
    assert facts.another_camera(row) == ""


def test_a_card_of_another_camera_is_told_by_a_serial_in_makers_notes(
    small: Any, take: Any, says: Any, client: Any
) -> None:
    says({"MakerNotes:SerialNumber": "INV-999"})
    card = card_of(small, serial="")
    marks = propose.read_marks(scan(card.folder, inside=False))
    assert marks.serials == {"INV-999": 6}
    row = take(card.folder, small.alder)

    told = "The pictures bear the serial INV-999; the camera of this deployment is entered as INV-001."
    assert facts.another_camera(row).startswith(told)
    page = client.get(reverse("cards:card_import", args=[row.name])).content.decode()
    assert "Another camera" in page and told in page


def test_no_other_camera_is_told_of_where_the_serials_are_the_same_but_for_their_writing(
    small: Any, take: Any, says: Any
) -> None:
    says({"MakerNotes:SerialNumber": "inv 001"})
    assert facts.another_camera(take(card_of(small, serial="").folder, small.alder)) == ""


def test_the_pages_tell_temperature_voltage_and_who_read_them(small: Any, take: Any, says: Any, client: Any) -> None:
    says({"MakerNotes:AmbientTemperature": "4 C", "MakerNotes:BatteryVoltage": "8.91 V"})
    row = take(card_of(small).folder, small.alder)
    last = Picture.objects.order_by("taken_at").last()
    Picture.objects.filter(pk=last.pk).update(battery_v=8.2, temperature_c=-3)

    page = client.get(reverse("cards:card_import", args=[row.name])).content.decode()
    assert "own thermometer told -3 °C to 4 °C in all 6 files" in page
    assert "8.9 V in the first file that tells it and 8.2 V in the last" in page
    assert "Read by ExifTool 12.99." in page

    first = Picture.objects.order_by("taken_at").first()
    assert "4 °C by the camera's own thermometer" in client.get(
        reverse("review:sequence", args=[first.sequence_id])
    ).content.decode().replace("&#x27;", "'")

    batteries = client.get(reverse("maintenance:batteries", args=[small.alder.camera_id])).content.decode()
    assert "8.9 V to 8.2 V" in batteries


def test_a_page_of_batteries_without_voltages_has_no_column_for_them(small: Any, take: Any, client: Any) -> None:
    take(card_of(small).folder, small.alder)
    assert "Told by its files" not in client.get(
        reverse("maintenance:batteries", args=[small.alder.camera_id])
    ).content.decode()  # fmt: skip


def test_a_reader_that_breaks_costs_no_picture(
    small: Any, take: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = tmp_path / "reader"
    program.write_text('#!/bin/sh\ncase "$*" in *-ver*) echo 12.99; exit 0;; esac\nkill -9 $$\n')
    program.chmod(0o755)
    monkeypatch.setenv(SETTING, str(program))
    row = take(card_of(small).folder, small.alder)
    assert row.state == "whole" and Picture.objects.filter(looked=True, sequence__isnull=False).count() == 6


def test_the_real_program_reads_a_card_through_an_import(small: Any, take: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    need("exiftool", package="libimage-exiftool-perl")
    monkeypatch.setenv(SETTING, "")
    take(card_of(small).folder, small.alder)
    for one in Picture.objects.all():
        assert one.header_said["by"].startswith("ExifTool 1")
        assert one.header_said["told"] == {"EXIF:SerialNumber": "INV-001"}


def test_pictures_are_read_again_after_they_are_marked_as_not_looked_into(small: Any, take: Any, says: Any) -> None:
    row = take(card_of(small).folder, small.alder)
    assert set(Picture.objects.values_list("battery_v", flat=True)) == {None}
    says({"MakerNotes:BatteryVoltage": "9 V"})
    Picture.objects.update(looked=False)
    facts.read(row.pictures.all(), Silent(), workers=1)
    assert set(Picture.objects.values_list("battery_v", flat=True)) == {9.0}

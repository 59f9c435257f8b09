from __future__ import annotations

import hashlib
import re
from datetime import datetime, timedelta
from pathlib import Path

import piexif
import pytest
from PIL import Image, ImageFile

from trod.errors import WrongInput
from trod_demo.cards import CardMade, dcf_path, main, noise_card, write_two_cards, write_year
from trod_demo.reserve import CAMERA_MODELS, CAMERAS_BY_SERIAL, MODELS_BY_SLUG, year
from trod_demo.truth import read_truth

SMALL = (160, 120)

# Folder 100-999 and five of [0-9A-Z_]; file four of them and 0001-9999: CIPA DC-009 (DCF 2.0), from memory.
DCF = re.compile(r"DCIM/[1-9]\d\d[0-9A-Z_]{5}/[0-9A-Z_]{4}(?!0000)\d{4}\.JPG")


def files_of(card: CardMade) -> dict[str, Path]:
    return {p.relative_to(card.folder).as_posix(): p for p in card.folder.rglob("*") if p.is_file()}


def test_the_truth_knows_every_file_by_its_hash(two_cards: dict[str, CardMade]) -> None:
    for card in two_cards.values():
        rows = read_truth(card.truth)
        files = files_of(card)
        assert {r.path for r in rows} == set(files)
        assert len(rows) == card.pictures
        for row in rows:
            data = files[row.path].read_bytes()
            assert hashlib.sha256(data).hexdigest() == row.sha256
            assert len(data) == row.bytes


def test_the_truth_lies_outside_the_card(two_cards: dict[str, CardMade]) -> None:
    for card in two_cards.values():
        assert card.folder not in card.truth.parents
        assert {p.suffix for p in files_of(card).values()} == {".JPG"}


def test_names_follow_the_design_rule_for_camera_files(two_cards: dict[str, CardMade]) -> None:
    for card in two_cards.values():
        for path in files_of(card):
            assert DCF.fullmatch(path), path
        folders = [p.name[:3] for p in (card.folder / "DCIM").iterdir()]
        assert len(folders) == len(set(folders))


def test_numbers_run_over_9999_into_the_next_folder(two_cards: dict[str, CardMade]) -> None:
    names = set(files_of(two_cards["stone-ford"]))

    assert "DCIM/100TARNB/LANT9999.JPG" in names
    assert "DCIM/101TARNB/LANT0001.JPG" in names
    assert dcf_path(CAMERA_MODELS[0], 9999 * 2 + 1) == "DCIM/102TARNB/LANT0001.JPG"
    with pytest.raises(WrongInput, match="1 to 8999100"):
        dcf_path(CAMERA_MODELS[0], 900 * 9999 + 1)


def test_one_file_has_no_bytes_and_one_was_cut_short(two_cards: dict[str, CardMade]) -> None:
    ford, meadow = (read_truth(two_cards[s].truth) for s in ("stone-ford", "larkfield-edge"))
    (empty,) = [r for r in ford if r.damage == "zero bytes"]
    (cut,) = [r for r in meadow if r.damage == "truncated"]

    assert (two_cards["stone-ford"].folder / empty.path).stat().st_size == 0
    assert ImageFile.LOAD_TRUNCATED_IMAGES is False
    with (
        pytest.raises(OSError, match="truncated"),
        Image.open(two_cards["larkfield-edge"].folder / cut.path) as im,
    ):
        im.load()


def test_six_files_are_another_cameras(two_cards: dict[str, CardMade]) -> None:
    rows = [r for r in read_truth(two_cards["stone-ford"].truth) if r.damage == "foreign"]

    assert len(rows) == 6
    for row in rows:
        exif = piexif.load(str(two_cards["stone-ford"].folder / row.path))
        assert exif["0th"][piexif.ImageIFD.Make] == b"Hobkindle"
        assert row.taken_written < "2025"


def test_a_false_run_of_blanks_fills_the_meadows_card(two_cards: dict[str, CardMade]) -> None:
    rows = read_truth(two_cards["larkfield-edge"].truth)

    assert sum(r.blank_cause == "waving branches" for r in rows) > 0.3 * len(rows)


def test_the_meadows_clock_is_an_hour_ahead(two_cards: dict[str, CardMade]) -> None:
    for row in read_truth(two_cards["larkfield-edge"].truth):
        true = datetime.fromisoformat(row.taken_true.replace("Z", "+00:00")).replace(tzinfo=None)
        ahead = datetime.fromisoformat(row.taken_written) - (true - timedelta(hours=1))
        assert ahead.total_seconds() == pytest.approx(3600, abs=60)
        assert "wrong clock" in row.troubles


def test_exif_reads_back_as_the_camera_wrote_it(two_cards: dict[str, CardMade]) -> None:
    card = two_cards["larkfield-edge"]
    for row in read_truth(card.truth):
        if row.damage:
            continue
        exif = piexif.load(str(card.folder / row.path))
        written = datetime.fromisoformat(row.taken_written).strftime("%Y:%m:%d %H:%M:%S").encode()
        model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[card.camera].model]
        assert exif["Exif"][piexif.ExifIFD.DateTimeOriginal] == written
        assert exif["0th"][piexif.ImageIFD.Model] == model.model.encode()
        assert exif["Exif"][piexif.ExifIFD.BodySerialNumber] == card.camera.encode()
        assert len(exif["Exif"][piexif.ExifIFD.SubSecTimeOriginal]) == 2
        assert exif["Exif"][piexif.ExifIFD.Flash] == (1 if row.infrared else 0)
        assert piexif.ExifIFD.OffsetTimeOriginal not in exif["Exif"]


def test_a_model_that_stamps_offset_place_and_thumbnail_does(tmp_path: Path) -> None:
    card = noise_card(tmp_path, 1, 60_000, size=(320, 240))
    (path,) = files_of(card).values()

    exif = piexif.load(str(path))

    assert exif["Exif"][piexif.ExifIFD.OffsetTimeOriginal] == b"-01:00"
    (degrees, _), (minutes, _), (hundredths, _) = exif["GPS"][piexif.GPSIFD.GPSLatitude]
    assert degrees + minutes / 60 + hundredths / 360000 == pytest.approx(47.2958, abs=1e-5)


def test_the_same_seed_makes_the_same_bytes_with_one_worker_or_two(
    two_cards: dict[str, CardMade], tmp_path: Path
) -> None:
    again = {c.site: c for c in write_two_cards(tmp_path, pictures=60, size=SMALL, seed=3, workers=2)}

    for site, card in two_cards.items():
        ours, theirs = files_of(card), files_of(again[site])
        assert set(ours) == set(theirs)
        assert all(ours[p].read_bytes() == theirs[p].read_bytes() for p in ours)
        assert card.truth.read_bytes() == again[site].truth.read_bytes()


def test_another_seed_makes_other_pictures(two_cards: dict[str, CardMade], tmp_path: Path) -> None:
    other = {c.site: c for c in write_two_cards(tmp_path, pictures=60, size=SMALL, seed=4)}

    a = {r.sha256 for r in read_truth(two_cards["stone-ford"].truth)}
    b = {r.sha256 for r in read_truth(other["stone-ford"].truth)}
    assert len(a & b) <= 1  # the file of no bytes


def test_progress_counts_pictures_up_to_the_total(tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []

    made = write_two_cards(tmp_path, pictures=60, size=SMALL, progress=lambda d, t: told.append((d, t)))

    assert told[0][0] == 0
    assert told[-1][0] == told[-1][1] == sum(c.pictures for c in made) - 6  # foreign files come after
    assert told == sorted(told)


@pytest.mark.long
def test_a_year_has_a_card_for_every_swap_and_pictures_of_every_month(tmp_path: Path) -> None:
    made = write_year(tmp_path, pictures=200, size=SMALL)

    pulled = [c for c in year().cards if c.taken_out is not None and not c.just_pulled]
    assert {c.name for c in made} == {c.name for c in pulled}
    rows = [r for c in made for r in read_truth(c.truth)]
    assert {r.taken_true[5:7] for r in rows} == {f"{m:02d}" for m in range(1, 13)}
    assert len({r.site for r in rows}) == 12
    assert {r.kind for r in rows} >= {"animal", "blank", "human"}
    assert any("askew" in r.troubles for r in rows)


def test_copy_test_files_are_whole_pictures_of_the_size_asked_and_all_differ(tmp_path: Path) -> None:
    card = noise_card(tmp_path, 4, 90_001, size=(320, 240))

    bodies = [p.read_bytes() for p in files_of(card).values()]
    assert [len(b) for b in bodies] == [90_001] * 4
    assert len({hashlib.sha256(b).digest() for b in bodies}) == 4
    for path in files_of(card).values():
        with Image.open(path) as picture:
            picture.load()
            assert picture.size == (320, 240)


def test_too_few_bytes_for_a_picture_are_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="bytes_each: got 900; needed: at least"):
        noise_card(tmp_path, 1, 900, size=(320, 240))


def test_impossible_sizes_and_numbers_are_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="size: got '20x10'"):
        write_year(tmp_path, size=(20, 10))
    with pytest.raises(WrongInput, match="at least 60 a card"):
        write_two_cards(tmp_path, pictures=5)
    assert list(tmp_path.iterdir()) == []


def test_the_command_writes_a_copy_test_card(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main([str(tmp_path), "--cards", "copy-test", "--pictures", "2", "--size", "320x240", "--bytes", "70000"])

    assert status == 0
    assert "2 pictures" in capsys.readouterr().out


def test_the_command_tells_what_is_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(tmp_path), "--cards", "two", "--pictures", "3"]) == 2
    assert "at least 60 a card" in capsys.readouterr().err

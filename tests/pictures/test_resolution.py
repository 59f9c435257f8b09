"""The printed target in made photographs: found, measured, told in plain words."""

from __future__ import annotations

import functools
import io
import math
import struct
import tracemalloc
import weakref
import zlib
from collections.abc import Iterator
from pathlib import Path

import native_camera
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from trod.errors import NotEnoughEvidence, WrongInput
from trod.pictures import edge, resolution, target_finding, target_layout

PX_PER_MM = 8
COLUMNS, ROWS, VIEW_DEG = 1296, 972, 22.0


@functools.cache
def page() -> NDArray[np.uint8]:
    """The drawing as a raster of an A4 page, sRGB levels."""
    sheet = target_layout.SHEETS["a4"]
    x = (np.arange(round(sheet.wide_mm * PX_PER_MM)) + 0.5) / PX_PER_MM - sheet.wide_mm / 2
    y = (np.arange(round(sheet.high_mm * PX_PER_MM)) + 0.5) / PX_PER_MM - sheet.high_mm / 2
    gx, gy = np.meshgrid(x, y)
    return np.rint(255 * (1 - target_layout.darkness(gx, gy))).astype(np.uint8)


@functools.cache
def ground(seed: int = 5) -> NDArray[np.float32]:
    return native_camera.scene(2 * ROWS, 2 * COLUMNS, np.random.default_rng(seed), things=0.5)


@functools.cache
def photograph(
    *,
    distance_m: float,
    turns_deg: tuple[float, float, float] = (0.0, 0.0, 0.0),
    aside_m: tuple[float, float] = (0.0, 0.0),
    lens_px: float = 0.5,
    demosaic: native_camera.Demosaic = "gradient",
    noise: float = 2.0,
    infrared: bool = False,
    quality: int = 90,
    barrel: float = 0.0,
    twice: Image.Resampling | None = None,
    brighter: float = 1.0,
) -> NDArray[np.uint8]:
    light = native_camera.photographed(
        page(),
        px_per_mm=PX_PER_MM,
        columns=COLUMNS,
        rows=ROWS,
        fov_deg=VIEW_DEG,
        distance_m=distance_m,
        turns_deg=turns_deg,
        aside_m=aside_m,
        barrel=barrel,
        ground=ground(),
    )
    levels: NDArray[np.generic] = native_camera.native(
        light * np.float32(brighter),
        lens_px=lens_px,
        demosaic=demosaic,
        noise=noise,
        rng=np.random.default_rng(11),
        infrared=infrared,
        fine=2,
    )
    if twice is not None:
        levels = native_camera.enlarged(levels, (2 * COLUMNS, 2 * ROWS), twice)
    return native_camera.through_jpeg(levels, quality)


SHOTS = {
    "near and straight": {"distance_m": 2.0},
    "aside and turned": {"distance_m": 2.0, "turns_deg": (8, 5, 3), "aside_m": (0.15, -0.1)},
    "by infrared, noisy, a bent lens": {
        "distance_m": 3.0,
        "turns_deg": (8, -5, -3),
        "aside_m": (-0.25, 0.1),
        "infrared": True,
        "noise": 4,
        "quality": 85,
        "barrel": 0.03,
    },
    "far, soft, small file": {"distance_m": 4.0, "turns_deg": (0, 5, 1), "lens_px": 0.8, "quality": 75},
    "farther": {
        "distance_m": 5.0,
        "turns_deg": (10, 5, -2),
        "aside_m": (0.1, -0.3),
        "noise": 4,
        "infrared": True,
        "quality": 80,
    },
}


@pytest.mark.parametrize("name", SHOTS)
def test_the_target_is_found_where_it_hangs(name: str) -> None:
    shot = SHOTS[name]
    pixels = photograph(**shot)  # type: ignore[arg-type]

    found = target_finding.find_sheet(pixels[..., 1])

    true_per_mm = COLUMNS / 2 / math.tan(math.radians(VIEW_DEG) / 2) / (1000 * float(shot["distance_m"]))  # type: ignore[arg-type]
    assert found.likeness > target_finding.SURE_LIKENESS
    assert max(found.px_per_mm) == pytest.approx(true_per_mm, rel=0.03)
    assert found.roll_deg == pytest.approx(shot.get("turns_deg", (0, 0, 0))[2], abs=1.5)  # type: ignore[index]
    for which in (0, 1):
        measured = target_finding.square_edges(pixels[..., 1], found, which=which)
        assert len(measured.edges) == 4, measured.refused


def test_a_picture_of_leaves_without_a_target_is_refused() -> None:
    for seed in (1, 2):
        pixels = (255 * ground(seed)[::2, ::2, 1]).astype(np.uint8)
        with pytest.raises(NotEnoughEvidence, match="the printed target was not found in the picture"):
            target_finding.find_sheet(pixels)


def test_a_wall_of_dots_is_no_target() -> None:
    y, x = np.mgrid[0:900, 0:1200]
    wall = np.where(np.hypot((x % 50) - 25, (y % 50) - 25) < 8, 30, 220).astype(np.uint8)

    with pytest.raises(NotEnoughEvidence, match="the printed target was not found in the picture"):
        target_finding.find_sheet(wall)


def test_the_response_does_not_depend_on_how_the_sheet_hangs() -> None:
    lens, mosaic = 0.7, "none"
    tilt = math.radians(7)
    f = edge.FREQUENCIES_CPP
    # Lens, the page smoothed to the fine grid (0.35 of half a pixel), linear interpolation on that grid, pixel.
    closed = (
        edge.gaussian_mtf(f, sigma_px=math.hypot(lens, 0.35 / 2))
        * edge.pixel_mtf(f * math.cos(tilt))
        * edge.pixel_mtf(f * math.sin(tilt))
    )
    wanted = edge.crossing_cpp(f, closed, 0.5)
    for turns_deg in ((0.0, 0.0, 0.0), (6.0, 4.0, 2.0), (-8.0, 2.0, -3.0)):
        pixels = photograph(distance_m=2.0, lens_px=lens, demosaic=mosaic, turns_deg=turns_deg, noise=1, quality=95)
        found = resolution.measure_target([pixels], distance_m=2.0)
        # The made camera bends tones by a power of 1/2.2, the measurement undoes the sRGB curve: a small bias.
        assert found.mtf50_cpp == pytest.approx(wanted, abs=0.01)


def test_the_record_tells_angles_and_the_smallest_detail() -> None:
    pixels = photograph(distance_m=3.0)

    found = resolution.measure_target([pixels, pixels], distance_m=3.0)

    assert found.pictures == 2 and found.edges == 16
    assert found.view_deg == pytest.approx(VIEW_DEG, abs=0.3)
    per_deg = COLUMNS / 2 / math.tan(math.radians(VIEW_DEG) / 2) * math.radians(1)
    assert found.pixels_per_deg == pytest.approx(per_deg, rel=0.01)
    assert found.mtf50_cycles_per_deg == pytest.approx(found.mtf50_cpp * per_deg, rel=0.01)
    near, middle, far = found.smallest
    assert (near.distance_m, middle.distance_m, far.distance_m) == (5, 10, 20)
    assert far.tine_mm == pytest.approx(4 * near.tine_mm)
    assert middle.hoofprint_mm == pytest.approx(8 * middle.tine_mm)
    assert not found.infrared
    low, mid, high = found.effective_megapixels
    assert low <= mid <= high <= found.saved_megapixels
    assert "carry detail by day (90 % interval over 16 edges" in found.sentence


def test_smallest_detail_in_closed_form() -> None:
    # 1000 cycles to the radian at 10 m: a line pair of 10 mm. Johnson (1958), recognition: 4 line pairs.
    told = resolution.smallest_detail(distance_m=10, cycles_per_rad=1000)

    assert (told.line_pair_mm, told.tine_mm, told.hoofprint_mm) == pytest.approx((10, 5, 40))


def test_a_print_that_came_out_smaller_is_allowed_for() -> None:
    pixels = photograph(distance_m=3.0)

    whole = resolution.measure_target([pixels], distance_m=3.0)
    smaller = resolution.measure_target([pixels], distance_m=3.0, ruler_mm=95.0)

    assert smaller.pixels_per_m == pytest.approx(whole.pixels_per_m / 0.95)


KERNELS = [Image.Resampling.BILINEAR, Image.Resampling.BICUBIC, Image.Resampling.LANCZOS]


# A sharp lens: with a softer one the native picture itself has fewer (next test, docs/models/resolution.md).
@pytest.mark.parametrize(("demosaic", "lens_px"), [("none", 0.5), ("gradient", 0.4)])
@pytest.mark.parametrize("how", KERNELS)
def test_a_sharp_picture_enlarged_to_four_times_its_pixels_keeps_its_megapixels(
    how: Image.Resampling, demosaic: native_camera.Demosaic, lens_px: float
) -> None:
    native_mp = COLUMNS * ROWS / 1e6
    pixels = photograph(distance_m=2.0, lens_px=lens_px, demosaic=demosaic, twice=how)

    found = resolution.measure_target([pixels], distance_m=2.0)

    assert found.saved_megapixels == pytest.approx(4 * native_mp)
    assert found.effective_megapixels[1] == pytest.approx(native_mp, rel=0.20)


@pytest.mark.long
@pytest.mark.parametrize("how", KERNELS)
def test_five_megapixels_saved_as_twenty_are_told_as_five(how: Image.Resampling) -> None:
    columns, rows, view_deg, distance_m = 2592, 1944, 44.0, 2.5
    light = native_camera.photographed(
        page(), px_per_mm=PX_PER_MM, columns=columns, rows=rows, fov_deg=view_deg, distance_m=distance_m,
        turns_deg=(4, 3, 2), aside_m=(0.1, 0.1), barrel=0.02,
    )  # fmt: skip
    levels = native_camera.native(light, lens_px=0.4, demosaic="gradient", noise=2, rng=np.random.default_rng(8), fine=2)
    big = native_camera.through_jpeg(native_camera.enlarged(levels, (2 * columns, 2 * rows), how), 90)

    found = resolution.measure_target([big], distance_m=distance_m)

    assert found.saved_megapixels == pytest.approx(20.16, abs=0.01)
    assert found.effective_megapixels[1] == pytest.approx(5.04, rel=0.20)
    assert found.view_deg == pytest.approx(view_deg, abs=1.0)


@pytest.mark.parametrize("how", KERNELS)
def test_enlarging_hardly_changes_what_a_soft_lens_gives(how: Image.Resampling) -> None:
    native = resolution.measure_target([photograph(distance_m=2.0, lens_px=0.8)], distance_m=2.0)
    bigger = resolution.measure_target([photograph(distance_m=2.0, lens_px=0.8, twice=how)], distance_m=2.0)

    assert native.effective_megapixels[1] < 0.75 * native.saved_megapixels
    assert bigger.effective_megapixels[1] == pytest.approx(native.effective_megapixels[1], rel=0.20)


def test_a_soft_lens_has_fewer_effective_megapixels_than_its_sensor() -> None:
    sharp = resolution.measure_target([photograph(distance_m=2.0, lens_px=0.5)], distance_m=2.0)
    soft = resolution.measure_target([photograph(distance_m=2.0, lens_px=1.3)], distance_m=2.0)

    assert soft.effective_megapixels[1] < 0.4 * sharp.effective_megapixels[1]


def test_infrared_gives_its_own_word() -> None:
    found = resolution.measure_target([photograph(distance_m=2.0, infrared=True)], distance_m=2.0)

    assert found.infrared
    assert "carry detail by infrared" in found.sentence


def test_burnt_out_paper_is_refused_with_what_to_do() -> None:
    with pytest.raises(NotEnoughEvidence) as told:
        resolution.measure_target([photograph(distance_m=2.0, brighter=2.0)], distance_m=2.0)

    assert told.value.have == "the paper is burnt out in the picture"
    assert "weaker flash" in told.value.need


def test_a_picture_without_target_among_others_is_told() -> None:
    without = native_camera.through_jpeg(np.rint(255 * ground(2)[::2, ::2]), 90)
    found = resolution.measure_target([photograph(distance_m=2.0), without], distance_m=2.0)

    assert found.pictures == 1
    assert "The target was not found in 1 of 2 pictures." in found.cautions


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"distance_m": 0.0}, "distance_m: got 0.0; needed: metres from the lens to the sheet, 0.2 to 100"),
        ({"distance_m": 3.0, "paper": "a5"}, "paper: got 'a5'; needed: a4, us-letter or a3"),
        ({"distance_m": 3.0, "ruler_mm": 10}, "needed: the measured length of the 100 mm ruler, 50 to 200 mm"),
    ],
)
def test_wrong_input_is_told_in_words(wrong: dict[str, object], words: str) -> None:
    with pytest.raises(WrongInput) as told:
        resolution.measure_target([np.zeros((80, 80), np.uint8)], **wrong)  # type: ignore[arg-type]

    assert words in str(told.value)


def test_no_picture_and_pictures_of_two_sizes_are_refused() -> None:
    with pytest.raises(WrongInput, match="all of the same size"):
        resolution.measure_target([], distance_m=2)
    with pytest.raises(WrongInput, match="all of the same size"):
        resolution.measure_target([np.zeros((80, 80), np.uint8), np.zeros((80, 90), np.uint8)], distance_m=2)


def test_files_are_read_upright_and_what_is_no_picture_is_told(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    file = io.BytesIO()
    Image.new("RGB", (30, 20), (10, 20, 30)).save(file, "JPEG", exif=exif)
    (tmp_path / "turned.jpg").write_bytes(file.getvalue())
    (tmp_path / "cut.jpg").write_bytes(file.getvalue()[:300])
    (tmp_path / "words.jpg").write_bytes(b"no picture")

    assert resolution.read_levels(tmp_path / "turned.jpg").shape == (30, 20, 3)
    for name in ("cut.jpg", "words.jpg"):
        with pytest.raises(WrongInput, match="a JPEG as the camera wrote it, whole"):
            resolution.read_levels(tmp_path / name)
    with pytest.raises(FileNotFoundError):
        resolution.read_levels(tmp_path / "absent.jpg")


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_small_file_that_unpacks_into_gigabytes_is_refused_by_its_header(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "bomb"
    if kind == "PNG":
        chunk = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
        parts = [(b"IHDR", chunk), (b"IDAT", b"")]
        told = [struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d)) for n, d in parts]
        path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(told))
    else:
        Image.new("RGB", (8, 8)).save(path, "JPEG")
        data = path.read_bytes()
        at = data.index(b"\xff\xc0") + 5
        path.write_bytes(data[:at] + struct.pack(">HH", 60_000, 60_000) + data[at + 4 :])
    tracemalloc.start()
    try:
        with pytest.raises(WrongInput, match="at most 64 megapixels"):
            resolution.read_levels(path)
        assert tracemalloc.get_traced_memory()[1] < 5_000_000
    finally:
        tracemalloc.stop()


def test_what_no_camera_writes_is_not_even_begun(tmp_path: Path) -> None:
    Image.new("RGB", (80, 80)).save(tmp_path / "a.tif")
    with pytest.raises(WrongInput):
        resolution.read_levels(tmp_path / "a.tif")


def test_pictures_are_looked_at_one_after_the_other() -> None:
    alive: list[weakref.ref[NDArray[np.uint8]]] = []
    most = 0

    def coming() -> Iterator[NDArray[np.uint8]]:
        nonlocal most
        for _ in range(4):
            one = np.zeros((80, 80), np.uint8)
            alive.append(weakref.ref(one))
            most = max(most, sum(ref() is not None for ref in alive))
            yield one
            del one

    with pytest.raises(NotEnoughEvidence):
        resolution.measure_target(coming(), distance_m=2)
    assert most <= 2, "the one at hand, and the next as it comes"

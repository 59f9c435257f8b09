"""The printed target: to scale on paper, and found again in a made photograph of the very PDF."""

from __future__ import annotations

import functools
import re
import tempfile
from pathlib import Path

import native_camera
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from poppler import poppler, text_of

from trod.errors import WrongInput
from trod.pictures import resolution, target_layout
from trod.report.target import GOOD_SIDE_PX, farthest_m, target_pdf

DPI = 200
PX_PER_MM = DPI / 25.4
PAPERS = ["a4", "us-letter", "a3"]


@functools.cache
def printed(paper: str) -> NDArray[np.uint8]:
    """Page 1 as grey levels, by poppler's pdftoppm, which is not ours."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "t.pdf"
        path.write_bytes(target_pdf(paper=paper))
        poppler("pdftoppm", "-r", DPI, "-gray", "-f", 1, "-l", 1, path, Path(folder) / "p")
        return np.asarray(Image.open(next(Path(folder).glob("p*.pgm"))))


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_has_its_papers_size_and_the_drawing_is_to_scale(paper: str) -> None:
    page, sheet = printed(paper), target_layout.sheet(paper)

    assert page.shape[1] == pytest.approx(sheet.wide_mm * PX_PER_MM, abs=2)
    assert page.shape[0] == pytest.approx(sheet.high_mm * PX_PER_MM, abs=2)
    x = ((np.arange(page.shape[1]) + 0.5) / PX_PER_MM - sheet.middle_mm[0]) / sheet.scale
    y = ((np.arange(page.shape[0]) + 0.5) / PX_PER_MM - sheet.middle_mm[1]) / sheet.scale
    inside = y < target_layout.DOTS_HIGH_MM / 2 + target_layout.DOT_DIAMETER_MM / 2 + 1  # above the ruler
    gx, gy = np.meshgrid(x, y[inside])
    drawn = 255 * (1 - target_layout.darkness(gx, gy))
    assert np.abs(page[inside].astype(float) - drawn).mean() < 0.6
    assert (page.shape[1] - np.nonzero((page < 128).any(axis=0))[0].max()) / PX_PER_MM > 8  # printers leave a margin


@pytest.mark.parametrize("paper", PAPERS)
def test_the_ruler_is_100_mm_long_on_every_paper(paper: str) -> None:
    page = printed(paper) < 128
    rows = page[int(0.8 * page.shape[0]) :]
    longest = 0
    for row in rows:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        longest = max(longest, int((edges[1::2] - edges[::2]).max(initial=0)))

    assert longest / PX_PER_MM == pytest.approx(100, abs=0.4)


@pytest.mark.parametrize(
    ("paper", "distance_m", "infrared", "turns_deg"),
    [
        ("a4", 2.5, False, (6.0, 3.0, 2.0)),
        ("us-letter", 3.0, True, (-8.0, 4.0, -3.0)),
        ("a3", 4.0, False, (0.0, 6.0, 1.0)),
    ],
)
def test_the_pdf_photographed_is_found_and_measured(
    paper: str, distance_m: float, infrared: bool, turns_deg: tuple[float, float, float]
) -> None:
    rng = np.random.default_rng(4)
    columns, rows = 1296, 972
    light = native_camera.photographed(
        printed(paper),
        px_per_mm=PX_PER_MM,
        columns=columns,
        rows=rows,
        fov_deg=22,
        distance_m=distance_m,
        turns_deg=turns_deg,
        aside_m=(0.1, -0.05),
        barrel=0.02,
        ground=native_camera.scene(2 * rows, 2 * columns, rng, things=0.3),
    )
    levels = native_camera.native(light, lens_px=0.6, demosaic="gradient", noise=3, rng=rng, infrared=infrared, fine=2)

    found = resolution.measure_target([native_camera.through_jpeg(levels, 88)], distance_m=distance_m, paper=paper)

    assert found.edges == 8
    assert found.infrared is infrared
    assert found.view_deg == pytest.approx(22, abs=0.5)
    # Lens 0.6 px, the demosaic (flat for grey: its kernels follow brightness), square pixel: 0.25 to 0.30.
    assert 0.24 < found.mtf50_cpp < 0.30
    assert 0.55 < found.effective_megapixels[1] / found.saved_megapixels < 1.0


def test_the_second_page_says_how_to_photograph_it_and_what_to_mind(tmp_path: Path) -> None:
    text = re.sub(r"\s+", " ", text_of(target_pdf(made="0.1.0"), tmp_path))

    for words in (
        "at 100 %, not fitted to the page",
        "This line must be 100 mm long",
        "toner",
        "level to within 4 degrees",
        "Not on or beside a road",
        "needs no ladder",
        "Made with Trod 0.1.0",
    ):
        assert words in text


def test_the_table_of_distances_is_the_pinhole_formula() -> None:
    # 4000 columns over 40 degrees are 5495 pixels to the radian; 90 mm are 80 pixels wide at 6.18 m.
    assert farthest_m(columns=4000, fov_deg=40, scale=1.0) == pytest.approx(6.18, abs=0.01)
    assert farthest_m(columns=4000, fov_deg=40, scale=1.4) == pytest.approx(1.4 * 6.18, abs=0.02)
    assert GOOD_SIDE_PX == 80


def test_the_same_target_gives_the_same_bytes_with_fonts_of_our_own() -> None:
    first = target_pdf()

    assert first.startswith(b"%PDF-") and target_pdf() == first
    names = set(re.findall(rb"/FontName\s*/([A-Za-z0-9+\-]+)", first))
    assert names and all(b"Libertinus" in name for name in names)


def test_an_unknown_paper_is_told() -> None:
    with pytest.raises(WrongInput, match="paper: got 'a5'; needed: a4, us-letter or a3"):
        target_pdf(paper="a5")

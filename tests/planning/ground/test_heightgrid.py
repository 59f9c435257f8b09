"""Height grids and the horizon that they show."""

from __future__ import annotations

import io
import math
import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from trod.errors import TrodError, WrongInput
from trod.planning.ground import heightgrid
from trod.planning.ground.heightgrid import HeightGrid, horizon_from, read_ascii_grid
from trod.planning.place import glare

SMALL = """ncols 3
nrows 2
xllcorner 100
yllcorner 200
cellsize 10
NODATA_value -9999
1 2 3
4 5 -9999
"""


def test_a_grid_is_read_with_its_first_row_in_the_north() -> None:
    grid = read_ascii_grid(SMALL)

    assert (grid.west, grid.south, grid.north, grid.cell) == (100, 200, 220, 10)
    assert float(grid.at(np.array(105.0), np.array(215.0))) == 1
    assert float(grid.at(np.array(110.0), np.array(210.0))) == 3  # the middle of 1 2 / 4 5
    assert math.isnan(float(grid.at(np.array(125.0), np.array(205.0))))
    assert math.isnan(float(grid.at(np.array(0.0), np.array(0.0))))


def test_a_grid_told_by_the_middle_of_its_corner_is_the_same() -> None:
    other = SMALL.replace("xllcorner 100", "XLLCENTER 105").replace("yllcorner 200", "YLLCENTER 205")

    assert (read_ascii_grid(other).west, read_ascii_grid(other).south) == (100, 200)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SMALL.replace("ncols 3\n", ""), "height grid: got 'no ncols'; needed: heading lines of an ESRI ASCII grid"),
        (SMALL.replace("1 2 3", "1 2"), "height grid: got '5 numbers'; needed: 6 (2 rows of 3)"),
        (SMALL.replace("1 2 3", "1 two 3"), None),
        (SMALL.replace("cellsize 10", "cellsize 0"), None),
        (SMALL.replace("ncols 3", "ncols 1e12"), None),
        (SMALL.replace("ncols 3", "ncols inf"), None),
        ("", None),
    ],
)  # fmt: skip
def test_a_broken_grid_is_refused(text: str, words: str | None) -> None:
    with pytest.raises(WrongInput) as told:
        read_ascii_grid(text)
    if words:
        assert str(told.value) == words


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    with pytest.raises(TrodError):
        read_ascii_grid("ncols 2\nnrows 2\n" + text)


def ridge(height_m: float, away_m: float, cell: float = 20.0) -> HeightGrid:
    """A wall of a height to the east, level ground before it."""
    rows, columns = 101, 201
    heights = np.zeros((rows, columns))
    east = (np.arange(columns) + 0.5) * cell - columns * cell / 2
    heights[:, east >= away_m] = height_m
    return HeightGrid(heights, west=-columns * cell / 2, south=-rows * cell / 2, cell=cell)


def test_a_wall_stands_as_high_as_its_triangle() -> None:
    hills = horizon_from(ridge(177, 1000), x=0, y=0, eye_m=0, step_deg=90)

    # The slope of the wall's edge lies within a cell of 1000 m.
    assert float(hills.height_deg(90)) == approx(math.degrees(math.atan2(177, 1000)), abs=0.15)
    assert float(hills.height_deg(270)) == 0


def test_far_away_the_earths_curve_hides_the_foot() -> None:
    rows, columns, cell = 3, 400, 100.0
    heights = np.zeros((rows, columns))
    heights[:, -50:] = 30.0
    grid = HeightGrid(heights, west=0, south=0, cell=cell)
    hills = horizon_from(grid, x=150, y=150, eye_m=0, step_deg=90, within_m=60_000)

    # 35 km away the ground has sunk by 0.87·d²/2R = 84 m: a rise of 30 m no longer shows.
    assert float(hills.height_deg(90)) == 0


def test_a_grid_in_degrees_is_walked_in_metres() -> None:
    heights = np.zeros((200, 200))
    heights[:50] = 500.0  # the north quarter
    grid = HeightGrid(heights, west=14.0, south=46.9, cell=0.001, degrees=True)
    hills = horizon_from(grid, x=14.1, y=47.0, eye_m=0, step_deg=90)

    away = (heightgrid.METRES_PER_DEGREE * (grid.north - 0.05 - 47.0)) - 55
    assert float(hills.height_deg(0)) == approx(math.degrees(math.atan2(500, away)), abs=0.2)


def test_a_computed_horizon_takes_the_morning_sun_away() -> None:
    hills = horizon_from(ridge(177, 1000), x=0, y=0)
    level, behind = (float(glare.hours_by_heading([90], latitude_deg=45, horizon=h)[0]) for h in (None, hills))

    assert 0.3 * level < behind < 0.8 * level


def test_a_point_off_the_grid_is_refused() -> None:
    with pytest.raises(WrongInput) as told:
        horizon_from(ridge(10, 100), x=1e6, y=0)
    assert str(told.value) == ("point: got '1e+06, 0'; needed: a point inside the height grid, on known ground")


def walled(
    *, west: float = 13.85, south: float = 47.25, cell: float = 0.001, columns: int = 101, rows: int = 101
) -> str:
    """A plain at 700 m with a wall of 1000 m along its eastern edge."""
    head = f"ncols {columns}\nnrows {rows}\nxllcorner {west}\nyllcorner {south}\ncellsize {cell}\n"
    line = " ".join(["700"] * (columns - 3) + ["1000"] * 3)
    return head + "\n".join([line] * rows) + "\n"


def test_the_hills_around_a_place_stand_where_the_wall_stands() -> None:
    """East of the middle the wall is 3.6 km off: arctan(299/3630) is 4.7°; to the west the plain is level."""
    found = heightgrid.hills_around(walled(), latitude_deg=47.3, longitude_deg=13.9)

    assert found.height_deg(90.0) == approx(4.7, abs=0.15)
    assert found.height_deg(270.0) == approx(0.0, abs=0.05)
    assert type(found).typed(found.text) == found


def test_a_grid_in_metres_is_refused_since_nobody_says_of_which_projection() -> None:
    with pytest.raises(WrongInput, match="a grid in degrees"):
        heightgrid.hills_around(walled(west=380_000, south=5_230_000, cell=25), latitude_deg=47.3, longitude_deg=13.9)


def test_a_place_outside_the_grid_is_refused() -> None:
    with pytest.raises(WrongInput, match="a point inside the height grid"):
        heightgrid.hills_around(walled(), latitude_deg=46.0, longitude_deg=13.9)


class Endless(io.TextIOBase):
    """A file that holds a heading and then numbers without end; it counts what is read of it."""

    def __init__(self, head: str, piece: str) -> None:
        self.head, self.piece, self.taken = head, piece, 0

    def read(self, size: int = -1) -> str:  # type: ignore[override]
        text, self.head = (self.head or (self.piece * (size // len(self.piece) + 1))[:size]), ""
        self.taken += len(text)
        return text


HEAD = "ncols 4\nnrows 3\nxllcorner 0\nyllcorner 0\ncellsize 1\n"


def test_a_file_with_more_numbers_than_it_says_is_left_off_at_once() -> None:
    file = Endless(HEAD, "1 ")
    with pytest.raises(WrongInput, match="more than 12 numbers"):
        read_ascii_grid(file)

    assert file.taken < 3 * heightgrid.PIECE


def test_a_number_without_end_and_blanks_without_end_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heightgrid, "HEIGHTS_FILE_BYTES", 4 * heightgrid.PIECE)
    with pytest.raises(WrongInput, match="numbers in all cells"):
        read_ascii_grid(Endless(HEAD, "1"))
    with pytest.raises(WrongInput, match="more characters"):
        read_ascii_grid(Endless(HEAD, " "))


@pytest.mark.parametrize("piece", [1, 2, 3, 7, 60, 61, 62, 1000])
def test_a_number_that_lies_across_two_pieces_is_one(piece: int, monkeypatch: pytest.MonkeyPatch) -> None:
    text = HEAD + "\n".join(f"{n}.25 -{n}e1  {n}\t{n}" for n in (11, 22, 33))
    whole = read_ascii_grid(text).heights
    monkeypatch.setattr(heightgrid, "PIECE", max(piece, len(HEAD)))

    assert np.array_equal(read_ascii_grid(io.StringIO(text)).heights, whole)
    assert whole[0].tolist() == [11.25, -110, 11, 11]


def test_a_large_grid_takes_four_bytes_a_cell_and_little_more() -> None:
    side = 2000
    text = f"ncols {side}\nnrows {side}\nxllcorner 0\nyllcorner 0\ncellsize 1\n" + "1 " * side * side
    tracemalloc.start()
    try:
        grid = read_ascii_grid(io.StringIO(text))
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    assert grid.heights.shape == (side, side)
    # The copy that StringIO makes of the text (4 bytes a character) is not the reader's.
    assert most < 4 * side * side + 4 * len(text) + 40_000_000

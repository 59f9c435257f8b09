"""The height grid of a reserve: brought once, kept beside the archive, and read for walking times."""

from __future__ import annotations

from pathlib import Path

from trod.archive import disk
from trod.catalogue import home
from trod.catalogue.models import Reserve
from trod.errors import WrongInput
from trod.limits import HEIGHTS_PAGE_BYTES
from trod.planning.ground.heightgrid import HeightGrid, read_ascii_grid

MOST_BYTES = HEIGHTS_PAGE_BYTES
_held: dict[Path, tuple[tuple[int, int], HeightGrid | None]] = {}


def path_of(reserve: Reserve) -> Path:
    """Where a reserve's grid lies."""
    return home.home() / "ground" / f"heights-{reserve.slug}.asc"


def mark_of(reserve: Reserve) -> tuple[int, int] | None:
    """The same as long as the grid is; None where there is none."""
    try:
        told = path_of(reserve).stat()
    except OSError:
        return None
    return told.st_mtime_ns, told.st_size


def grid_of(reserve: Reserve) -> HeightGrid | None:
    """The grid, read anew only when its file changed; None where there is none that can be read."""
    path, mark = path_of(reserve), mark_of(reserve)
    if mark is None:
        return None
    held = _held.get(path)
    if held is None or held[0] != mark:
        try:
            with path.open(encoding="utf-8", errors="replace") as file:
                grid: HeightGrid | None = read_ascii_grid(file, degrees=True)
        except (OSError, WrongInput):
            grid = None
        if len(_held) > 8:
            _held.clear()
        _held[path] = held = (mark, grid)
    return held[1]


def keep(reserve: Reserve, text: str) -> HeightGrid:
    """Check a grid and keep it as the reserve's. Raises WrongInput for one that is none, or is not about here."""
    grid = read_ascii_grid(text, degrees=True)
    east = grid.west + grid.heights.shape[1] * grid.cell
    if not (grid.west <= reserve.longitude <= east and grid.south <= reserve.latitude <= grid.north):
        raise WrongInput(
            "height grid",
            got=f"{grid.south:.4g} to {grid.north:.4g} north, {grid.west:.4g} to {east:.4g} east",
            needed=f"one in degrees that holds the reserve, {reserve.latitude:.4g} north, {reserve.longitude:.4g} east",
        )
    path = path_of(reserve)
    path.parent.mkdir(parents=True, exist_ok=True)
    disk.write_file(path, text.encode())
    return grid


def forget(reserve: Reserve) -> None:
    """Take the grid away."""
    path_of(reserve).unlink(missing_ok=True)

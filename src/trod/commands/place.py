"""`trod place`: a placement worked out on the command line, with or without a catalogue."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trod.errors import ArchiveUnwritable, WrongInput

if TYPE_CHECKING:
    from trod.leaving.setups import FitSetup
    from trod.planning.equipment.camera import CameraSpec
    from trod.planning.place.setup import Outcome
    from trod.units import System

NO_PLACEMENT = "00000000-0000-0000-0000-000000000000"  # in the code of a set-up sheet that is kept in no catalogue
MOST_BYTES = 1_000_000

# option: (input, help). Numbers may carry a unit; without one they are in the unit of the input.
INPUTS: dict[str, tuple[str, str]] = {
    "--feature": ("feature", "What draws animals here: trail, road, water, ford, lick, feeding, meadow and so on."),
    "--aim": ("aim", "What it is for: species, herd, composition, hours, individuals, behaviour, people."),
    "--height": ("height_m", "Lens height; advised when left out."),
    "--heading": ("heading_deg", "Heading from true north; advised when left out."),
    "--aim-distance": ("aim_distance_m", "How far off the middle of the picture lies; advised when left out."),
    "--holder": ("holder", "What it hangs on: trunk, post or ladder."),
    "--herd": ("herd", "Animals at once."),
    "--path-bearing": ("path_bearing_deg", "Bearing of the path from true north."),
    "--offset": ("offset_m", "From tree or post to the path."),
    "--side": ("side", "Side of the path, for one who walks along the bearing: left or right."),
    "--slope": ("slope_deg", "Slope of the ground, falling away from the camera positive."),
    "--patch-near": ("patch_near_m", "Near edge of a feeding ground."),
    "--patch-far": ("patch_far_m", "Far edge of a feeding ground."),
    "--cover": ("cover", "What grows in view: open, low plants, tall grass, scrub, wood."),
    "--tree-diameter": ("tree_diameter_cm", "Thickness of the tree."),
    "--declination": ("declination_deg", "Magnetic declination of the place, east positive."),
}


def _entered(command: Callable[..., None]) -> Callable[..., None]:
    for flag, (input, words) in reversed(INPUTS.items()):
        command = click.option(flag, input, metavar="VALUE", help=words)(command)
    return command


@click.command(short_help="Work a placement out: how to hang a camera, and what it would catch.")
@click.argument("site", required=False, metavar="[SITE]")
@click.option("--lat", type=float, help="Latitude, north positive, where no SITE is named.")
@click.option("--lon", type=float, help="Longitude, east positive.")
@click.option("--animal", "animal_key", required=True, metavar="KEY", help="Which animal, like red-deer; see --animals.")
@click.option(
    "--animals",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda ctx, _param, value: _list_animals(ctx) if value else None,
    help="List the animals that are known, and end.",
)
@click.option("--camera", "camera_name", default="", metavar="NAME", help="Kind of camera, by maker and model.")
@click.option(
    "--cameras",
    "camera_file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.csv",
    help="Where kinds of camera stand, in our own columns; else the catalogue's are taken.",
)
@click.option(
    "--figure", "figures", multiple=True, metavar="NAME=VALUE",
    help="One figure of the camera as measured, like trigger_s=0.4; may be given again.",
)  # fmt: skip
@_entered
@click.option(
    "--inputs", "inputs_file", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.json",
    help="Input as a JSON object, like the one that --json prints.",
)  # fmt: skip
@click.option(
    "--heights", "heights_file", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.asc",
    help="A height grid (ESRI ASCII, in degrees); the hills around are taken from it.",
)  # fmt: skip
@click.option("--input", "more", multiple=True, metavar="NAME=VALUE", help="Any other input; may be given again.")
@click.option("--units", type=click.Choice(["metric", "us"]), help="Units of what is told (default: the reserve's).")
@click.option("--thorough", is_flag=True, help="Ask the simulation for the angle, too, and simulate more passes.")
@click.option(
    "--setup-sheet",
    "setup_sheet",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE.pdf",
    help="Write a set-up sheet.",
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="Paper of the set-up sheet (default: by the units).")
@click.option(
    "--true-places", is_flag=True, help="Put a sensitive site's place on the set-up sheet; only if you may decide that."
)
@click.option(
    "--plan-svg", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.svg", help="Write the view from above."
)
@click.option(
    "--side-svg", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.svg", help="Write the side view."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def place(
    site: str | None,
    lat: float | None,
    lon: float | None,
    animal_key: str,
    camera_name: str,
    camera_file: Path | None,
    figures: tuple[str, ...],
    inputs_file: Path | None,
    heights_file: Path | None,
    more: tuple[str, ...],
    units: str | None,
    thorough: bool,
    setup_sheet: Path | None,
    paper: str | None,
    true_places: bool,
    plan_svg: Path | None,
    side_svg: Path | None,
    as_json: bool,
    **entered: str | None,
) -> None:
    """Work a placement out: height, tilt, wedge, heading, aim point and settings.

    Told besides: what an animal that comes would meet, how to try it, what to mind.
    Nothing is written into the catalogue.

    SITE is a site's name or short name in the catalogue; what is known of its ground is taken, and options go
    before it. Without a catalogue name a place with --lat and --lon, and the camera with --figure or --cameras.
    Values may carry a unit: 0.8m, 80cm, 30in, "2 ft 8 in", 45deg.

    \b
    Examples:
      trod place "Stone Ford" --animal red-deer --camera "Oddlethorpe Wren 12"
      trod place --lat 47.3 --lon 13.9 --animal roe-deer --path-bearing 30 --offset 12ft \\
          --figure trigger_s=0.4 --figure fov_deg=42 --units us
      trod place --lat 61 --lon 9 --animal elk --feature feeding --holder ladder --herd 20 \\
          --patch-near 8m --patch-far 18m --aim herd --setup-sheet setup-sheet.pdf --side-svg side.svg
    \b
    Exit statuses:
      0  worked out
      2  the command line was wrong
      3  not worked out: a value or name that cannot be used, or a place that cannot be written to

    --json gives: sentence, place, camera, animal, inputs, advice, camera_settings, chances, walk_test, cautions,
    usual_cautions, assumed, files. Chances carry their standard errors.
    """
    from datetime import UTC, datetime

    from trod.drawing import placement as drawing
    from trod.leaving import fit_place
    from trod.leaving.setups import fit_setup
    from trod.planning.catch.animals import animal
    from trod.planning.place.setup import patch_told

    row = _site(site) if site else None
    if row is not None:
        lat, lon = row.latitude, row.longitude
    if lat is None or lon is None:
        raise click.UsageError("Name a SITE of the catalogue, or a place with --lat and --lon.")
    told: dict[str, Any] = _of_site(row) if row is not None else {}
    if inputs_file is not None:
        told |= _of_file(inputs_file)
    if heights_file is not None:
        told["horizon"] = _hills(heights_file, lat, lon)
    told |= {key: of_words(key, value) for key, value in entered.items() if value is not None}
    told |= dict(_pair(one) for one in more)
    wanted = units or (row.reserve.units if row is not None else "metric")
    system: System = "us" if wanted == "us" else "metric"
    now = datetime.now(UTC)
    spec = _camera(camera_name, camera_file, figures)
    who = animal(animal_key.lower().replace("-", "_").replace(" ", "_"))

    def worked_out(*, true_places: bool) -> FitSetup:
        sensitive = row is not None and row.sensitive
        place = fit_place(latitude_deg=lat, longitude_deg=lon, sensitive=sensitive, true_places=true_places)
        return fit_setup(
            spec, told, place=place, animal=who, system=system, year=now.year, passes=200_000 if thorough else None,
            simulate_angle=thorough,
        )  # fmt: skip

    leaves = as_json or any(x is not None for x in (setup_sheet, plan_svg, side_svg))
    done = worked_out(true_places=True)  # for the eyes of whoever types
    out = worked_out(true_places=true_places) if leaves and done.place.sensitive else done
    read = out.read
    files: dict[str, Callable[[], bytes]] = {}
    if setup_sheet is not None:
        files[str(setup_sheet)] = lambda: _setup_sheet(out, row, paper, now.date())
    if plan_svg is not None:
        files[str(plan_svg)] = lambda: drawing.plan_svg(
            out.advice, read.ground, read.animal, patch=patch_told(out.advice, read), system=system, theme="paper"
        ).encode()
    if side_svg is not None:
        files[str(side_svg)] = lambda: drawing.side_svg(
            out.advice,
            read.ground,
            read.animal,
            case_height_mm=read.mount.case_height_mm,
            system=system,
            theme="paper",
        ).encode()
    for path, make in files.items():
        _write(Path(path), make())
    if as_json:
        where = {"site": row.slug if row is not None else None}
        if not out.hidden:
            where |= {"latitude_deg": read.ground.latitude_deg, "longitude_deg": read.ground.longitude_deg}
        click.echo(json.dumps(_told(out, where, list(files)), ensure_ascii=False, indent=2, allow_nan=False))
    else:
        _say(done)
        for path in files:
            click.echo(f"Written: {path}")


def _list_animals(ctx: click.Context) -> None:
    from trod.planning.catch.animals import ANIMALS

    for one in ANIMALS:
        click.echo(f"{one.key.replace('_', '-'):20} {one.said()}")
    ctx.exit()


# --- where the values come from ---------------------------------------------------------------


def of_words(input: str, words: str) -> Any:
    """A input's value from what was typed: a number with or without its unit, or a word.

    Raises WrongInput that names the input.
    """
    from trod.planning.place import inputs as board

    if input not in board.LIMITS:
        if input in board.WORDS:
            return words.strip().lower()
        return _of_json(words) if input in board.LISTS or input in board.YES_NO else words
    from trod.telling.measures import read

    value = read(words, board.LIMITS[input].unit, what=input)
    return int(value) if board.LIMITS[input].whole and value == int(value) else value


def _of_json(words: str) -> Any:
    try:
        return json.loads(words)
    except (ValueError, RecursionError):
        return words


def _pair(words: str) -> tuple[str, Any]:
    name, sign, value = words.partition("=")
    if not sign:
        raise WrongInput("--input", got=words[:60], needed="NAME=VALUE, as canopy_percent=40")
    return name.strip(), of_words(name.strip(), value)


def _of_file(path: Path) -> dict[str, Any]:
    """Input from a JSON file: the object itself, or the one under "inputs" as --json prints it."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise WrongInput("--inputs", got=f"{path.stat().st_size} bytes", needed=f"at most {MOST_BYTES}")
        told = json.loads(path.read_text("utf-8-sig"))
    except OSError as trouble:
        raise WrongInput("--inputs", got=str(path), needed=f"a file that can be read ({trouble.strerror})") from trouble
    except (ValueError, RecursionError) as trouble:
        raise WrongInput("--inputs", got=str(path), needed=f"a JSON object ({trouble})") from trouble
    if isinstance(told, dict) and isinstance(told.get("inputs"), dict):
        told = told["inputs"]
    if not isinstance(told, dict):
        raise WrongInput("--inputs", got=type(told).__name__, needed='a JSON object, as {"height_m": 0.8}')
    return told


def _hills(path: Path, lat: float, lon: float) -> str:
    """The hills around a place, as an input."""
    from trod.limits import HEIGHTS_FILE_BYTES as MOST
    from trod.planning.ground.heightgrid import hills_around

    try:
        if path.stat().st_size > MOST:
            raise WrongInput("--heights", got=f"{path.stat().st_size} bytes", needed=f"at most {MOST}")
        with path.open(encoding="utf-8", errors="replace") as file:
            return hills_around(file, latitude_deg=lat, longitude_deg=lon).text
    except OSError as trouble:
        raise WrongInput("--heights", got=str(path), needed=f"a file that can be read ({trouble.strerror})") from trouble


def _catalogue() -> bool:
    """Makes the catalogue ready if there is one; none is made."""
    from trod.catalogue import home

    if not (os.environ.get("TROD_DATABASE_URL") or (home.home() / "catalogue.sqlite3").is_file()):
        return False
    from trod.catalogue.start import ready

    ready("trod place")
    return True


def _site(name: str) -> Any:
    if not _catalogue():
        raise WrongInput("SITE", got=name, needed="a catalogue that knows it; without one give --lat and --lon")
    from trod.catalogue.models import Site

    rows = Site.objects.select_related("reserve")
    found = list(rows.filter(slug=name)[:1] or rows.filter(name__iexact=name)[:2])
    if len(found) != 1:
        known = ", ".join(rows.order_by("name").values_list("name", flat=True)[:40]) or "none yet"
        raise WrongInput("SITE", got=name, needed=f"one of the catalogue's sites: {known}")
    return found[0]


def _of_site(row: Any) -> dict[str, Any]:
    from trod.web.planner.pages import inputs_of

    return inputs_of(row)


def _camera(name: str, file: Path | None, figures: tuple[str, ...]) -> CameraSpec:
    """The kind of camera: of the file, else of the catalogue, else unknown; then the figures that are told."""
    from trod.planning.equipment import camera as kinds

    specs: list[CameraSpec] = []
    if file is not None:
        try:
            text = file.read_text("utf-8-sig") if file.stat().st_size <= kinds.MOST_BYTES else None
        except (OSError, UnicodeDecodeError) as trouble:
            raise WrongInput("--cameras", got=str(file), needed=f"a CSV file in UTF-8 ({trouble})") from trouble
        if text is None:
            raise WrongInput("--cameras", got=str(file), needed=f"at most {kinds.MOST_BYTES} bytes")
        specs = kinds.from_csv(text)
    elif name and _catalogue():
        from trod.catalogue.models import CameraModel
        from trod.catalogue.rows.specs import spec_of

        specs = [spec_of(model) for model in CameraModel.objects.all()]
    if name:
        wanted = name.strip().lower()
        fitting = [s for s in specs if wanted in (s.name.lower(), s.model.lower())]
        if len(fitting) != 1:
            known = ", ".join(sorted(s.name for s in specs)[:40]) or "none; give --cameras FILE.csv or --figure"
            raise WrongInput("--camera", got=name, needed=f"one of the kinds that are known: {known}")
        spec = fitting[0]
    elif len(specs) == 1:
        spec = specs[0]
    elif specs:
        raise WrongInput("--camera", got="nothing", needed="one of " + ", ".join(sorted(s.name for s in specs)[:40]))
    else:
        spec = kinds.CameraSpec(maker="A camera", model="of no known kind")
    found: dict[str, float] = {}
    for one in figures:
        key, sign, value = one.partition("=")
        try:
            found[key.strip()] = float(value) if sign else float("nan")
        except ValueError:
            raise WrongInput("--figure", got=one[:60], needed="NAME=NUMBER, as trigger_s=0.4") from None
        if not sign:
            raise WrongInput("--figure", got=one[:60], needed="NAME=NUMBER, as trigger_s=0.4")
    return spec.with_measured(**found) if found else spec


# --- what comes out ---------------------------------------------------------------------------


def _setup_sheet(done: FitSetup, row: Any, paper: str | None, day: Any) -> bytes:
    from trod import __version__, wording
    from trod.field import setup_code, setup_sheet
    from trod.leaving import without_places

    may = not done.hidden
    said = str if may else without_places
    data = setup_sheet.SetupSheetData(
        setup=done,
        code=setup_code.code_of(
            done, placement=NO_PLACEMENT, site=row.slug if row is not None else "", with_position=may
        ),
        site=said(row.name) if row is not None else "",
        reserve=row.reserve.name if row is not None else "",
        access=row.access if row is not None and may else "",
        safety=said(row.safety) if row is not None else "",
        with_place=may,
        made=__version__,
        made_on=wording.day(day),
        paper={"a4": "a4", "letter": "us-letter"}[paper or ("letter" if done.system == "us" else "a4")],
        invented=row is not None and row.reserve.invented,
    )
    return setup_sheet.setup_sheet_pdf(data)


def _write(path: Path, content: bytes) -> None:
    if not path.name:
        raise ArchiveUnwritable(f"{str(path)!r} is no name for a file. Name one, as setup-sheet.pdf.")
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as trouble:
        raise ArchiveUnwritable(f"{path}: {trouble.strerror}. Choose another place for it.") from trouble


def _told(done: FitSetup, where: Mapping[str, Any], files: list[str]) -> dict[str, Any]:
    from trod.planning.place import inputs as board
    from trod.telling import setups

    advice = done.advice

    def chances(outcome: Outcome) -> dict[str, Any]:
        return {
            label: {"value": estimate.value, "standard_error": estimate.standard_error} if estimate else None
            for label, estimate, _ in setups.rows(outcome)
        }

    return {
        "sentence": done.told.sentence,
        "place": dict(where),
        "camera": done.spec.name,
        "animal": done.animal.key,
        "inputs": board.plain(done.read),
        "advice": {
            "height_m": advice.height_m,
            "tilt_deg": advice.tilt_deg,
            "wedge_mm": advice.wedge.thickness_mm,
            "wedge_behind": advice.wedge.behind,
            "heading_deg": advice.heading_deg,
            "aim_distance_m": advice.aim_distance_m,
            "aim_height_m": advice.aim_height_m,
            "angle_deg": list(advice.angle_deg) if advice.angle_deg else None,
        },
        "camera_settings": [
            {"key": d.key, "label": d.label, "value": d.value, "hint": d.hint} for d in done.told.camera_settings
        ],
        "chances": {"day": chances(done.day), "night": chances(done.night)},
        "walk_test": list(done.told.walk_test),
        "cautions": list(done.told.cautions),
        "usual_cautions": list(done.told.usual_cautions),
        "assumed": list(done.told.assumed),
        "files": files,
    }


def _say(done: FitSetup) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from trod.field import setup_sheet

    console = Console(highlight=False, markup=False, soft_wrap=False)

    def lines(head: str, texts: tuple[str, ...], mark: str) -> None:
        if texts:
            console.print(f"\n{head}")
        for text in texts:
            grid = Table.grid(padding=(0, 1))
            grid.add_row(mark, Text(text))
            console.print(grid)

    console.print(Text(done.told.sentence))
    console.print(Text(done.told.night))
    console.print("\nTo set")
    grid = Table.grid(padding=(0, 2))
    for one in done.told.camera_settings:
        grid.add_row(Text(one.label), Text(one.value + (f" ({one.hint})" if one.hint else "")))
    console.print(grid)
    table = Table(box=None, pad_edge=False, show_edge=False, title=None)
    table.add_column(done.animal.name)
    table.add_column("by day", justify="right")
    table.add_column("by night", justify="right")
    for row in setup_sheet.outcome_table(done.day, done.night):
        table.add_row(*(Text(cell) for cell in row))
    console.print("\nWhat it should give (± is the simulation's own error; the model's is larger)")
    console.print(table)
    lines("Try it", done.told.walk_test, "□")
    lines("Mind", done.told.cautions, "!")
    lines("And as always", done.told.usual_cautions, "-")
    lines("What this supposes", done.told.assumed, "-")

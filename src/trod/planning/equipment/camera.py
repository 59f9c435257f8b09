"""Cameras as their makers state them and as they really are.

Every figure may be stated by the maker, known from measuring (a walk test, a target, a meter), both or
neither. `CameraSpec.figure` gives the best there is and says which it is. CSV in and out, one camera a line.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Literal, get_args

from trod.errors import WrongInput

Flash = Literal["none", "white", "low glow", "no glow"]
Origin = Literal["measured", "claimed", "assumed"]
WHOLE = ("burst_max", "columns", "rows", "batteries")


@dataclass(frozen=True, kw_only=True)
class Figures:
    """One set of figures of a camera; None where nobody says.

    zone_deg, range_m : detection angle and range. fov_deg : horizontal angle of view. trigger_s : trigger
    time. rearm_s : recovery time, from the last picture until it listens again. burst_gap_s, burst_max :
    between pictures of a burst, and how many it can take. flash_reach_m : how far the flash lights.
    columns, rows : of the picture; what the maker claims may be enlarged, what is measured is the sensor's
    own. batteries : how many. idle_mw : drawn while waiting. wake_j : for each trigger, beside its pictures.
    day_frame_j, night_frame_j : for each picture.
    """

    zone_deg: float | None = None
    range_m: float | None = None
    fov_deg: float | None = None
    trigger_s: float | None = None
    rearm_s: float | None = None
    burst_gap_s: float | None = None
    burst_max: int | None = None
    flash_reach_m: float | None = None
    columns: int | None = None
    rows: int | None = None
    batteries: int | None = None
    idle_mw: float | None = None
    wake_j: float | None = None
    day_frame_j: float | None = None
    night_frame_j: float | None = None

    def __post_init__(self) -> None:
        for name, value in self.known():
            low, high, unit = LIMITS[name]
            whole = name in WHOLE
            if not (math.isfinite(value) and low <= value <= high) or (whole and value != int(value)):
                kind = "a whole number" if whole else "a number"
                raise WrongInput(name, got=value, needed=f"{kind} from {low:g} to {high:g}{unit}")

    def known(self) -> list[tuple[str, float]]:
        """The figures that are stated, by name."""
        return [(f.name, value) for f in fields(self) if (value := getattr(self, f.name)) is not None]


LIMITS: dict[str, tuple[float, float, str]] = {
    "zone_deg": (1, 170, " degrees"),
    "range_m": (0.5, 200, " m"),
    "fov_deg": (1, 170, " degrees"),
    "trigger_s": (0, 60, " s"),
    "rearm_s": (0, 3600, " s"),
    "burst_gap_s": (0, 60, " s"),
    "burst_max": (1, 100, ""),
    "flash_reach_m": (0, 200, " m"),
    "columns": (16, 60_000, " pixels"),
    "rows": (16, 60_000, " pixels"),
    "batteries": (0, 64, ""),
    "idle_mw": (0, 1000, " mW"),
    "wake_j": (0, 1000, " J"),
    "day_frame_j": (0, 1000, " J"),
    "night_frame_j": (0, 1000, " J"),
}
# What is taken where nobody says anything. All assumed; the energies so that a usual camera on twelve FR6 lasts six
# to twelve months, which is common practice (docs/models/endurance.md).
ASSUMED = Figures(
    zone_deg=45.0,
    range_m=18.0,
    fov_deg=41.0,
    trigger_s=1.0,
    rearm_s=5.0,
    burst_gap_s=1.0,
    burst_max=1,
    flash_reach_m=12.0,
    columns=2560,
    rows=1920,
    batteries=8,
    idle_mw=4.0,
    wake_j=5.0,
    day_frame_j=1.5,
    night_frame_j=10.0,
)


@dataclass(frozen=True)
class Known:
    """A figure and where it comes from."""

    value: float
    origin: Origin


@dataclass(frozen=True, kw_only=True)
class CameraSpec:
    """One kind of camera. battery : its batteries' designation by IEC 60086, such as "LR6"; "" when not known."""

    maker: str
    model: str
    flash: Flash = "low glow"
    battery: str = ""
    claimed: Figures = Figures()
    measured: Figures = Figures()
    note: str = ""

    def __post_init__(self) -> None:
        for what in ("maker", "model"):
            text = getattr(self, what)
            if not text.strip() or len(text) > 80:
                raise WrongInput(what, got=text, needed="a name of 1 to 80 characters")
        if self.flash not in get_args(Flash):
            raise WrongInput("flash", got=self.flash, needed="one of " + ", ".join(get_args(Flash)))

    @property
    def name(self) -> str:
        """Maker and model."""
        return f"{self.maker} {self.model}"

    def figure(self, name: str) -> Known:
        """The best there is of one figure: measured, else claimed, else assumed.

        Raises WrongInput for a figure that there is none of.
        """
        if name not in LIMITS:
            raise WrongInput("name", got=name, needed="one of " + ", ".join(LIMITS))
        sources: tuple[tuple[Figures, Origin], ...] = (
            (self.measured, "measured"),
            (self.claimed, "claimed"),
        )
        for figures, origin in sources:
            value = getattr(figures, name)
            if value is not None:
                return Known(float(value), origin)
        return Known(float(getattr(ASSUMED, name)), "assumed")

    def value(self, name: str) -> float:
        """The best there is of one figure, as a number."""
        return self.figure(name).value

    def enlarged(self) -> float | None:
        """How many of its pixels a camera claims for each that its sensor has; None when not known."""
        claim, own = self.claimed, self.measured
        if not (claim.columns and claim.rows and own.columns and own.rows):
            return None
        return claim.columns * claim.rows / (own.columns * own.rows)

    def with_measured(self, **found: float | int) -> CameraSpec:
        """The same camera with more figures known from measuring."""
        unknown = set(found) - set(LIMITS)
        if unknown:
            raise WrongInput("figure", got=sorted(unknown)[0], needed="one of " + ", ".join(LIMITS))
        kept = {
            name: int(value) if name in WHOLE and math.isfinite(value) and value == int(value) else value
            for name, value in found.items()
        }
        return replace(self, measured=replace(self.measured, **kept))  # type: ignore[arg-type]


TEXTS = ("maker", "model", "flash", "battery", "note")
COLUMNS = (*TEXTS, *(f"{kind}_{name}" for kind in ("claimed", "measured") for name in LIMITS))
MOST_BYTES = 2_000_000
# Spreadsheets take text that begins so for a formula; an apostrophe before it keeps it text.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def to_csv(specs: Iterable[CameraSpec]) -> str:
    """Cameras as CSV: UTF-8, commas, CRLF (RFC 4180); empty where a figure is not known.

    The columns are `COLUMNS`: maker, model, flash, battery, note, then every figure as claimed_… and as
    measured_…, units in their names.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for spec in specs:
        row: list[str] = []
        for name in TEXTS:
            text = getattr(spec, name).replace("\0", "")
            row.append(f"'{text}" if text.startswith(_FORMULA) else text)
        for figures in (spec.claimed, spec.measured):
            for name in LIMITS:
                value = getattr(figures, name)
                row.append("" if value is None else f"{value!r}")
        writer.writerow(row)
    return out.getvalue()


def from_csv(text: str) -> list[CameraSpec]:
    """Cameras from CSV with a heading line; columns in any order, those not known are refused by name.

    Raises WrongInput that names line and column.
    """
    if len(text) > MOST_BYTES:
        raise WrongInput("camera list", got=f"{len(text)} characters", needed=f"at most {MOST_BYTES}")
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff").replace("\0", "")), strict=True)
    specs: list[CameraSpec] = []
    try:
        head = [name.strip().lower() for name in next(reader, [])]
        _check_head(head)
        for row in reader:
            if any(battery.strip() for battery in row):
                specs.append(_spec_of(head, row, reader.line_num))
    except csv.Error as error:
        raise WrongInput(
            f"line {reader.line_num}", got=str(error), needed="comma-separated text with balanced quotes"
        ) from error
    return specs


def _check_head(head: Sequence[str]) -> None:
    for name in ("maker", "model"):
        if name not in head:
            raise WrongInput("heading line", got=", ".join(head)[:200], needed=f"a column named {name}")
    for name in head:
        if name not in COLUMNS:
            raise WrongInput(
                "heading line",
                got=name[:80],
                needed="columns named " + ", ".join(TEXTS) + ", claimed_… or measured_… and one of "
                + ", ".join(LIMITS),
            )  # fmt: skip
        if head.count(name) > 1:
            raise WrongInput("heading line", got=f"{name} twice", needed="each column once")


def _spec_of(head: Sequence[str], row: Sequence[str], line: int) -> CameraSpec:
    if len(row) > len(head):
        raise WrongInput(f"line {line}", got=f"{len(row)} batteries", needed=f"at most {len(head)}, as the heading")
    batteries = {name: battery.strip() for name, battery in zip(head, row, strict=False)}

    def text(name: str, default: str = "") -> str:
        found = batteries.get(name, "") or default
        return found[1:] if found[:1] == "'" and found[1:2] in _FORMULA else found

    def figures(kind: str) -> Figures:
        given: dict[str, float | int] = {}
        for name in LIMITS:
            written = batteries.get(f"{kind}_{name}", "")
            if not written:
                continue
            try:
                number = float(written)
                given[name] = int(number) if name in WHOLE and number == int(number) else number
            except (ValueError, OverflowError):
                raise WrongInput(
                    f"line {line}, {kind}_{name}",
                    got=written[:40],
                    needed="a number with a decimal point, or nothing",
                ) from None
        try:
            return Figures(**given)  # type: ignore[arg-type]
        except WrongInput as error:
            raise WrongInput(f"line {line}, {kind}_{error.what}", got=error.got, needed=error.needed) from None

    try:
        return CameraSpec(
            maker=text("maker"),
            model=text("model"),
            flash=text("flash", "low glow"),  # type: ignore[arg-type]
            battery=text("battery"),
            note=text("note"),
            claimed=figures("claimed"),
            measured=figures("measured"),
        )
    except WrongInput as error:
        if error.what.startswith("line"):
            raise
        raise WrongInput(f"line {line}, {error.what}", got=error.got, needed=error.needed) from None

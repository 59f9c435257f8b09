"""What the pages of camera models show: the maker's word beside what was measured, and which is taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from trod import wording
from trod.catalogue.models import CameraModel
from trod.catalogue.rows.specs import spec_of
from trod.planning.equipment.camera import WHOLE, CameraSpec
from trod.telling.measures import length
from trod.units import System
from trod.web.cameras.models_form import FIGURES, GROUPS

# A measured figure that is off by more than this share of the maker's is told. Ours.
WORTH_TELLING = 0.1


@dataclass(frozen=True)
class Line:
    """One figure in words. claimed, measured : "" when nobody says. taken, origin : what is reckoned with."""

    label: str
    claimed: str
    measured: str
    taken: str
    origin: str
    off: str = ""


def told(name: str, value: float | None, system: System) -> str:
    """A figure with its unit, in the person's lengths; "" for None."""
    if value is None:
        return ""
    figure = FIGURES[name]
    if figure.unit == "m":
        return length(value, system)
    text = f"{value:.0f}" if name in WHOLE else f"{value:.3g}"
    return f"{text}°" if figure.unit == "°" else f"{text} {figure.unit}".strip()


def figure_lines(spec: CameraSpec, system: System) -> list[tuple[str, list[Line]]]:
    """The figures by groups, each as claimed, as measured, and as taken."""
    return [(legend, [_line(spec, one.name, system) for one in figures]) for legend, figures in GROUPS]


def _line(spec: CameraSpec, name: str, system: System) -> Line:
    best = spec.figure(name)
    claimed, measured = getattr(spec.claimed, name), getattr(spec.measured, name)
    off = ""
    if claimed and measured is not None and abs(measured / claimed - 1) > WORTH_TELLING:
        share = measured / claimed
        little = f"{wording.share(abs(share - 1))} {'more' if share > 1 else 'less'} than stated"
        off = f"{share:.1f} times what is stated" if share >= 2 else little
    return Line(
        label=FIGURES[name].label,
        claimed=told(name, claimed, system),
        measured=told(name, measured, system),
        taken=told(name, best.value, system),
        origin=best.origin,
        off=off,
    )


def summary(row: CameraModel, spec: CameraSpec) -> str:
    """A model in one sentence."""
    flash = {"none": "without flash", "white": "with a white flash"}.get(spec.flash, f"with {spec.flash} infrared flash")
    if not row.flash:
        flash = "of which nobody says what flash it has"
    batteries = row.batteries or (
        f"{row.battery_count} × {row.battery_kind}" if row.battery_count and row.battery_kind else ""
    )
    known = {name for name in FIGURES if spec.figure(name).origin != "assumed"}
    measured = sum(spec.figure(name).origin == "measured" for name in FIGURES)
    text = f"A camera {flash}" + (f", run by {batteries}" if batteries else "") + ". "
    text += f"Of its {len(FIGURES)} figures {len(known)} are known" if known else "None of its figures is known yet"
    return text + (f", {measured} of them by measuring." if measured else ".")


def list_lines(rows: list[Any], system: System) -> list[dict[str, Any]]:
    """The list of models: what is taken of the figures that matter most, and where it comes from."""
    lines = []
    for row in rows:
        spec = spec_of(row)
        lines.append(
            {
                "model": row,
                "figures": [
                    (
                        FIGURES[name].label,
                        "" if spec.figure(name).origin == "assumed" else told(name, spec.value(name), system),
                        spec.figure(name).origin,
                    )
                    for name in ("trigger_s", "rearm_s", "range_m", "fov_deg")
                ],
                "enlarged": spec.enlarged(),
            }
        )
    return lines

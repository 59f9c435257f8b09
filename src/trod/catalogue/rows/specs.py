"""Camera models as rows, and as the one record the planning room reckons with: each made of the other."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.db import transaction

from trod.catalogue.models import CameraModel
from trod.catalogue.slugs import free_slug, slug_from
from trod.errors import WrongInput
from trod.planning.equipment.camera import LIMITS, CameraSpec, Figures

# The maker's figures: their name in `Figures`, and the row's column.
COLUMN_OF = {
    "zone_deg": "detection_angle_deg",
    "range_m": "detection_range_m",
    "fov_deg": "field_of_view_deg",
    "trigger_s": "trigger_time_s",
    "rearm_s": "recovery_time_s",
    "burst_gap_s": "burst_gap_s",
    "burst_max": "burst_max",
    "flash_reach_m": "flash_range_m",
    "columns": "columns",
    "rows": "rows",
    "batteries": "battery_count",
    "idle_mw": "idle_mw",
    "wake_j": "wake_j",
    "day_frame_j": "day_frame_j",
    "night_frame_j": "night_frame_j",
}
FLASH_OF = {"none": "none", "white": "white", "low_glow": "low glow", "no_glow": "no glow"}
ROW_FLASH = {word: row for row, word in FLASH_OF.items()}


def spec_of(row: CameraModel) -> CameraSpec:
    """A row as a `CameraSpec`. What cannot be true (an old row, a hand-edited file) is left out as unknown.

    Where only megapixels are told, columns and rows are those of a 4:3 picture of that size; the sensor's
    own size counts as measured, the claimed one as claimed. A row without flash counts as low glow.
    """
    claimed = {name: getattr(row, column) for name, column in COLUMN_OF.items()}
    measured = {name: value for name, value in (row.measured or {}).items() if name in LIMITS}
    for figures, megapixels in ((claimed, row.claimed_megapixels), (measured, row.native_megapixels)):
        if megapixels and not (figures.get("columns") and figures.get("rows")):
            figures["columns"], figures["rows"] = _four_to_three(megapixels)
    return CameraSpec(
        maker=row.maker,
        model=row.name,
        flash=FLASH_OF.get(row.flash, "low glow"),  # type: ignore[arg-type]
        battery=row.battery_kind,
        claimed=_possible(claimed),
        measured=_possible(measured),
        note=row.note,
    )


def _four_to_three(megapixels: float) -> tuple[int, int]:
    rows = round((megapixels * 1e6 * 3 / 4) ** 0.5)
    return round(rows * 4 / 3), rows


def _possible(values: dict[str, Any]) -> Figures:
    good: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, int | float) and not isinstance(value, bool):
            try:
                Figures(**{name: value})  # type: ignore[arg-type]  # any of its numbers
            except (WrongInput, OverflowError):
                continue
            good[name] = value
    return Figures(**good)


@transaction.atomic
def store(spec: CameraSpec) -> tuple[CameraModel, bool]:
    """Keep a spec as a row, known again by maker and model. Returns the row and whether it is new.

    What the spec does not say stays as it was in the row.
    """
    row = CameraModel.objects.filter(maker__iexact=spec.maker, name__iexact=spec.model).first()
    new = row is None
    if row is None:
        slug = free_slug(CameraModel, slug_from(spec.name, "model"))
        row = CameraModel(maker=spec.maker, name=spec.model, slug=slug)
    row.flash = ROW_FLASH[spec.flash]
    if spec.battery:
        row.battery_kind = spec.battery
    if spec.note:
        row.note = spec.note
    for name, value in spec.claimed.known():
        setattr(row, COLUMN_OF[name], value)
    figures = asdict(spec.measured)
    row.measured = {**(row.measured or {}), **{name: value for name, value in figures.items() if value is not None}}
    if row.battery_count and row.battery_kind and not row.batteries:
        row.batteries = f"{row.battery_count} × {row.battery_kind}"
    row.full_clean(validate_unique=False)
    row.save()
    return row, new

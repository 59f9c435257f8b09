"""The form of a camera model: each figure once as its maker states it and once as it was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trod.catalogue.models import CameraModel
from trod.catalogue.rows.specs import COLUMN_OF
from trod.planning.equipment.batteries import BATTERIES
from trod.planning.equipment.camera import LIMITS, WHOLE
from trod.web.forms.common import RecordForm, box, unit_of

OTHER = "other"
BATTERY_WORDS = {
    "LR6": "LR6: alkaline, AA",
    "FR6": "FR6: lithium, AA",
    "HR6": "HR6: rechargeable (nickel-metal hydride), AA",
    "external": "external battery",
}


@dataclass(frozen=True)
class Figure:
    """One figure of a camera: its name in `Figures`, what a person reads, its unit and a hint."""

    name: str
    label: str
    unit: str = ""
    hint: str = ""


GROUPS: tuple[tuple[str, tuple[Figure, ...]], ...] = (
    (
        "Sensing",
        (
            Figure("zone_deg", "Detection angle", "°"),
            Figure("range_m", "Detection range", "m", "a deer-sized animal on a cool day"),
        ),
    ),
    (
        "Timing",
        (
            Figure("trigger_s", "Trigger time", "s", "from the animal in the zone to the picture"),
            Figure("rearm_s", "Recovery time", "s", "from the last picture until it listens again"),
            Figure("burst_max", "Most pictures a burst"),
            Figure("burst_gap_s", "Between pictures of a burst", "s"),
        ),
    ),
    (
        "Picture and flash",
        (
            Figure("fov_deg", "Field of view", "°", "from left to right"),
            Figure("columns", "Picture's columns", "pixels", "measured: those that the sensor has of its own"),
            Figure("rows", "Picture's rows", "pixels"),
            Figure("flash_reach_m", "Flash reach", "m"),
        ),
    ),
    (
        "Energy",
        (
            Figure("idle_mw", "Drawn while waiting", "mW"),
            Figure("wake_j", "A trigger, beside its pictures", "J"),
            Figure("day_frame_j", "A picture by day", "J"),
            Figure("night_frame_j", "A picture by night, with flash", "J"),
        ),
    ),
)
FIGURES = {figure.name: figure for _, figures in GROUPS for figure in figures}
# Megapixels stand beside columns and rows for whoever knows no more; `specs.spec_of` makes a 4:3 picture of them.
MEGAPIXELS = Figure("megapixels", "Or its size", "megapixels", "taken where columns and rows are empty")


def measured_name(figure: str) -> str:
    """The form's field for what was measured of a figure."""
    return f"measured_{figure}"


class CameraModelForm(RecordForm):
    """A kind of camera: what its maker states, and what was measured."""

    slug_otherwise = "model"
    battery_kind = forms.ChoiceField(
        label="Kind of batteries",
        required=False,
        help_text="by IEC 60086 and IEC 61951-2, as printed on the battery",
        choices=[
            ("", "unknown"),
            *((name, BATTERY_WORDS.get(name, name)) for name in BATTERIES),
            (OTHER, "another kind"),
        ],
    )
    battery_other = forms.CharField(
        label="If another, its designation", required=False, max_length=12, help_text="such as LR20 or CR123A"
    )

    class Meta:
        model = CameraModel
        fields = (
            "maker",
            "name",
            "flash",
            "battery_count",
            "battery_kind",
            "batteries",
            *(COLUMN_OF[name] for name in FIGURES),
            "claimed_megapixels",
            "native_megapixels",
            "note",
        )
        labels = {"batteries": "Batteries, in words", "name": "Model"}
        help_texts = {"batteries": "left empty: made of their number and kind", "battery_count": ""}

    def __init__(self, *args: Any, **more: Any) -> None:
        row = more.get("instance")
        measured = (row.measured if row is not None else None) or {}
        shown = {measured_name(name): measured.get(name) for name in FIGURES}
        if row is not None and row.battery_kind and row.battery_kind not in BATTERIES:
            shown |= {"battery_kind": OTHER, "battery_other": row.battery_kind}
        super().__init__(*args, **{**more, "initial": {**shown, **(more.get("initial") or {})}})
        box(self, "flash", forms.ChoiceField).choices = [("", "unknown"), *CameraModel.Flash.choices]
        for name in FIGURES:
            field = (forms.IntegerField if name in WHOLE else forms.FloatField)(required=False)
            self.fields[measured_name(name)] = field
            self._measure(measured_name(name), field)
            # `RecordForm.clean` asks the row for what was not touched.
            setattr(self.instance, measured_name(name), measured.get(name))
            low, high, _ = LIMITS[name]
            self.limits[measured_name(name)] = (low, high)
            told_low, told_high = self.limits.get(COLUMN_OF[name], (None, None))
            self.limits[COLUMN_OF[name]] = (
                low if told_low is None else max(low, told_low),
                high if told_high is None else min(high, told_high),
            )
        self.limits |= {"claimed_megapixels": (0.01, 1000.0), "native_megapixels": (0.01, 1000.0)}

    def figure_groups(self) -> list[dict[str, Any]]:
        """The figures with both their fields, for the template."""
        groups: list[dict[str, Any]] = [
            {"legend": legend, "rows": [self._row(one) for one in figures]} for legend, figures in GROUPS
        ]
        places = [i for i, group in enumerate(groups) if any(row["name"] == "rows" for row in group["rows"])]
        for i in places:
            after = next(n for n, row in enumerate(groups[i]["rows"]) if row["name"] == "rows") + 1
            groups[i]["rows"].insert(
                after,
                self._pair(MEGAPIXELS, self["claimed_megapixels"], self["native_megapixels"]),
            )
        return groups

    def _row(self, figure: Figure) -> dict[str, Any]:
        return self._pair(figure, self[COLUMN_OF[figure.name]], self[measured_name(figure.name)])

    def _pair(self, figure: Figure, claimed: forms.BoundField, measured: forms.BoundField) -> dict[str, Any]:
        unit = unit_of(figure.name, self.units)
        return {
            "name": figure.name,
            "label": figure.label,
            "unit": unit.sign if unit and figure.unit else figure.unit,
            "hint": figure.hint,
            "claimed": claimed,
            "measured": measured,
        }

    def clean_battery_other(self) -> str:
        return str(self.cleaned_data["battery_other"]).strip()

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if data.get("battery_kind") == OTHER:
            data["battery_kind"] = data.get("battery_other", "")
            if not data["battery_kind"]:
                self.add_error(
                    "battery_other",
                    ValidationError("write the designation that is printed on the battery, such as LR20"),
                )
        count, kind = data.get("battery_count"), data.get("battery_kind")
        made_before = _batteries_in_words(self.initial.get("battery_count"), self.instance.battery_kind)
        if count and kind and data.get("batteries", "") in ("", made_before):
            data["batteries"] = _batteries_in_words(count, kind)
        return data

    def save(self, commit: bool = True) -> Any:
        """Keep what was measured beside what else stands in `measured`."""
        kept = {name: value for name, value in (self.instance.measured or {}).items() if name not in FIGURES}
        told = {name: self.cleaned_data.get(measured_name(name)) for name in FIGURES}
        self.instance.measured = kept | {name: value for name, value in told.items() if value is not None}
        return super().save(commit)

    def slug_text(self) -> str:
        return f"{self.cleaned_data['maker']} {self.cleaned_data['name']}"


def _batteries_in_words(count: Any, kind: str) -> str:
    return f"{count} × {kind}" if count and kind else ""

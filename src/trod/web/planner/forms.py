"""What is asked on the placement planner, in the person's units, and read back as inputs.

An input left empty is left to the advice. The same names stand in the page's address, so a placement planner can be
kept as a bookmark; `units` says in which units its numbers are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trod import wording
from trod.catalogue.models import Site
from trod.errors import WrongInput
from trod.planning.catch.animals import ANIMALS
from trod.planning.place import inputs as entered
from trod.planning.place.advice import PASSED, STAYED
from trod.telling.measures import figure
from trod.telling.settings import AIMS
from trod.web.forms.common import box
from trod.web.planner import units as shown_units

COVER_WORDS = {"open": "open ground", "low plants": "low plants", "tall grass": "tall grass", "scrub": "scrub",
               "wood": "wood"}  # fmt: skip
WORDS: dict[str, list[tuple[str, str]]] = {
    "animal": [(animal.key, animal.name) for animal in ANIMALS],
    "aim": list(AIMS.items()),
    "pace": list(entered.PACES.items()),
    "holder": [("trunk", "a tree, within reach"), ("post", "a post"), ("ladder", "a tree or pole, by ladder")],
    "feature": [(value, str(label)) for value, label in Site.Feature.choices],
    "side": [("", "either side"), ("left", "on the left"), ("right", "on the right")],
    "cover": list(COVER_WORDS.items()),
}
LABELS = {
    "animal": "Animal", "camera_model": "Camera", "aim": "What you want to know", "pace": "How it goes",
    "holder": "It hangs on", "feature": "What draws them here", "side": "Your tree, for one who walks that way",
    "cover": "What grows in the view", "height_m": "Lens height", "aim_distance_m": "Aim point",
    "heading_deg": "Heading, true", "angle_deg": "Angle to the path", "offset_m": "From the tree to the path",
    "slope_deg": "Slope, falling away +", "path_bearing_deg": "Path's bearing, true",
    "snow_deepest_m": "Deepest usual snow", "canopy_percent": "Sky covered by the canopy",
    "highest_m": "As high as you can work", "case_height_mm": "Height of its case",
    "patch_near_m": "Ground watched, near edge", "patch_far_m": "Ground watched, far edge",
    "patch_width_m": "Ground watched, width", "herd": "Animals at once", "night_share": "Triggers by night",
    "tree_diameter_cm": "Thickness", "tree_height_m": "Height of the tree", "tree_lean_deg": "Lean",
    "branch_height_m": "Lowest branch, height of its tip", "branch_length_m": "Lowest branch, length",
    "branch_diameter_mm": "Lowest branch, thickness", "branch_distance_m": "Lowest branch, from the lens",
    "declination_deg": "Declination, east +",
    "air_cold_c": "Coldest usual air", "air_warm_c": "Warmest usual air", "triggers": "Triggers a day",
    "days": "Days until the next visit", "card_gb": "Card", "speed_mps": "One speed",
    "tree_dead": "dead wood", "branch_evergreen": "evergreen", "horizon": "Hills around, as bearing and height",
}  # fmt: skip
HINTS = {
    "path_bearing_deg": "with it the camera can be turned",
    "angle_deg": "0 along the path, 90 straight across",
    "heading_deg": "by map or corrected compass",
    "snow_deepest_m": "or month by month, below",
    "declination_deg": "of the compass needle, for place and year",
    "horizon": "pairs such as 90 12, 120 18: bearing 90°, 12° high",
    "speed_mps": "instead of its usual gaits",
}
# Left to the advice when empty.
FREE = ("height_m", "aim_distance_m", "heading_deg", "angle_deg")
PASS, STAY = "pass", "stay"


@dataclass(frozen=True)
class Group:
    """Fields that stand together. open : whether it stands open. when : only where animals pass, or stay; "" always."""

    legend: str
    names: tuple[str, ...]
    open: bool = False


GROUPS = (
    Group("Who comes, and what for", ("animal", "camera_model", "aim", "pace"), True),
    Group("How it hangs", ("height_m", "aim_distance_m", "angle_deg", "heading_deg", "holder", "highest_m"), True),
    Group("The place", ("feature", "offset_m", "path_bearing_deg", "side", "slope_deg", "cover"), True),
    Group("A herd, and the ground watched", ("herd", "patch_near_m", "patch_far_m", "patch_width_m")),
    Group("Snow, and when it stands", ("snow_deepest_m",)),
    Group(
        "Tree and branch",
        ("tree_diameter_cm", "tree_height_m", "tree_lean_deg", "tree_dead", "branch_height_m", "branch_length_m",
         "branch_diameter_mm", "branch_distance_m", "branch_evergreen"),
    ),
    Group("Air, compass, hills", ("air_cold_c", "air_warm_c", "declination_deg", "canopy_percent", "horizon")),
    Group("Card, triggers, case", ("triggers", "night_share", "days", "card_gb", "case_height_mm", "speed_mps")),
)  # fmt: skip
WHEN = {
    "pace": PASS, "angle_deg": PASS, "offset_m": PASS, "path_bearing_deg": PASS, "side": PASS, "speed_mps": PASS,
    "patch_near_m": STAY, "patch_far_m": STAY, "patch_width_m": STAY,
}  # fmt: skip
# What belongs to the place: in columns of Site, and in its `ground`.
SITE_COLUMNS = ("slope_deg", "path_bearing_deg", "canopy_percent", "tree_diameter_cm", "feature")
SITE_GROUND = (
    "offset_m", "side", "cover", "snow_m", "horizon", "tree_height_m", "tree_lean_deg", "tree_dead", "post",
    "branch_height_m", "branch_length_m", "branch_diameter_mm", "branch_distance_m", "branch_evergreen",
    "patch_near_m", "patch_far_m", "patch_width_m", "air_cold_c", "air_warm_c", "declination_deg",
)  # fmt: skip
CHOSEN = ("aim", "pace", "holder", "feature", "side", "cover")
TICKS = ("tree_dead", "branch_evergreen")
EXTRA_LIMITS = {
    "angle_deg": entered.Limit(
        low=5, high=90, step=5, unit="°", least=1, most=90, label="angle to the path", usual=None
    ),
    "snow_deepest_m": entered.Limit(
        low=0, high=3, step=0.05, unit="m", least=0, most=entered.SNOW_MOST_M, label="deepest usual snow", usual=0
    ),
}
LIMITS = {**entered.LIMITS, **EXTRA_LIMITS}


def out_of_place(feature: str) -> list[str]:
    """Boxes that say nothing at such a place: of a path where animals stay, of a patch where they pass."""
    if feature in PASSED:
        return [key for key, when in WHEN.items() if when == STAY]
    return [key for key, when in WHEN.items() if when == PASS] if feature in STAYED else []


class Choice(forms.ChoiceField):
    """A word of a list. when : where it says something, see WHEN."""

    default_error_messages = {"invalid_choice": "choose one of the list", "required": "choose one of the list"}

    def __init__(self, *, when: str = "", **more: Any) -> None:
        self.when = when
        super().__init__(**more)


class Amount(forms.Field):
    """A number in the person's units, read as the input's own. Empty: None. when : where it says something.

    free : left to the advice when empty.
    """

    def __init__(self, name: str, units: str, *, when: str = "", free: bool = False, **more: Any) -> None:
        self.limit, self.when, self.free = LIMITS[name], when, free
        self.unit = shown_units.shown(name, self.limit, units)
        self.slider = shown_units.slider(self.limit, self.unit)
        attrs = {"inputmode": "decimal", "step": self.slider.step, "autocomplete": "off"}
        attrs["placeholder"] = "" if free else shown_units.text(self.limit.usual, self.unit, about=True)
        widget = forms.NumberInput(attrs | ({"data-free": True} if free else {}))
        super().__init__(required=False, widget=widget, **more)

    def to_python(self, value: Any) -> float | None:
        words = str(value or "").strip()
        if not words:
            return None
        limit, unit = self.limit, self.unit
        try:
            stored = shown_units.read(words, unit)
        except ValueError:
            raise ValidationError(f"got “{words[:20]}”; needed: a number") from None
        # Limits hold to the last digit shown, so that a slider's own end and what was kept are never refused.
        slack = 1e-6 if unit.size == 1 else 0.0051 * abs(unit.size)
        if not limit.least - slack <= stored <= limit.most + slack or (limit.whole and stored != int(stored)):
            kind = "a whole number" if limit.whole else "a number"
            low, high = (figure(unit.from_stored(end), 3) for end in (limit.least, limit.most))
            raise ValidationError(f"got {words[:20]}; needed: {kind} from {low} to {high} {unit.sign}".strip())
        found = round(min(max(stored, limit.least), limit.most), 4)
        return int(found) if limit.whole else found


def _field(name: str, units: str, models: list[tuple[str, str]]) -> forms.Field:
    """The field of an input, by what kind of input it is."""
    about: dict[str, Any] = {
        "label": LABELS.get(name) or LIMITS[name].label.capitalize(), "help_text": HINTS.get(name, ""),
    }  # fmt: skip
    when = WHEN.get(name, "")
    if name == "camera_model" or name in WORDS:
        return Choice(choices=WORDS.get(name, models), required=name == "animal", when=when, **about)
    if name in TICKS:
        return forms.BooleanField(required=False, **about)
    if name == "horizon":
        return forms.CharField(required=False, widget=forms.TextInput({"autocomplete": "off"}), **about)
    return Amount(name, units, when=when, free=name in FREE, **about)


class PlannerForm(forms.Form):
    """The placement planner's boxes, made of one table of inputs.

    told : what stands in the boxes, as text in the person's units. units : 'metric' or 'us'.
    """

    use_required_attribute = False

    def __init__(self, told: Mapping[str, str], *, units: str, models: list[tuple[str, str]]) -> None:
        self.units = units
        super().__init__(told, auto_id="b-%s")
        self.fields |= {name: _field(name, units, models) for group in GROUPS for name in group.names}
        for n, month in enumerate(wording.MONTHS, 1):
            self.fields[f"month_{n}"] = forms.BooleanField(required=False, label=month)
            self.fields[f"snow_{n}"] = Amount("snow_deepest_m", units, label=f"Snow in {month}")

    # --- from and to inputs --------------------------------------------------------------------

    @classmethod
    def of_inputs(
        cls, inputs: Mapping[str, Any], *, animal: str, camera_model: str, units: str, models: list[tuple[str, str]]
    ) -> PlannerForm:
        """A form filled with inputs."""
        told: dict[str, str] = {"animal": animal, "camera_model": camera_model, "units": units}
        for key, value in inputs.items():
            if key in LIMITS:
                told[key] = shown_units.text(value, shown_units.shown(key, LIMITS[key], units))
            elif key == "snow_m" and value:
                unit = shown_units.shown("snow_deepest_m", LIMITS["snow_deepest_m"], units)
                if len(set(value)) == 1:
                    told["snow_deepest_m"] = shown_units.text(value[0], unit)
                else:
                    told |= {f"snow_{i}": shown_units.text(depth, unit) for i, depth in enumerate(value, 1)}
            elif key == "months":
                told |= {f"month_{i}": "on" for i in value}
            elif key in TICKS:
                told[key] = "on" if value else ""
            elif isinstance(value, str):
                told[key] = value
        if inputs.get("branch_evergreen", True):
            told["branch_evergreen"] = "on"
        if not inputs.get("months"):
            told |= {f"month_{i}": "on" for i in range(1, 13)}
        return cls(told, units=units, models=models)

    @property
    def animal_key(self) -> str:
        """The animal's key."""
        return str(self.data.get("animal", ""))

    @property
    def model_slug(self) -> str:
        """The camera model's slug."""
        return str(self.data.get("camera_model", ""))

    def clean(self) -> dict[str, Any]:
        """What belongs together. What says nothing at such a place is neither taken nor found wrong."""
        found = {name: value for name, value in self.cleaned_data.items() if value or type(value) in (int, float)}
        idle = set(out_of_place(found.get("feature", "trail")))
        if any(f"snow_{n}" in found for n in range(1, 13)):
            idle.add("snow_deepest_m")  # month by month goes before it
        for name in idle:
            found.pop(name, None)
            self.errors.pop(name, None)
        if "angle_deg" in found and "heading_deg" not in found and "path_bearing_deg" not in found:
            del found["angle_deg"]
            self.add_error("angle_deg", "tell the path's bearing, below, and the camera can be turned")
        return found

    def inputs(self) -> dict[str, Any]:
        """What is entered. What cannot be read stands in `errors`, and is left out."""
        self.is_valid()
        told: dict[str, Any] = self.cleaned_data
        found = {key: told[key] for key in (*entered.LIMITS, *CHOSEN) if key in told}
        if text := " ".join(told.get("horizon", "").split()):
            found["horizon"] = text
        if "tree_diameter_cm" not in found:
            found = {key: value for key, value in found.items() if key not in entered.TREE_INPUTS}
        elif "tree_dead" in told:
            found["tree_dead"] = True
        if "branch_height_m" not in found:
            found = {key: value for key, value in found.items() if key not in entered.BRANCH_INPUTS}
        elif "branch_evergreen" not in told:
            found["branch_evergreen"] = False
        if "speed_mps" in found:
            found.pop("pace", None)
        months = [n for n in range(1, 13) if f"month_{n}" in told]
        if 0 < len(months) < 12:
            found["months"] = months
        if any(f"snow_{n}" in told for n in range(1, 13)):
            found["snow_m"] = [told.get(f"snow_{n}", 0.0) for n in range(1, 13)]
        elif "snow_deepest_m" in told:
            found["snow_m"] = [told["snow_deepest_m"]] * 12
        if "angle_deg" in told and "heading_deg" not in found:
            found["angle_deg"] = told["angle_deg"]  # becomes a heading: `answers.turned`
        return found

    def refused(self, trouble: WrongInput) -> None:
        """A refusal of the models, at its box if there is one."""
        if trouble.what in self.fields:
            self.add_error(trouble.what, f"got {str(trouble.got)[:40]}; needed: {trouble.needed}")
        else:
            self.add_error(None, str(trouble))

    def problems(self) -> list[str]:
        """All that is wrong, a sentence each."""
        return [
            f"{self.fields[name].label}: {why}." if name in self.fields else f"{why}."
            for name, whys in self.errors.items()
            for why in whys
        ]

    # --- for the page ---------------------------------------------------------------------------

    def advise(self, advised: Mapping[str, float | None]) -> dict[str, str]:
        """Show in the free boxes what the advice puts there; the same as text in the person's units."""
        told = {
            name: shown_units.text(value, box(self, name, Amount).unit, about=True) for name, value in advised.items()
        }
        for name, words in told.items():
            self.fields[name].widget.attrs["placeholder"] = words
        return told

    def groups(self) -> list[tuple[Group, list[forms.BoundField]]]:
        """All boxes by group."""
        return [(group, [self[name] for name in group.names]) for group in GROUPS]

    def open_groups(self) -> set[str]:
        """Legends of the groups that stand open: the usual ones, those with errors and those something is told in."""
        told = set()
        for group, boxes in self.groups():
            if group.open or any(box.errors or (box.value() and isinstance(box.field, Amount)) for box in boxes):
                told.add(group.legend)
        if any(self.data.get(f"snow_{i}") for i in range(1, 13)):
            told.add("Snow, and when it stands")
        return told

    def months(self) -> list[dict[str, Any]]:
        """The twelve months: whether it stands in each, and the usual snow."""
        return [
            {"n": i, "name": wording.SHORT_MONTHS[i - 1], "long": wording.MONTHS[i - 1],
             "stands": bool(self.data.get(f"month_{i}")), "snow": self.data.get(f"snow_{i}", ""),
             "error": f"snow_{i}" in self.errors}
            for i in range(1, 13)
        ]  # fmt: skip

    def query(self) -> dict[str, str]:
        """What is told, for the page's address; empty boxes are left out."""
        kept = {name: value[:2000] for name, value in self.data.items() if value and name in {"units", *self.fields}}
        if all(kept.get(f"month_{i}") for i in range(1, 13)):
            kept = {name: value for name, value in kept.items() if not name.startswith("month_")}
        return kept

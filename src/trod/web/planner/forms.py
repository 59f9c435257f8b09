"""What is asked on the placement planner, in the person's units, and read back as inputs.

An input left empty is left to the advice. The same names stand in the page's address, so a placement planner can be kept
as
a bookmark; `units` says in which units its numbers are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from trod.catalogue.models import Site
from trod.errors import WrongInput
from trod.planning.catch.animals import ANIMALS, BY_KEY
from trod.planning.ground.site import MONTHS
from trod.planning.place import inputs as entered
from trod.planning.place.advice import PASSED, STAYED
from trod.planning.place.adviser import AIMS
from trod.telling.measures import figure
from trod.web.planner import units as shown_units

MONTH_LETTERS = tuple(name[:3] for name in MONTHS)
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


@dataclass
class Box:
    """One field as it is drawn."""

    name: str
    label: str
    kind: str
    value: str = ""
    unit: str = ""
    slider: shown_units.Slider | None = None
    choices: list[tuple[str, str]] = field(default_factory=list)
    hint: str = ""
    when: str = ""
    free: bool = False
    usual: str = ""
    error: str = ""
    checked: bool = False

    @property
    def id(self) -> str:
        return f"b-{self.name}"

    @property
    def described(self) -> str:
        """The ids of its hint and error."""
        return " ".join(filter(None, (f"{self.id}-hint" if self.hint else "", f"{self.id}-error" if self.error else "")))


class PlannerForm:
    """The placement planner's boxes. Not a Django form: some forty boxes follow one table of inputs.

    told : what stands in the boxes, as text in the person's units. units : 'metric' or 'us'.
    """

    def __init__(self, told: Mapping[str, str], *, units: str, models: list[tuple[str, str]]) -> None:
        self.told, self.units, self.models = told, units, models
        self.errors: dict[str, str] = {}
        self.general: list[str] = []

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
    def animal(self) -> str:
        """The animal's key."""
        return self.told.get("animal", "")

    @property
    def camera_model(self) -> str:
        """The camera model's slug."""
        return self.told.get("camera_model", "")

    def inputs(self) -> dict[str, Any]:
        """What is entered. What cannot be read stands in `errors`, and is left out."""
        found: dict[str, Any] = {}
        for key in entered.LIMITS:
            if (value := self._number(key)) is not None:
                found[key] = int(value) if entered.LIMITS[key].whole else value
        for key in ("aim", "pace", "holder", "feature", "side", "cover"):
            word = self.told.get(key, "")
            if word and word not in dict(WORDS[key]):
                self.errors[key] = "choose one of the list"
            elif word:
                found[key] = word
        if self.animal not in BY_KEY:
            self.errors["animal"] = "choose one of the list"
        for key in out_of_place(found.get("feature", "trail")):
            found.pop(key, None)
            self.errors.pop(key, None)
        if text := " ".join(self.told.get("horizon", "").split()):
            found["horizon"] = text
        if found.get("tree_diameter_cm") is not None and self.told.get("tree_dead"):
            found["tree_dead"] = True
        if found.get("tree_diameter_cm") is None:
            for key in entered.TREE_INPUTS:
                found.pop(key, None)
        if found.get("branch_height_m") is None:
            for key in entered.BRANCH_INPUTS:
                found.pop(key, None)
        elif not self.told.get("branch_evergreen"):
            found["branch_evergreen"] = False
        if "speed_mps" in found:
            found.pop("pace", None)
        months = [i for i in range(1, 13) if self.told.get(f"month_{i}")]
        if 0 < len(months) < 12:
            found["months"] = months
        if snow := self._snow():
            found["snow_m"] = snow
        angle = None if "angle_deg" in out_of_place(found.get("feature", "trail")) else self._number("angle_deg")
        if angle is not None and "heading_deg" not in found:
            if "path_bearing_deg" in found:
                found["angle_deg"] = angle  # becomes a heading: `answers.turned`
            else:
                self.errors["angle_deg"] = "tell the path's bearing, below, and the camera can be turned"
        return found

    def _snow(self) -> list[float]:
        depths = [self._number(f"snow_{i}", like="snow_deepest_m") for i in range(1, 13)]
        if any(depth is not None for depth in depths):
            return [depth or 0.0 for depth in depths]
        deepest = self._number("snow_deepest_m")
        return [deepest] * 12 if deepest else []

    def _number(self, name: str, *, like: str = "") -> float | None:
        text = self.told.get(name, "").strip()
        if not text:
            return None
        limit = LIMITS[like or name]
        unit = shown_units.shown(like or name, limit, self.units)
        try:
            stored = shown_units.read(text, unit)
        except ValueError:
            self.errors[name] = f"got “{text[:20]}”; needed: a number"
            return None
        # Limits hold to the last digit shown, so that a slider's own end and what was kept are never refused.
        slack = 1e-6 if unit.size == 1 else 0.0051 * abs(unit.size)
        if not limit.least - slack <= stored <= limit.most + slack or (limit.whole and stored != int(stored)):
            kind = "a whole number" if limit.whole else "a number"
            low, high = (figure(unit.from_stored(end), 3) for end in (limit.least, limit.most))
            self.errors[name] = f"got {text[:20]}; needed: {kind} from {low} to {high} {unit.sign}".strip()
            return None
        return round(min(max(stored, limit.least), limit.most), 4)

    def refused(self, trouble: WrongInput) -> None:
        """A refusal of the models, at its box if there is one."""
        if trouble.what in LIMITS or trouble.what in WORDS or trouble.what in ("horizon",):
            self.errors[trouble.what] = f"got {str(trouble.got)[:40]}; needed: {trouble.needed}"
        else:
            self.general.append(str(trouble))

    # --- for the page ---------------------------------------------------------------------------

    def box(self, name: str) -> Box:
        """One field as it is drawn."""
        label = LABELS.get(name) or LIMITS[name].label.capitalize()
        common: dict[str, Any] = {
            "hint": HINTS.get(name, ""), "when": WHEN.get(name, ""), "error": self.errors.get(name, ""),
            "value": self.told.get(name, ""),
        }  # fmt: skip
        if name == "camera_model":
            return Box(name, label, "choice", choices=self.models, **common)
        if name in WORDS:
            return Box(name, label, "choice", choices=WORDS[name], **common)
        if name in TICKS:
            return Box(name, label, "tick", checked=bool(self.told.get(name)), **common)
        if name == "horizon":
            return Box(name, label, "text", **common)
        limit = LIMITS[name]
        unit = shown_units.shown(name, limit, self.units)
        usual = shown_units.text(limit.usual, unit, about=True) if limit.usual is not None else ""
        return Box(
            name, label, "number", unit=unit.sign, slider=shown_units.slider(limit, unit), free=name in FREE,
            usual=usual, **common,
        )  # fmt: skip

    def groups(self) -> list[tuple[Group, list[Box]]]:
        """All boxes by group."""
        return [(group, [self.box(name) for name in group.names]) for group in GROUPS]

    def open_groups(self) -> set[str]:
        """Legends of the groups that stand open: the usual ones, those with errors and those something is told in."""
        told = set()
        for group, boxes in self.groups():
            if group.open or any(box.error or (box.value and box.kind == "number") for box in boxes):
                told.add(group.legend)
        if any(self.told.get(f"snow_{i}") for i in range(1, 13)):
            told.add("Snow, and when it stands")
        return told

    def months(self) -> list[dict[str, Any]]:
        """The twelve months: whether it stands in each, and the usual snow."""
        return [
            {"n": i, "name": MONTH_LETTERS[i - 1], "long": MONTHS[i - 1], "stands": bool(self.told.get(f"month_{i}")),
             "snow": self.told.get(f"snow_{i}", ""), "error": self.errors.get(f"snow_{i}", "")}
            for i in range(1, 13)
        ]  # fmt: skip

    def query(self) -> dict[str, str]:
        """What is told, for the page's address; empty boxes are left out."""
        names = {"animal", "camera_model", "units", *WORDS, *LIMITS, *TICKS, "horizon"}
        names |= {f"{word}_{i}" for word in ("snow", "month") for i in range(1, 13)}
        kept = {name: value[:2000] for name, value in self.told.items() if name in names and value}
        if all(kept.get(f"month_{i}") for i in range(1, 13)):
            kept = {name: value for name, value in kept.items() if not name.startswith("month_")}
        return kept

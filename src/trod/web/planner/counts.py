"""First pictures counted by eye, as they are typed, and the path that they are reckoned for."""

from __future__ import annotations

from typing import Any

from django import forms

from trod import units
from trod.planning.catch import animals
from trod.planning.catch.calibrate import FirstPictures
from trod.planning.catch.crossing import Path
from trod.units import System
from trod.web.forms.measured import MeasureField

COUNTS = ("empty", "cut", "whole")
MOST = 999_999


class Count(forms.IntegerField):
    """How many pictures; nothing is none."""

    def __init__(self, label: str) -> None:
        wrong = dict.fromkeys(("invalid", "min_value", "max_value"), "needed: a number of pictures, 0 or more")
        widget = forms.TextInput({"inputmode": "numeric", "autocomplete": "off"})
        super().__init__(label=label, required=False, min_value=0, max_value=MOST, error_messages=wrong, widget=widget)


class CountsForm(forms.Form):
    """What stands in the address; an empty box of the path is as the site is known."""

    use_required_attribute = False
    empty, cut, whole = Count("show nothing"), Count("show it in part"), Count("show it whole")
    animal = forms.ChoiceField(label="mostly of", choices=[(one.key, one.name) for one in animals.ANIMALS])

    def __init__(self, told: dict[str, str], *, animal: str, offset_m: float, system: System) -> None:
        self.scale = units.scale("m", system)
        usual = {"animal": animal, "offset": f"{self.scale.from_stored(offset_m):.3g}", "angle": "45"}
        told = usual | {name: value[:20] for name, value in told.items() if value}
        if told["animal"] not in animals.BY_KEY:
            told["animal"] = animal
        super().__init__(told, auto_id="c-%s")
        self.fields["offset"] = MeasureField(label=f"path's distance ({self.scale.sign})", stored="m", system=system)
        self.fields["angle"] = MeasureField(label="angle to the path (°)", stored="°", system=system)
        for name in ("offset", "angle"):
            self.fields[name].widget.attrs["autocomplete"] = "off"

    def counts(self) -> FirstPictures | None:
        """The counts; None when nothing is counted, or what is typed cannot be read."""
        if not self.is_valid() or not any(self.data.get(name) for name in COUNTS):
            return None
        empty, cut, whole = (self.cleaned_data[name] or 0 for name in COUNTS)
        return FirstPictures(empty=empty, cut=cut, whole=whole)

    def path(self) -> Path:
        """The path, once it is read. Raises WrongInput."""
        said: dict[str, Any] = self.cleaned_data
        return Path(offset_m=self.scale.to_stored(said["offset"]), angle_deg=said["angle"])

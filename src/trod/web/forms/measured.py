"""A field for a measure: a number in the shown unit, or one with its own, such as `3 ft 4 in`."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trod import units
from trod.errors import WrongInput
from trod.telling import measures
from trod.units import System


class MeasureField(forms.FloatField):
    """Gives the number in the unit that is shown. stored : the unit the measure is kept in."""

    def __init__(self, *, stored: str, system: System, **more: Any) -> None:
        self.stored, self.system = stored, system
        keys = "text" if system == "us" else "decimal"  # feet and inches need letters or marks
        super().__init__(**{"widget": forms.TextInput({"inputmode": keys}), **more})
        if hint := measures.example(stored, system):
            self.widget.attrs.setdefault("title", hint)

    def to_python(self, value: Any) -> Any:
        if not isinstance(value, str):
            return super().to_python(value)
        try:
            return super().to_python(value.strip().replace(",", "."))
        except ValidationError:
            pass
        try:
            kept = measures.read(value, self.stored, system=self.system)
        except WrongInput as trouble:
            raise ValidationError(f"got “{trouble.got}”; needed: {trouble.needed}", code="invalid") from trouble
        return units.scale(self.stored, self.system).from_stored(kept)


def measured(field: forms.FloatField, *, stored: str, system: System) -> MeasureField:
    """The same field, that reads a measure with its unit too."""
    new = MeasureField(
        stored=stored,
        system=system,
        required=field.required,
        label=field.label,
        help_text=field.help_text,
        initial=field.initial,
        min_value=field.min_value,
        max_value=field.max_value,
    )
    new.disabled = field.disabled
    kept = {key: value for key, value in field.widget.attrs.items() if key not in ("step", "min", "max")}
    new.widget.attrs |= kept
    return new

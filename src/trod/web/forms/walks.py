"""The form of a walk test: a few walks past a camera that stands, each with what its first picture showed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils import timezone

from trod.catalogue.models import WalkTest
from trod.errors import WrongInput
from trod.telling import measures
from trod.units import scale, system_of
from trod.web import seen
from trod.web.forms.common import LocalMoment, RecordForm
from trod.web.shared.walk_evidence import FASTEST_MPS, GOT_WORDS, SLOWEST_MPS

LINES, MORE = 8, 4
MOST_LINES = 60
NEAREST_M, FARTHEST_M = 0.3, 100.0
ANGLES = (
    ("90", "straight across"),
    ("60", "60°, slanting"),
    ("45", "45°, slanting"),
    ("30", "30°, much along"),
    ("15", "15°, nearly along"),
)
WAYS = (("away", "away"), ("towards", "towards it"))
SPEEDS_MPS = (0.6, 1.2, 2.0, 3.5)
SPEED_NAMES = ("creeping", "easy walk", "brisk", "running")
GOTS = (("", "not walked"), *GOT_WORDS.items())


FROM_THE_LISTS = dict.fromkeys(
    ("invalid", "invalid_choice", "min_value", "max_value"), "choose angle and speed from the lists"
)
SAY = "say what its first picture shows, or clear the line"


def speeds(units: str, also: str = "") -> list[tuple[str, str]]:
    """Speeds to choose from, with one more that was kept and is none of them."""
    found = [(f"{mps:g}", name) for mps, name in zip(SPEEDS_MPS, SPEED_NAMES, strict=True)]
    found += [(also, "as kept")] if also and also not in dict(found) else []
    return [(value, f"{name}, {measures.speed(float(value), system_of(units))}") for value, name in found]


def angles(also: str = "") -> list[tuple[str, str]]:
    """Angles to choose from, with one more that was kept and is none of them."""
    return [*ANGLES, *([(also, f"{also}°")] if also and also not in dict(ANGLES) else [])]


class WalkLine(forms.Form):
    """One walk past the camera, one line of the table. n : its number, which stands in the names of its boxes."""

    offset = forms.CharField(required=False, max_length=20)
    angle = forms.FloatField(required=False, min_value=0, max_value=180, error_messages=FROM_THE_LISTS)
    away = forms.ChoiceField(required=False, choices=WAYS, error_messages=FROM_THE_LISTS)
    speed = forms.FloatField(required=False, min_value=SLOWEST_MPS, max_value=FASTEST_MPS, error_messages=FROM_THE_LISTS)
    got = forms.ChoiceField(required=False, choices=GOTS, error_messages={"invalid_choice": SAY})
    USUAL = {"offset": "", "angle": "90", "away": "away", "speed": "1.2", "got": ""}

    def __init__(
        self, data: Mapping[str, str] | None = None, *, n: int, units: str, kept: Mapping[str, str] | None = None
    ):
        self.n, self.units = n, units
        super().__init__(data, initial={**self.USUAL, **(kept or {})})
        for name, choices, what in (
            ("angle", angles(self._odd("angle")), "angle"),
            ("away", WAYS, "way"),
            ("speed", speeds(units, self._odd("speed")), "speed"),
            ("got", GOTS, "first picture"),
        ):
            self.fields[name].widget = forms.Select({"aria-label": f"Walk {n}: {what}"}, choices=choices)

    def add_prefix(self, field_name: str) -> str:
        return f"{field_name}_{self.n}"

    def _odd(self, name: str) -> str:
        """The value that the box begins with, where it is a number: it may be none of the usual ones."""
        value = str(self[name].value() or "")
        try:
            return f"{float(value):g}" if self.fields[name].clean(value) is not None else ""
        except (ValueError, forms.ValidationError):
            return ""

    @property
    def walked(self) -> bool:
        """Whether anything was said of it; a line left empty does not count."""
        return any(str(self[name].value() or "").strip() for name in ("got", "offset"))

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if self.walked and "got" in said and not said["got"]:
            self.add_error("got", SAY)
        return said

    def clean_offset(self) -> float | None:
        typed = self.cleaned_data["offset"]
        shown = scale("m", self.units)
        if not self.walked:
            return None
        try:
            offset_m = measures.read(typed, system=system_of(self.units))
        except WrongInput as trouble:
            raise forms.ValidationError(f"got “{typed}”; needed: how far off the line lay, in {shown.sign}") from trouble
        if not NEAREST_M <= offset_m <= FARTHEST_M:
            low, high = shown.from_stored(NEAREST_M), shown.from_stored(FARTHEST_M)
            raise forms.ValidationError(f"got {typed}; needed: from {low:.2g} to {high:.3g} {shown.sign}")
        return offset_m

    @property
    def error(self) -> str:
        """What is wrong with it first, what its picture shows before the rest; nothing where it was not walked."""
        if not (self.is_bound and self.walked):
            return ""
        return next(
            (str(self.errors[name][0]) for name in ("got", "offset", "angle", "speed", "away") if name in self.errors),
            "",
        )

    def walk(self) -> dict[str, Any] | None:
        """The walk as it is kept; None where it was not walked or something is wrong with it."""
        if not (self.is_bound and self.walked) or self.error:
            return None
        said = self.cleaned_data
        kept = {
            "offset_m": round(said["offset"], 3),
            "angle_deg": float(self.USUAL["angle"]) if said["angle"] is None else said["angle"],
            "speed_m_s": float(self.USUAL["speed"]) if said["speed"] is None else said["speed"],
            "got": said["got"],
        }
        return kept | ({"away": False} if said["away"] == "towards" else {})


class WalkTestForm(RecordForm):
    """When, by whom, and a note; the walks are lines beside it."""

    at = LocalMoment(label="When")

    class Meta:
        model = WalkTest
        fields = ("at", "by", "note")
        labels = {"by": "Walked by"}

    def __init__(self, *args: Any, found: Any = (), **more: Any) -> None:
        self.found = list(found)
        super().__init__(*args, **more)
        if not self.instance.pk:
            self.initial.update(at=timezone.now(), by=self.person)

    def unseen(self) -> dict[str, str]:
        return {"walks": seen.mark(self.instance.walks)}

    def unseen_is_changed(self, name: str) -> bool:
        return bool(self.found != self.instance.walks)

    def leave_unseen(self, name: str) -> None:
        self.found = self.instance.walks


def lines_of(test: WalkTest | None, units: str) -> list[WalkLine]:
    """The lines of a kept test in the person's units, and some empty ones."""
    walks = test.walks if test is not None and isinstance(test.walks, list) else []
    kept = [_kept(one, units) for one in walks if isinstance(one, dict)]
    empty = max(LINES - len(kept), MORE if kept else 0)
    return [WalkLine(n=n, units=units, kept=one) for n, one in enumerate([*kept, *[{}] * empty], 1)]


def _kept(one: Mapping[str, Any], units: str) -> dict[str, str]:
    def number(name: str, stored: str = "") -> str:
        value = one.get(name)
        shown = scale(stored, units)
        return f"{round(shown.from_stored(value), 2):g}" if isinstance(value, int | float) else ""

    return {
        "offset": number("offset_m", "m"),
        "angle": number("angle_deg"),
        "away": "away" if one.get("away") is not False else "towards",
        "speed": number("speed_m_s"),
        "got": str(one["got"]) if one.get("got") in GOT_WORDS else "",
    }


def read(told: Mapping[str, str], units: str) -> tuple[list[WalkLine], list[dict[str, Any]]]:
    """(lines as typed, with their errors; walks as they are kept). Lines that were not walked do not count."""
    count = 0
    while count < MOST_LINES and f"got_{count + 1}" in told:
        count += 1
    lines = [WalkLine(told, n=n, units=units) for n in range(1, count + 1)]
    return lines, [walk for line in lines if (walk := line.walk()) is not None]


def more(lines: Sequence[WalkLine], units: str) -> list[WalkLine]:
    """A few empty lines behind those that are there."""
    return [WalkLine(n=len(lines) + k, units=units) for k in range(1, MORE + 1)]

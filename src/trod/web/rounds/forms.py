"""What is asked of a round, where rounds start, and the cold of the nights."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from datetime import date, time
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trod import wording
from trod.catalogue.forecasts import heights
from trod.catalogue.models import Reserve, Site
from trod.catalogue.rounds.wishes import MOST_DAYS, WHICH, Wish
from trod.errors import WrongInput
from trod.units import System, scale
from trod.web.forms.common import DayInput
from trod.web.forms.measured import measured

WHICH_WORDS = {
    "pays": "those worth the way",
    "all": "as many as there is room for",
    "named": "only those named below",
}
MOST_LOAD_KG = 10_000
SAY = (("", "as it pays"), ("must", "in any case"), ("leave", "not this time"))


class ClockInput(forms.TimeInput):
    input_type = "time"

    def __init__(self) -> None:
        super().__init__({"step": "300"}, format="%H:%M")


class PlanForm(forms.Form):
    """A round as it is asked for. Each site has a field of its own, `site-<slug>`, made of `sites`."""

    name = forms.CharField(label="Name of the round", max_length=120)
    first = forms.DateField(label="First day", widget=DayInput())
    days = forms.IntegerField(label="Days", min_value=1, max_value=MOST_DAYS, initial=1)
    people = forms.CharField(
        label="Who goes",
        max_length=300,
        required=False,
        help_text="names with commas; a semicolon parts those who go apart: Ada, Ben; Cleo",
    )
    from_time = forms.TimeField(label="Away from", widget=ClockInput(), initial=time(8))
    to_time = forms.TimeField(label="Back by", widget=ClockInput(), initial=time(17))
    going = forms.ChoiceField(label="How", choices=(("car", "by car and on foot"), ("foot", "on foot")), initial="car")
    which = forms.ChoiceField(label="Which cameras", choices=tuple((w, WHICH_WORDS[w]) for w in WHICH))
    next_days = forms.IntegerField(
        label="Somebody comes again after (days)",
        min_value=1,
        max_value=365,
        initial=30,
        help_text="what a visit saves is counted until then",
    )
    by_tracks = forms.BooleanField(
        label="Go along the tracks on the map, where there are any", required=False, initial=True
    )
    worth_min = forms.FloatField(
        label="Work that one saved camera-day is worth (minutes)",
        min_value=0,
        max_value=1440,
        required=False,
        help_text="a stop that costs more than it saves is left for another time; left empty, as the reserve has it",
    )
    most_load_kg = forms.FloatField(required=False)  # in the person's units: see below
    start_latitude = forms.FloatField(label="Starts elsewhere: latitude", min_value=-90, max_value=90, required=False)
    start_longitude = forms.FloatField(
        label="Starts elsewhere: longitude", min_value=-180, max_value=180, required=False
    )
    ESSENTIAL = ("name", "first", "days", "people", "from_time", "to_time", "going", "which", "next_days")
    MORE = ("by_tracks", "worth_min", "most_load_kg", "start_latitude", "start_longitude")

    def __init__(self, *args: Any, sites: Sequence[Site] = (), system: System = "metric", **more: Any) -> None:
        super().__init__(*args, **more)
        self.sites = list(sites)
        self.load = scale("kg", system)
        most = forms.FloatField(
            label=f"Most that a party carries ({self.load.sign})",
            min_value=0,
            max_value=round(self.load.from_stored(MOST_LOAD_KG)),
            required=False,
        )
        self.fields["most_load_kg"] = measured(most, stored="kg", system=system)
        kept = self.initial.get("most_load_kg")
        if kept is not None:
            self.initial["most_load_kg"] = round(self.load.from_stored(kept), 1)
        for site in self.sites:
            self.fields[f"site-{site.slug}"] = forms.ChoiceField(label=site.name, choices=SAY, required=False)
        for field in self.fields.values():
            if isinstance(field, forms.FloatField) and type(field) is forms.FloatField:
                field.widget.attrs["step"] = "any"

    def essentials(self) -> list[forms.BoundField]:
        """The fields that everybody sees."""
        return [self[name] for name in self.ESSENTIAL]

    def further(self) -> list[forms.BoundField]:
        """The fields that fold away."""
        return [self[name] for name in self.MORE]

    def further_open(self) -> bool:
        """Whether one of them has an error."""
        return any(self[name].errors for name in self.MORE)

    def said_of(self) -> list[tuple[Site, forms.BoundField]]:
        """Each site with its field."""
        return [(site, self[f"site-{site.slug}"]) for site in self.sites]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        both = data.get("start_latitude"), data.get("start_longitude")
        if (both[0] is None) != (both[1] is None):
            missing = "start_latitude" if both[0] is None else "start_longitude"
            self.add_error(missing, "give both latitude and longitude, or neither")
        a, b = data.get("from_time"), data.get("to_time")
        if a and b and not a < b:
            self.add_error("to_time", f"got {b:%H:%M}; needed: a time after {a:%H:%M}, on the same day")
        return data

    def wish(self) -> Wish:
        """The checked form as a wish. Raises WrongInput for what the form cannot see."""
        d = self.cleaned_data
        said = {site.slug: d.get(f"site-{site.slug}") for site in self.sites}
        return Wish(
            name=" ".join(d["name"].split()),
            first=d["first"],
            days=d["days"],
            people=d["people"].strip(),
            by_car=d["going"] == "car",
            by_tracks=d["by_tracks"],
            from_min=d["from_time"].hour * 60 + d["from_time"].minute,
            to_min=d["to_time"].hour * 60 + d["to_time"].minute,
            start_latitude=d["start_latitude"],
            start_longitude=d["start_longitude"],
            next_days=d["next_days"],
            which=d["which"],
            must=tuple(s for s, word in said.items() if word == "must"),
            leave=tuple(s for s, word in said.items() if word == "leave"),
            worth_min=d["worth_min"],
            most_load_kg=None if d["most_load_kg"] is None else self.load.to_stored(d["most_load_kg"]),
        )


def initial_of(wish: Wish) -> dict[str, Any]:
    """A wish as the form's first values."""
    return {
        "name": wish.name,
        "first": wish.first,
        "days": wish.days,
        "people": wish.people,
        "from_time": time(wish.from_min // 60, wish.from_min % 60),
        "to_time": time(min(wish.to_min // 60, 23), wish.to_min % 60 if wish.to_min < 1440 else 59),
        "going": "car" if wish.by_car else "foot",
        "which": wish.which,
        "next_days": wish.next_days,
        "by_tracks": wish.by_tracks,
        "worth_min": wish.worth_min,
        "most_load_kg": wish.most_load_kg,
        "start_latitude": wish.start_latitude,
        "start_longitude": wish.start_longitude,
        **{f"site-{slug}": "must" for slug in wish.must},
        **{f"site-{slug}": "leave" for slug in wish.leave},
    }


def first_words(day: date, person: str) -> dict[str, Any]:
    """A new round's first values."""
    return {"name": f"Round of {wording.day_month(day)}", "first": day, "people": person}


class StartForm(forms.ModelForm):
    """Where rounds start."""

    class Meta:
        model = Reserve
        fields = ("base_latitude", "base_longitude")

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        for name, words in (("base_latitude", "Latitude"), ("base_longitude", "Longitude")):
            self.fields[name].label = words
            self.fields[name].required = True
            self.fields[name].widget.attrs["step"] = "any"
        self.fields["base_latitude"].help_text = "degrees, north positive"
        self.fields["base_longitude"].help_text = "degrees, east positive"


class HeightsForm(forms.Form):
    """A height grid as a file."""

    file = forms.FileField(
        label="The height grid", help_text="an ESRI ASCII grid (.asc) in degrees of longitude and latitude (WGS 84)"
    )

    def clean_file(self) -> str:
        file = self.cleaned_data["file"]
        if file.size > heights.MOST_BYTES:
            most = heights.MOST_BYTES // 1_000_000
            raise ValidationError(f"{file.size / 1e6:.0f} MB came; needed: at most {most} MB. Cut it to the reserve.")
        return str(file.read().decode("utf-8", errors="replace"))


class NightsForm(forms.Form):
    """The twelve mean night minima, typed, or a CSV file of month, minimum and, if known, spread."""

    file = forms.FileField(
        label="Or a CSV file",
        required=False,
        widget=forms.ClearableFileInput({"accept": ".csv,text/csv"}),
        help_text="columns month (1 to 12), minimum_c and, if known, sd_c; or minimum_f and sd_f",
    )
    source = forms.CharField(
        label="Where the numbers are from", max_length=200, required=False, help_text="a station, its years"
    )

    def __init__(self, *args: Any, units: str = "metric", **more: Any) -> None:
        self.units = units
        super().__init__(*args, **more)
        shown = scale("°C", units)
        sign, low, high = shown.sign, round(shown.from_stored(-60)), round(shown.from_stored(45))
        for n in range(1, 13):
            self.fields[f"m{n}"] = forms.FloatField(
                label=f"{wording.MONTHS[n - 1]} ({sign})", required=False, min_value=low, max_value=high,
                widget=forms.NumberInput({"step": "any"}),
            )  # fmt: skip
        spread = "how much single nights differ (standard deviation); 4 °C (7 °F) is assumed when empty"
        self.fields["sd"] = forms.FloatField(
            label=f"Spread ({sign})", required=False, min_value=0, max_value=40, help_text=spread,
            widget=forms.NumberInput({"step": "any"}),
        )  # fmt: skip

    def months(self) -> list[forms.BoundField]:
        """The twelve fields."""
        return [self[f"m{n}"] for n in range(1, 13)]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("file"):
            try:
                data["minimum_c"], data["sd_c"] = nights_from_csv(data["file"].read(200_000))
            except WrongInput as trouble:
                self.add_error("file", str(trouble))
            return data
        typed = [data.get(f"m{n}") for n in range(1, 13)]
        missing = [wording.MONTHS[n] for n, value in enumerate(typed) if value is None]
        if len(missing) == 12 and not any(f"m{n}" in self.errors for n in range(1, 13)):
            data["minimum_c"] = None  # taken back
        elif missing:
            raise ValidationError(f"All twelve months are needed; {', '.join(missing)} is missing.")
        else:
            data["minimum_c"] = [_celsius(v, self.units) for v in typed if v is not None]
            sd = data.get("sd")
            data["sd_c"] = None if sd is None else [sd * scale("°C", self.units).size] * 12
        return data

    def climate(self) -> dict[str, Any]:
        """As `Reserve.climate` keeps it."""
        d = self.cleaned_data
        if not d.get("minimum_c"):
            return {}
        out: dict[str, Any] = {"minimum_c": [round(v, 2) for v in d["minimum_c"]]}
        if d.get("sd_c"):
            out["sd_c"] = [round(v, 2) for v in d["sd_c"]]
        out["source"] = d.get("source") or ("from a file" if d.get("file") else "typed in")
        return out


def _celsius(value: float, units: str) -> float:
    return scale("°C", units).to_stored(value)


def nights_from_csv(data: bytes) -> tuple[list[float], list[float] | None]:
    """Twelve minima and, where they stand in it, twelve spreads. [°C] Raises WrongInput with what is missing."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    head = text.split("\n", 1)[0]
    rows = list(csv.DictReader(io.StringIO(text), delimiter=";" if head.count(";") > head.count(",") else ","))
    names = {(name or "").strip().lower(): name for name in (rows[0] if rows else {})}
    f = "minimum_f" in names and "minimum_c" not in names
    low, spread = ("minimum_f", "sd_f") if f else ("minimum_c", "sd_c")
    if "month" not in names or low not in names:
        came = ", ".join(n for n in names if n) or "nothing"
        raise WrongInput("file", got=came, needed="the columns month and minimum_c")
    found: dict[int, tuple[float, float | None]] = {}
    for row in rows:
        try:
            month = int(str(row[names["month"]]).strip())
            value = float(str(row[names[low]]).strip().replace(",", "."))
            said = str(row.get(names.get(spread, ""), "") or "").strip().replace(",", ".")
            sd = float(said) if said else None
        except ValueError as problem:
            raise WrongInput("file", got=str(problem), needed="a month from 1 to 12 and numbers") from problem
        if not 1 <= month <= 12 or month in found:
            raise WrongInput("file", got=f"month {month}", needed="each month from 1 to 12 once")
        found[month] = ((value - 32) / 1.8, None if sd is None else sd / 1.8) if f else (value, sd)
        good = all(v is None or math.isfinite(v) for v in found[month])
        if not (good and -60 <= found[month][0] <= 45 and 0 <= (found[month][1] or 0) <= 20):
            raise WrongInput("file", got=f"{value:g} in month {month}", needed="degrees that a night can have")
    if len(found) < 12:
        missing = [str(m) for m in range(1, 13) if m not in found]
        raise WrongInput("file", got=f"{len(found)} months", needed=f"all twelve; {', '.join(missing)} is missing")
    spreads = [found[m][1] for m in range(1, 13)]
    sds = [s for s in spreads if s is not None]
    return [found[m][0] for m in range(1, 13)], sds if len(sds) == 12 else None


class HomeForm(forms.Form):
    """A file that came home from a round."""

    file = forms.FileField(
        label="The file",
        widget=forms.ClearableFileInput({"accept": ".json,.csv,application/json,text/csv"}),
        help_text="the .json that the field form made, or the round's .csv with its columns filled in",
    )

"""The settings adviser of a site: what is asked, what it answers, how long batteries and card would last."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.urls import reverse
from django.utils.http import urlencode

from trod import wording
from trod.catalogue.answers.prefill import Start
from trod.catalogue.forecasts.outfits import climate_of
from trod.catalogue.models import CameraModel, Site
from trod.catalogue.rows import usual
from trod.errors import NotEnoughEvidence, WrongInput
from trod.planning.catch.animals import ANIMALS, animal
from trod.planning.equipment.batteries import BATTERIES, Pack, battery_by
from trod.planning.equipment.camera import CameraSpec
from trod.planning.equipment.energy import Draw
from trod.planning.ground.site import Cover
from trod.planning.last import arrivals, endurance
from trod.planning.last.stopping import Outfit
from trod.planning.place import adviser
from trod.planning.place.adviser import Inputs, Price, SettingsAdvice, Wish
from trod.telling import endurance as telling_endurance
from trod.telling import settings as told
from trod.units import System, scale
from trod.web.forms.common import box

FUTURES, STEP_DAYS = 300, 3  # the early date is then uncertain by about a tenth of the band
COVER_WORDS: dict[Cover, str] = {
    "open": "open ground", "low plants": "low plants", "tall grass": "tall grass", "scrub": "scrub", "wood": "wood",
}  # fmt: skip
BASIS_WORDS = {
    "published": "published",
    "our model": "from our own model",
    "common practice": "common practice",
    "assumed": "assumed",
}


class WishForm(forms.Form):
    """What the camera is for. Its fields stand in a sentence; temperatures are in the person's units."""

    aim = forms.ChoiceField(label="I want to know", choices=list(told.AIMS.items()))
    animal = forms.ChoiceField(label="of", choices=[(one.key, one.name.lower()) for one in ANIMALS])
    herd = forms.IntegerField(label="at once, up to", min_value=1, max_value=1000)
    model = forms.ChoiceField(label="with a")
    triggers = forms.FloatField(label="Triggers a day", min_value=0, max_value=5000)
    night = forms.FloatField(label="by night, %", min_value=0, max_value=100)
    days = forms.FloatField(label="Days until the next visit", min_value=0.5, max_value=1500)
    card_gb = forms.FloatField(label="Card (GB)", min_value=0.1, max_value=4000)
    air = forms.FloatField(label="Warmest usual air")
    cover = forms.ChoiceField(label="Grows before it", choices=list(COVER_WORDS.items()))

    def __init__(self, data: Any = None, *, start: Start, system: str) -> None:
        self.system = system
        self.begun = {
            "aim": start.aim,
            "animal": start.animal,
            "herd": start.herd,
            "model": start.model,
            "triggers": f"{start.triggers.value:g}",
            "night": round(100 * start.night_share.value),
            "days": f"{start.days.value:g}",
            "card_gb": f"{start.card_gb.value:g}",
            "air": round(scale("°C", system).from_stored(20)),
            "cover": start.cover,
        }
        # What the address does not say is as the site's records have it.
        given = {name: data[name] for name in self.begun if data is not None and data.get(name, "") != ""}
        super().__init__(self.begun | given)
        rows = CameraModel.objects.all()
        of_model = box(self, "model", forms.ChoiceField)
        of_model.choices = [(row.slug, str(row)) for row in rows] or [("", "camera by usual figures")]
        of_model.required = bool(rows)
        self.fields["air"].label = f"Warmest usual air ({scale('°C', system).sign})"
        for name in ("triggers", "night", "days", "card_gb", "air"):
            self.fields[name].widget.attrs["step"] = "any"

    def clean_air(self) -> float:
        shown = scale("°C", self.system)
        celsius = shown.to_stored(self.cleaned_data["air"])
        if not -60 <= celsius <= 60:
            needed = f"{shown.from_stored(-60):.0f} to {shown.from_stored(60):.0f} {shown.sign}"
            raise forms.ValidationError(f"got {self.cleaned_data['air']:g}; needed: {needed}")
        return float(celsius)

    def wish(self, site: Site) -> Wish:
        """What is asked, for the adviser. Raises WrongInput."""
        said = self.cleaned_data
        return Wish(
            aim=said["aim"],
            feature=usual.feature(site),
            animal=animal(said["animal"]),
            cover=said["cover"],
            herd=said["herd"],
            triggers=said["triggers"],
            night_share=said["night"] / 100,
            days=said["days"],
            card_gb=said["card_gb"],
            air_c=said["air"],
        )


@dataclass(frozen=True)
class Choice:
    """One setting for the page. adds, other : its price a day, and what the plainest value would cost in all."""

    setting: told.SettingTold
    basis: str
    adds: str
    other: str


def choices(advice: SettingsAdvice, system: System) -> list[Choice]:
    """The settings with their prices."""
    return [_choice(one, advice.price, told.setting(one, system)) for one in advice.settings]


def _choice(one: adviser.Setting, total: Price | None, words: told.SettingTold) -> Choice:
    adds = other = ""
    if one.extra_wh and one.extra_mb is not None and total is not None:
        adds = f"{_signed(one.extra_wh)} Wh and {_signed(one.extra_mb)} MB a day"
        wh, mb = total.wh_a_day - one.extra_wh, total.mb_a_day - one.extra_mb
        other = f"With {words.instead} all would cost {_two(wh)} Wh and {_two(mb)} MB a day."
    else:
        adds = words.price
    return Choice(words, BASIS_WORDS.get(one.basis, one.basis), adds, other)


def _signed(value: float) -> str:
    return ("−" if value < 0 else "+" if value > 0 else "") + _two(abs(value))


def _two(value: float) -> str:
    return f"{value:.2g}" if value < 100 else f"{float(f'{value:.2g}'):.0f}"


def sentence(advice: SettingsAdvice) -> str:
    """The settings in one sentence, with what they cost."""
    d = advice.inputs
    what = {"picture": "pictures", "clip": f"clips of {d.clip_s:.0f} s", "both": "pictures and clips"}[d.mode]
    burst = f", {d.burst} a burst" if d.mode != "clip" and d.burst > 1 else ", one a trigger" if d.mode != "clip" else ""
    delay = "without delay" if d.delay_s < 2 else f"with {wording.exactly(d.delay_s)} between triggers"
    lapse = f", and one frame every {d.time_lapse_h:g} h by the clock" if d.time_lapse_h else ""
    cost = f" That costs {told.price(advice.price)}." if advice.price is not None else ""
    return f"Take {what}{burst}, {delay}, at {d.sensitivity} sensitivity{lapse}.{cost}"


def camera_settings(d: Inputs) -> list[tuple[str, str]]:
    """The list to set at the camera."""
    lines = [("Mode", {"picture": "pictures", "clip": "clips", "both": "pictures and clips"}[d.mode])]
    if d.mode != "clip":
        lines.append(("Pictures a burst", str(d.burst)))
    if d.mode != "picture":
        lines.append(("Length of a clip", f"{d.clip_s:.0f} s"))
    lines += [
        ("Delay", "none, or the shortest" if d.delay_s < 2 else wording.exactly(d.delay_s)),
        ("Sensitivity", d.sensitivity),
        ("Time lapse", f"every {d.time_lapse_h:g} h" if d.time_lapse_h else "off"),
        ("Hours", "all day and night" if d.hours == (0.0, 24.0) else f"{d.hours[0]:g} to {d.hours[1]:g} o'clock"),
        ("Size", f"about {d.megapixels:.0f} megapixels" if d.megapixels else "the sensor's own"),
    ]
    return lines


def deployment_link(site: Site, d: Inputs) -> str:
    """The form of a new deployment with these settings filled in."""
    values = {
        "site": site.slug,
        "mode": d.mode,
        "burst": d.burst,
        "delay_s": f"{d.delay_s:g}",
        "sensitivity": d.sensitivity,
        "time_lapse_h": f"{d.time_lapse_h:g}" if d.time_lapse_h else "",
    }
    return f"{reverse('cameras:deployment_new')}?{urlencode(values)}"


@dataclass(frozen=True)
class Lasting:
    """How long batteries and card would last. taken : what was assumed for it, in words."""

    sentence: str
    after: str
    caveats: tuple[str, ...]
    taken: str


def lasting(spec: CameraSpec, d: Inputs, wish: Wish, site: Site, *, start: date) -> Lasting | None:
    """The endurance forecast for these settings from a day on; None when it cannot be reckoned."""
    battery, assumed = ("LR6", True) if spec.battery not in BATTERIES else (spec.battery, False)
    number = int(spec.value("batteries")) or 8
    losses = site.losses_per_year
    try:
        forecast = endurance.forecast(
            Outfit(
                draw=Draw.of(spec),
                pack=Pack(battery=battery_by(battery), number=number),
                card_gb=wish.card_gb,
                frames=0 if d.mode == "clip" else d.burst,
                clip_s=d.clip_s if d.mode != "picture" else 0.0,
                delay_s=d.delay_s,
                night_share=wish.night_share,
                lapses_per_day=24 / d.time_lapse_h if d.time_lapse_h else 0.0,
            ),
            arrivals.Arrivals.for_site(wish.feature, latitude_deg=site.latitude, level_per_day=max(wish.triggers, 0.1)),
            start,
            climate=climate_of(site.reserve),
            faults_per_day=min(losses / 365.25, 0.9) if losses else 0.0,
            futures=FUTURES,
            step_days=STEP_DAYS,
        )
    except (WrongInput, NotEnoughEvidence):
        return None
    origin = spec.figure("batteries").origin
    batteries = f"{number} × {battery}"
    guess = "; their kind is assumed" if assumed else "; their number is assumed" if origin == "assumed" else ""
    caveats = [telling_endurance.caveat(c) for c in forecast.caveats if c != "no card"]  # triggers are typed here
    return Lasting(
        sentence=telling_endurance.sentence(forecast),
        after=telling_endurance.after_flash(forecast),
        caveats=tuple(caveats),
        taken=f"Fresh batteries ({batteries}{guess}), an empty card of {wish.card_gb:g} GB, set up on {wording.day(start)}; the "  # noqa: E501
        f"triggers as typed, their spread and the runs of false triggers as usual for a site of the kind {wish.feature}.",  # noqa: E501
    )

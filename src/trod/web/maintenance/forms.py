"""Forms for locks, incidents, stock and a year's costs."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from trod.catalogue.models import (
    Booking,
    Camera,
    CostYear,
    Deployment,
    Incident,
    Lock,
    Site,
    StockItem,
)
from trod.planning.equipment.batteries import BATTERIES
from trod.web import seen
from trod.web.forms.common import DayInput, LocalMoment, RecordForm, box
from trod.web.shared import seal

MONEY = ("cost", "unit_price", "travel_km", "price_per_km")
KEPT = "left empty: it stays as it is"


def battery_kinds() -> list[str]:
    """Designations to choose from."""
    return sorted(BATTERIES)


class DeploymentChoice(forms.ModelChoiceField):
    """A choice of a deployment, each told by its site, its camera and when it ended."""

    def label_from_instance(self, obj: Deployment) -> str:
        return f"{obj.site}: {obj.camera}" + ("" if obj.end is None else f" (until {obj.end:%Y-%m-%d})")


class MoneyForm(RecordForm):
    """A form with amounts. The database's upper limits are beyond any price and not worth telling."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.limits |= dict.fromkeys(MONEY, (0, None))


class LockForm(RecordForm):
    """A lock. Its numbers never come back into the page: an empty box leaves them as they are."""

    groups = (
        ("The lock", ("label", "kind", "camera", "site"), True),
        ("Its numbers", ("new_key_number", "new_combination", "forget"), True),
        ("Note", ("note",), True),
    )
    new_key_number = forms.CharField(label="Number of the key", max_length=64, required=False)
    new_combination = forms.CharField(label="Combination", max_length=64, required=False)
    forget = forms.BooleanField(label="forget the numbers that are kept", required=False)

    class Meta:
        model = Lock
        fields = ("label", "kind", "camera", "site", "note")
        help_texts = {
            "site": "for a box or chain that stays at the place",
            "note": "no numbers here: a note is shown to everybody who may come in",
        }

    def __init__(self, *args: Any, key: bytes | None = None, shut: bool = False, **more: Any) -> None:
        """key : opens and seals the numbers of this session. shut : they are sealed and it is not there."""
        self.key = key
        super().__init__(*args, **more)
        if shut:
            del self.fields["new_key_number"], self.fields["new_combination"]
            if not self.instance.pk:
                del self.fields["forget"]
        elif self.instance.pk:
            for name, kept in (
                ("new_key_number", self.instance.key_number),
                ("new_combination", self.instance.combination),
            ):
                self.fields[name].help_text = f"one is kept; {KEPT}" if kept else "none is kept"
        else:
            del self.fields["forget"]

    def unseen(self) -> dict[str, str]:
        key, combination = self.instance.key_number, self.instance.combination
        return {
            "new_key_number": seen.mark(key),
            "new_combination": seen.mark(combination),
            "forget": seen.mark([key, combination]),
        }

    def unseen_is_changed(self, name: str) -> bool:
        return name in self.fields and super().unseen_is_changed(name)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        for name in ("new_key_number", "new_combination"):
            if seal.is_sealed(str(data.get(name) or "")):
                self.add_error(name, f"a number does not begin with {seal.HEAD}")
            if data.get(name) and self.key is None and seal.current() is not None:
                self.add_error(name, str(seal.Shut()))  # sealed since this page was made
        if data.get("forget") and (data.get("new_key_number") or data.get("new_combination")):
            self.add_error("forget", "either forget the numbers, or type new ones")
        return data

    def save(self, commit: bool = True) -> Lock:
        data, row = self.cleaned_data, self.instance
        if data.get("forget"):
            row.key_number = row.combination = ""
        for name in seal.FIELDS:
            if typed := data.get(f"new_{name}"):
                seal.put(row, name, typed, self.key)
        return super().save(commit)


class PhraseForm(forms.Form):
    """The pass phrase that seals the numbers: set, changed, taken off, or given up."""

    old = forms.CharField(label="The pass phrase now", strip=False, widget=forms.PasswordInput({"autocomplete": "off"}))
    new = forms.CharField(
        label="New pass phrase",
        strip=False,
        required=False,
        max_length=seal.MOST_CHARACTERS,
        help_text=f"at least {seal.LEAST_CHARACTERS} characters; a few words that nobody else would put together",
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="New pass phrase again",
        strip=False,
        required=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, sealed: bool, **more: Any) -> None:
        super().__init__(*args, **more)
        self.sealed = sealed
        if not sealed:
            del self.fields["old"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        taking_off = self.sealed and self.data.get("do") == "open"
        if taking_off:
            data["new"] = ""
        elif not data.get("new"):
            self.add_error("new", "put in a pass phrase")
        elif data["new"] != data.get("again"):
            self.add_error("again", "the two differ; type both again")
        return data


class IncidentForm(MoneyForm):
    """Theft, damage or a fault."""

    groups = (
        ("What", ("deployment", "site", "camera", "found_on", "kind"), True),
        ("What came of it", ("stopped", "camera_becomes", "cost", "reference"), True),
        ("In words", ("what", "by", "note"), True),
    )
    camera_becomes = forms.ChoiceField(
        label="The camera is now",
        required=False,
        choices=[
            ("", "as it is in its record"),
            (Camera.State.LOST, "lost or stolen"),
            (Camera.State.REPAIR, "in repair"),
            (Camera.State.RETIRED, "retired"),
        ],
    )

    class Meta:
        model = Incident
        fields = (
            "deployment",
            "site",
            "camera",
            "found_on",
            "kind",
            "stopped",
            "what",
            "reference",
            "cost",
            "by",
            "note",
        )
        widgets = {"found_on": DayInput()}
        field_classes = {"deployment": DeploymentChoice}
        labels = {"stopped": "it stopped the camera"}

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        of = Deployment.objects.select_related("camera", "site").order_by("-start")
        if self.reserve:
            of = of.filter(site__reserve=self.reserve)
            box(self, "site", forms.ModelChoiceField).queryset = Site.objects.filter(reserve=self.reserve)
        cameras = box(self, "deployment", DeploymentChoice)
        cameras.queryset = of
        cameras.label = "Camera at its site"
        cameras.empty_label = "none of these"
        self.fields["site"].required = False
        self.fields["site"].help_text = "only when no camera is chosen before"
        self.fields["camera"].help_text = "only when it stood nowhere by the records"
        if self.instance.pk:
            del self.fields["camera_becomes"]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        deployment = data.get("deployment")
        if deployment:
            data["site"], data["camera"] = deployment.site, deployment.camera
        elif not data.get("site"):
            self.add_error("site", "choose a camera at its site, or the site alone")
        return data


class StockForm(MoneyForm):
    """A thing on the stock."""

    groups = (
        ("The thing", ("name", "kind", "designation", "count", "unit_price", "place", "least"), True),
        ("Note", ("note",), True),
    )
    count = forms.IntegerField(label="How many there are", min_value=0, max_value=1_000_000, required=False)

    class Meta:
        model = StockItem
        fields = ("name", "kind", "designation", "unit_price", "place", "least", "note")
        help_texts = {"name": "such as LR6, lithium; or card of 32 GB"}

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["designation"].widget.attrs["list"] = "cell-kinds"
        if self.instance.pk:
            del self.fields["count"]

    def clean_designation(self) -> str:
        return str(self.cleaned_data.get("designation") or "").strip().upper()


class BookingForm(MoneyForm):
    """So many came, went, or were counted."""

    groups = (("", ("why", "number", "at", "unit_price", "note"), True),)
    at = LocalMoment(label="When")
    number = forms.IntegerField(label="How many", min_value=0, max_value=1_000_000)

    class Meta:
        model = Booking
        fields = ("why", "at", "unit_price", "note")

    def __init__(self, *args: Any, on_hand: int = 0, **more: Any) -> None:
        self.on_hand = on_hand
        super().__init__(*args, **more)
        box(self, "why", forms.ChoiceField).choices = [
            ("bought", "bought"),
            ("used", "used, without a visit"),
            ("lost", "lost or thrown away"),
            ("counted", "counted: this many there are"),
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        number, why = data.get("number"), data.get("why")
        if number is None or not why:
            return data
        if why == Booking.Why.COUNTED:
            self.instance.change = number - self.on_hand
            if not self.instance.change:
                self.add_error("number", f"there are {number} by the bookings already; nothing to put right")
        elif number == 0:
            self.add_error("number", "got 0; needed: how many came or went")
        else:
            self.instance.change = number if why == Booking.Why.BOUGHT else -number
        return data


class CostYearForm(MoneyForm):
    """What is typed for a year."""

    groups = (("", ("travel_km", "price_per_km", "currency", "note"), True),)

    class Meta:
        model = CostYear
        fields = ("travel_km", "price_per_km", "currency", "note")

    def clean_currency(self) -> str:
        text = str(self.cleaned_data.get("currency") or "").strip()
        if any(c.isdigit() for c in text):
            raise ValidationError(f"got {text!r}; needed: a sign or letters, such as € or CHF")
        return text

"""Forms for cameras, cards, deployments and clock corrections."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.db.models import Q
from django.http import HttpRequest

from trod import clock
from trod.catalogue.models import Camera, Card, Deployment, Reserve, Site, Visit
from trod.catalogue.models.overlap import MESSAGE as OVERLAP
from trod.catalogue.models.overlap import NAME as OVERLAP_NAME
from trod.web.addresses import whole
from trod.web.forms.common import Input, LocalMoment, RecordForm, box, refusal


def camera_asked(request: HttpRequest) -> Camera | None:
    """The camera that an address names by its number, `?camera=7`."""
    number = whole(request.GET.get("camera", ""))
    return None if number is None else Camera.objects.filter(pk=number).first()


class CameraForm(RecordForm):
    """One camera."""

    groups = (("The camera", ("serial", "name", "model", "state", "note"), True),)

    class Meta:
        model = Camera
        fields = ("serial", "name", "model", "state", "note")
        help_texts = {"serial": "as it stands on the camera; cards are known again by it"}

    def clean_state(self) -> str:
        state = self.cleaned_data["state"]
        if self.instance.pk and state in (Camera.State.READY, Camera.State.RETIRED):
            standing = self.instance.deployments.filter(end__isnull=True).select_related("site").first()
            if standing:
                raise ValidationError(f"it still stands at {standing.site}; end that deployment first")
        return state


class CardForm(RecordForm):
    """A memory card, by the label written on it."""

    groups = (("The card", ("label", "size_gb", "state", "note"), True),)

    class Meta:
        model = Card
        fields = ("label", "size_gb", "state", "note")

    def clean_size_gb(self) -> float | None:
        size = self.cleaned_data.get("size_gb")
        if size is not None and not 0 < size <= 4096:
            raise ValidationError("needed: its size in GB, such as 32")
        return size


def offset_words(minutes: int) -> str:
    """An offset from UTC: UTC+2, UTC−3:30."""
    sign = "+" if minutes >= 0 else "−"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{sign}{hours}:{rest:02d}" if rest else f"UTC{sign}{hours}"


def offset_at(reserve: Reserve | None, when: datetime) -> int:
    """The reserve's offset from UTC at an instant, in minutes: what a camera's clock is set to by then."""
    offset = clock.local(when, reserve.zone if reserve else "UTC").utcoffset()
    return int(offset.total_seconds() // 60) if offset is not None else 0


def offset_choices(also: int | None = None) -> list[tuple[str, str]]:
    """Offsets that clocks are set to anywhere, with one more if it is none of them."""
    hours = {h * 60 for h in range(-12, 15)} | {-210, -570, 210, 270, 330, 345, 390, 525, 570, 630, 765}
    if also is not None:
        hours.add(also)
    return [
        ("", "as the reserve's own time on the first day"),
        *((str(m), offset_words(m)) for m in sorted(hours)),
    ]


class DeploymentForm(RecordForm):
    """A camera at a site for a time."""

    slug_otherwise = "deployment"
    groups = (
        ("Where and when", ("camera", "site", "start", "end", "set_by"), True),
        ("How it hangs", ("height_m", "tilt_deg", "heading_deg", "aim_distance_m"), True),
        (
            "How it is set",
            (
                "utc_offset_min",
                "mode",
                "burst",
                "delay_s",
                "sensitivity",
                "time_lapse_h",
                "batteries",
                "card",
                "note",
            ),
            False,
        ),
    )
    start = LocalMoment(label="Set up")
    end = LocalMoment(label="Retrieved", required=False, help_text="left empty while it stands")
    utc_offset_min = forms.TypedChoiceField(
        label="Its clock shows",
        required=False,
        coerce=int,
        empty_value=None,
        help_text="one for the whole time: a camera does not change to summer time by itself",
    )

    class Meta:
        model = Deployment
        fields = (
            "camera",
            "site",
            "start",
            "end",
            "utc_offset_min",
            "height_m",
            "tilt_deg",
            "heading_deg",
            "aim_distance_m",
            "mode",
            "burst",
            "delay_s",
            "sensitivity",
            "time_lapse_h",
            "batteries",
            "card",
            "set_by",
            "note",
        )
        labels = {"height_m": "Lens height", "card": "Card in it"}

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        mine = self.instance
        box(self, "utc_offset_min", forms.ChoiceField).choices = offset_choices(mine.utc_offset_min if mine.pk else None)
        if mine.pk:
            self.initial["utc_offset_min"] = mine.utc_offset_min
        else:
            self.initial.pop("utc_offset_min", None)
        cameras = Q(state__in=[Camera.State.READY, Camera.State.OUT, Camera.State.REPAIR])
        box(self, "camera", forms.ModelChoiceField).queryset = Camera.objects.filter(cameras | Q(pk=mine.camera_id))
        sites = Q(retired=False)
        if self.reserve:
            sites &= Q(reserve=self.reserve)
        box(self, "site", forms.ModelChoiceField).queryset = Site.objects.filter(sites | Q(pk=mine.site_id))
        self.fields["card"].required = False

    def slug_text(self) -> str:
        zone = self.reserve.zone if self.reserve else "UTC"
        return f"{self.cleaned_data['site'].slug} {clock.local(self.cleaned_data['start'], zone):%Y-%m-%d}"

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        start, end = data.get("start"), data.get("end")
        if start and end and end <= start:
            self.add_error("end", "it must be retrieved after it was set up")
            return data
        if data.get("utc_offset_min") is None and start and "utc_offset_min" not in self.errors:
            data["utc_offset_min"] = offset_at(self.reserve, start)
        camera = data.get("camera")
        if camera and start and (other := overlapping(camera, start, end, but=self.instance.pk)):
            self.add_error("camera", self._overlap_words(other))
        return data

    def _overlap_words(self, other: Deployment) -> str:
        zone = self.reserve.zone if self.reserve else "UTC"
        since = clock.local(other.start, zone)
        until = f"until {clock.local(other.end, zone):%Y-%m-%d %H:%M}" if other.end else "and still stands there"
        return (
            f"{other.camera} is at {other.site} from {since:%Y-%m-%d %H:%M} {until} (deployment "
            f"{other.slug}). "
            "End that one first, or choose another camera or time."
        )

    def refused(self, trouble: IntegrityError) -> None:
        text = str(trouble)
        data = self.cleaned_data
        if OVERLAP in text or OVERLAP_NAME in text:
            other = overlapping(data["camera"], data["start"], data.get("end"), but=self.instance.pk)
            self.add_error("camera", self._overlap_words(other) if other else refusal(trouble))
        else:
            super().refused(trouble)


def overlapping(camera: Camera, start: datetime, end: datetime | None, *, but: int | None) -> Deployment | None:
    """The deployment of this camera that a new one would overlap."""
    found = Deployment.objects.filter(camera=camera).filter(Q(end__isnull=True) | Q(end__gt=start))
    if end is not None:
        found = found.filter(start__lt=end)
    if but is not None:
        found = found.exclude(pk=but)
    return found.select_related("site", "camera").first()


class EndForm(RecordForm):
    """Retrieve a camera."""

    groups = (("", ("end", "found", "bring", "note_more"), True),)
    offered = ("end",)
    end = LocalMoment(label="Retrieved")
    found = forms.ChoiceField(label="State on arrival", choices=Visit.Arrival, initial=Visit.Arrival.WORKING)
    bring = forms.BooleanField(
        label="its card comes home with it",
        required=False,
        initial=True,
        help_text="it then waits to be imported",
    )
    note_more = forms.CharField(label="Note", required=False, widget=forms.Textarea)

    class Meta:
        model = Deployment
        fields = ("end",)

    def clean_end(self) -> datetime:
        end = self.cleaned_data["end"]
        if end <= self.instance.start:
            zone = self.reserve.zone if self.reserve else "UTC"
            raise ValidationError(
                f"it was set up on {clock.local(self.instance.start, zone):%Y-%m-%d %H:%M}; it can only end after that"
            )
        return end


class ClockForm(forms.Form):
    """Somebody's word on how far a camera's clock was out."""

    shown = Input(label="When the camera's clock showed")
    truly = LocalMoment(label="It was truly")
    from_raw = Input(
        label="From, on the camera's clock", required=False, help_text="left empty: from the first picture on"
    )
    to_raw = Input(label="To, on the camera's clock", required=False, help_text="left empty: to the last picture")
    reason = forms.CharField(label="How you know", max_length=200)

    def __init__(self, data: Any = None, *, deployment: Deployment, reserve: Reserve | None, **more: Any) -> None:
        self.deployment, self.reserve = deployment, reserve
        super().__init__(data, **more)
        zone = reserve.zone if reserve else "UTC"
        box(self, "truly", LocalMoment).zone = zone
        self.fields["truly"].widget.attrs["step"] = "1"
        self.fields["truly"].widget.format = "%Y-%m-%dT%H:%M:%S"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        low, high = data.get("from_raw"), data.get("to_raw")
        if low and high and high <= low:
            self.add_error("to_raw", "it must lie after the beginning")
        return data

    @property
    def shift_s(self) -> float:
        """Seconds to add to the camera's time."""
        shown = self.cleaned_data["shown"].replace(tzinfo=None)
        return clock.offset_from_visit(shown, self.cleaned_data["truly"], self.deployment.utc_offset_min)

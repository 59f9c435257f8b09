"""Forms for sites, sign and the boundary."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from trod import clock
from trod.catalogue.models import Sign, Site, Species
from trod.errors import WrongInput
from trod.web.forms import seasons
from trod.web.forms.common import DayInput, RecordForm, box


class SiteForm(RecordForm):
    """A place where a camera stands or may stand."""

    slug_otherwise = "site"
    groups = (
        ("The place", ("name", "feature", "latitude", "longitude", "sensitive"), True),
        (
            "What it is like",
            (
                "slope_deg",
                "path_bearing_deg",
                "canopy_percent",
                "tree",
                "tree_diameter_cm",
                "retired",
                "note",
            ),
            False,
        ),
        ("Getting there", ("access", "climb_m", "safety", "closed_lines", "losses_per_year", "disturbance_days"), False),
    )
    closed_lines = forms.CharField(
        label="Closed seasons",
        required=False,
        max_length=4000,
        widget=forms.Textarea,
        help_text=f"one a line, like: {seasons.EXAMPLE}; rounds leave it out then",
    )

    class Meta:
        model = Site
        fields = (
            "name",
            "feature",
            "latitude",
            "longitude",
            "sensitive",
            "slope_deg",
            "path_bearing_deg",
            "canopy_percent",
            "tree",
            "tree_diameter_cm",
            "retired",
            "note",
            "access",
            "climb_m",
            "safety",
            "losses_per_year",
            "disturbance_days",
        )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.initial.setdefault("closed_lines", seasons.write(self.instance.closed))
        if self.reserve is not None and self.instance.reserve_id is None:
            self.instance.reserve = self.reserve

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        other = Site.objects.filter(reserve=self.instance.reserve_id, name__iexact=name).exclude(pk=self.instance.pk)
        if other.exists():
            raise ValidationError(f"a site is called {other.get().name} already; give this one another name")
        return name

    def clean_closed_lines(self) -> str:
        text = self.cleaned_data["closed_lines"]
        if "closed_lines" not in self.data and self.prefix is None:
            return text  # a list that does not speak of it, or a form without the field, changes nothing
        try:
            self.instance.closed = seasons.read(text)
        except WrongInput as trouble:
            raise ValidationError(f"got {trouble.got!r}; needed: {trouble.needed}") from trouble
        return text

    def clean_retired(self) -> bool:
        retired = self.cleaned_data["retired"]
        if retired and self.instance.pk and not self.instance.retired:
            standing = self.instance.deployments.filter(end__isnull=True).select_related("camera").first()
            if standing:
                raise ValidationError(f"{standing.camera} still stands here; take it down first")
        return retired


class SignForm(RecordForm):
    """What somebody saw on the ground."""

    groups = (
        ("What was seen", ("kind", "species", "seen_on", "seen_by", "site"), True),
        ("Where and more", ("latitude", "longitude", "note"), True),
    )

    class Meta:
        model = Sign
        fields = ("kind", "species", "seen_on", "seen_by", "site", "latitude", "longitude", "note")
        widgets = {"seen_on": DayInput}

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        if self.reserve is not None and self.instance.reserve_id is None:
            self.instance.reserve = self.reserve
        box(self, "site", forms.ModelChoiceField).queryset = Site.objects.filter(reserve=self.instance.reserve_id)
        self.fields["site"].help_text = "if it was near one; then its place will do"
        of_species = box(self, "species", forms.ModelChoiceField)
        of_species.queryset = Species.objects.all()
        of_species.empty_label = "unknown"
        self.fields["latitude"].required = self.fields["longitude"].required = False
        self.fields["note"].widget.attrs["rows"] = 2

    def clean_seen_on(self) -> Any:
        seen = self.cleaned_data["seen_on"]
        today = clock.local(timezone.now(), self.reserve.zone if self.reserve else "UTC").date()
        if seen > today:
            raise ValidationError("that day lies ahead; sign is written down once it is seen")
        return seen

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        site = data.get("site")
        for name in ("latitude", "longitude"):
            if data.get(name) is None and name not in self.errors:
                if site is None:
                    self.add_error(name, "give its place, or the site it was near")
                else:
                    data[name] = getattr(site, name)
        return data


class TrackForm(forms.Form):
    """Tracks from a GPX file, for the boundary or as lines on the map."""

    file = forms.FileField(label="The GPX file", widget=forms.ClearableFileInput({"accept": ".gpx"}))
    use = forms.ChoiceField(
        label="Its tracks are",
        choices=[
            ("lines", "paths and lines, beside what is there"),
            ("boundary", "the boundary, in place of the one there is"),
        ],
        widget=forms.RadioSelect,
        initial="lines",
    )

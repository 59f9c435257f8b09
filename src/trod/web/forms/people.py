"""Forms for the reserve, species and accounts."""

from __future__ import annotations

import math
import zoneinfo
from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.db import models
from django.http import HttpRequest

from trod.catalogue.models import Reserve, Species
from trod.catalogue.rows import taxa
from trod.errors import WrongInput
from trod.web.forms.common import RecordForm, box
from trod.web.shared import accounts, tries


class ReserveForm(RecordForm):
    """The ground somebody keeps."""

    slug_otherwise = "reserve"
    groups = (
        ("The ground", ("name", "zone", "units", "latitude", "longitude"), True),
        ("Good and bad years", ("yearly_allowance_percent",), True),
        ("More", ("camera_day_min", "note"), False),
    )

    class Meta:
        model = Reserve
        fields = ("name", "zone", "units", "latitude", "longitude", "yearly_allowance_percent", "camera_day_min", "note")

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["zone"].widget.attrs["list"] = "zones"
        self.fields["zone"].help_text = "such as Europe/Vienna or America/Denver; pages show its local time"

    @staticmethod
    def zones() -> list[str]:
        """Names to choose from."""
        return sorted(name for name in zoneinfo.available_timezones() if "/" in name and not name.startswith("Etc/"))


class SpeciesForm(RecordForm):
    """An animal that may come."""

    slug_otherwise = "species"
    groups = (
        ("The animal", ("name", "scientific_name", "key", "rank", "parent", "group", "active"), True),
        ("Its size, for scale", ("shoulder_height_m", "body_length_m", "note"), False),
    )

    class Meta:
        model = Species
        fields = (
            "name",
            "scientific_name",
            "key",
            "rank",
            "parent",
            "group",
            "active",
            "shoulder_height_m",
            "body_length_m",
            "note",
        )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        above = Species.objects.exclude(rank=Species.Rank.SPECIES)
        parent = box(self, "parent", forms.ModelChoiceField)
        parent.queryset = above.exclude(pk=self.instance.pk)
        parent.empty_label = "nothing, or unknown"
        self.fields["rank"].required = False
        self.fields["rank"].help_text = "above species: for animals of which no more is known, and for all below it"

    def clean_rank(self) -> str:
        return self.cleaned_data.get("rank") or Species.Rank.SPECIES

    def clean_parent(self) -> Species | None:
        parent: Species | None = self.cleaned_data.get("parent")
        if self.instance.pk and taxa.would_ring(self.instance, parent):
            raise ValidationError(f"{parent} belongs to {self.instance} already; take a kind above it, or none")
        return parent

    def keep(self) -> models.Model | None:
        row = super().keep()
        if isinstance(row, Species):
            taxa.place(row)
        return row

    def clean_key(self) -> str | None:
        key = (self.cleaned_data.get("key") or "").strip().lower()
        if not key:
            return None
        if not key.isprintable() or not key.isalnum():
            raise ValidationError(f"{key!r} cannot be a key; needed: one letter or digit")
        other = Species.objects.filter(key=key).exclude(pk=self.instance.pk).first()
        if other:
            raise ValidationError(f"the key {key} already says {other.name}; take another or free it there first")
        return key


class DoorForm(AuthenticationForm):
    """Name and password; waits after too many wrong ones."""

    request: HttpRequest  # never without: tries are counted by where they come from

    def clean(self) -> dict[str, Any]:
        name = str(self.cleaned_data.get("username") or "")
        if not name or not self.cleaned_data.get("password"):
            return super().clean()
        counted = tries.counters(self.request, name)
        wait_s = tries.book(counted)
        if wait_s:
            minutes = math.ceil(wait_s / 60)
            raise ValidationError(
                f"Too many wrong passwords for {name}, or from where you are. "
                f"Wait {minutes} minute{'s' if minutes > 1 else ''}, then try again."
            )
        try:
            data = super().clean()
        except ValidationError:
            raise ValidationError(
                "That name and password do not belong together. Whoever runs the server can make an account "
                "with: trod serve --make-account NAME"
            ) from None
        tries.give_back(counted)
        return data


class AccountForm(forms.Form):
    """A new account."""

    username = forms.CharField(label="Name", max_length=80, widget=forms.TextInput({"autocomplete": "off"}))
    password = forms.CharField(
        label="Password",
        help_text="at least 8 characters beside your name, not a common word, not digits alone",
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
        strip=False,
    )
    again = forms.CharField(
        label="Password again", widget=forms.PasswordInput({"autocomplete": "new-password"}), strip=False
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("password") and data.get("again") and data["password"] != data["again"]:
            self.add_error("again", "the two passwords differ; type both again")
        return data

    def keep(self) -> bool:
        """Make the account; False with the reason among the errors when it cannot be."""
        try:
            accounts.make(self.cleaned_data["username"], self.cleaned_data["password"])
        except WrongInput as trouble:
            self.add_error("username" if trouble.what == "name" else "password", trouble.needed)
            return False
        return True

"""The sheet of a visit: all that a field sheet has."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import forms
from django.db.models import Q
from django.utils import timezone

from trod import clock, wording
from trod.catalogue.models import Card, Deployment, Lock, Site, Visit
from trod.catalogue.rounds import visiting
from trod.web.forms.common import Input, LocalMoment, RecordForm, box, limits
from trod.web.maintenance.forms import DeploymentChoice

ANEW = (
    ("", "a new deployment when height, tilt, heading or aim changed"),
    ("yes", "a new deployment in any case"),
    ("no", "the same deployment goes on"),
)


class CardLabel(forms.CharField):
    """A card by its label; one that nobody knows yet is made when the visit is kept."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**{"max_length": 64, "required": False, **more})
        self.widget.attrs |= {"list": "card-labels", "autocomplete": "off"}

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int):
            return Card.objects.filter(pk=value).values_list("label", flat=True).first() or ""
        return value

    def clean(self, value: Any) -> Card | None:
        label = super().clean(value).strip()
        if not label:
            return None
        found = Card.objects.filter(label=label).first() or Card.objects.filter(label__iexact=label).first()
        return found or Card(label=label)


class VisitForm(RecordForm):
    """Somebody stood before a camera, or at an empty site."""

    groups = (
        ("The visit", ("deployment", "site", "at", "by", "arrival", "incident"), True),
        ("Batteries", ("battery_percent", "batteries_changed", "battery_kind", "battery_count"), True),
        ("Card", ("card_out", "card_in"), True),
        ("The clock", ("clock_shown", "clock_true"), True),
        ("Lock", ("lock_left", "lock"), True),
        ("Set otherwise", (*visiting.SETTINGS, "anew"), True),
        ("Work and note", ("walk_test", "work", "note"), True),
    )
    at = LocalMoment(label="When")
    card_out = CardLabel(label="Card out")
    card_in = CardLabel(label="Card in", help_text="both empty: the card stayed. A new label makes a new card")
    clock_shown = Input(label="Camera's clock showed", required=False, help_text="as it stands on the camera")
    clock_true = LocalMoment(label="True time then", required=False, help_text="left empty: the time of the visit")
    incident = forms.BooleanField(label="theft or damage: write it down next", required=False)
    height_m = forms.FloatField(label="Lens height", required=False)
    tilt_deg = forms.FloatField(label="Tilt below level", required=False)
    heading_deg = forms.FloatField(label="Heading from north", required=False)
    aim_distance_m = forms.FloatField(label="Aim distance", required=False)
    burst = forms.IntegerField(label="Pictures a burst", required=False, min_value=1, max_value=999)
    delay_s = forms.FloatField(label="Delay between bursts", required=False, min_value=0, max_value=86_400)
    sensitivity = forms.ChoiceField(
        label="Sensitivity", required=False, choices=[("", "as it was"), *Deployment.Sensitivity.choices]
    )
    anew = forms.ChoiceField(label="From then on", required=False, choices=ANEW)
    lock = forms.ModelChoiceField(
        Lock.objects.defer("key_number", "combination"), label="Lock on it now", required=False
    )

    class Meta:
        model = Visit
        fields = (
            "deployment",
            "site",
            "at",
            "by",
            "arrival",
            "battery_percent",
            "batteries_changed",
            "battery_kind",
            "battery_count",
            "clock_shown",
            "clock_true",
            "lock_left",
            "walk_test",
            "work",
            "note",
        )
        field_classes = {"deployment": DeploymentChoice}

    def __init__(self, *args: Any, walks: Any = (), **more: Any) -> None:
        self.walks = list(walks)
        self.done: visiting.Done | None = None
        super().__init__(*args, **more)
        self.limits |= {n: v for n, v in limits(Deployment).items() if n in visiting.SETTINGS}
        mine = self.instance
        of = Deployment.objects.select_related("camera", "site__reserve", "card").order_by("site__name", "-start")
        if self.reserve:
            of = of.filter(site__reserve=self.reserve)
        recent = Q(end__isnull=True) | Q(end__gte=timezone.now() - timedelta(days=400)) | Q(pk=mine.deployment_id)
        cameras = box(self, "deployment", DeploymentChoice)
        cameras.queryset = of.filter(recent)
        cameras.empty_label = "none: the site is empty"
        cameras.label = "Camera"
        self.fields["site"].required = False
        self.fields["site"].help_text = "only when no camera is chosen"
        if self.reserve:
            box(self, "site", forms.ModelChoiceField).queryset = Site.objects.filter(reserve=self.reserve)
        self.fields["clock_true"].widget.attrs["step"] = "1"
        self.fields["clock_true"].widget.format = "%Y-%m-%dT%H:%M:%S"
        box(self, "lock", forms.ModelChoiceField).empty_label = "as it was"
        box(self, "lock_left", forms.ChoiceField).choices = [("", "not noted"), *Visit.LockLeft.choices]
        self.fields["battery_kind"].widget.attrs["list"] = "cell-kinds"
        self.fields["battery_kind"].help_text = ""
        for name in ("note", "work"):
            self.fields[name].widget.attrs["rows"] = 2
        # How each of these stands, in words; the page fills it in.
        self.now = dict.fromkeys((*visiting.SETTINGS, "card_out", "battery_kind"), "")
        for name in self.now:
            self.fields[name].widget.attrs["aria-describedby"] = f"id_{name}_now"
        if mine.pk:
            for name in (*visiting.SETTINGS, "anew", "lock", "incident"):
                del self.fields[name]
            self.initial.update(card_out=mine.card_out_id, card_in=mine.card_in_id)

    def clean_battery_kind(self) -> str:
        return str(self.cleaned_data.get("battery_kind") or "").strip().upper()

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        deployment, at = data.get("deployment"), data.get("at")
        if deployment:
            data["site"] = deployment.site
            self._check_time(deployment, at)
        elif not data.get("site"):
            self.add_error("site", "choose a camera, or the empty site that was visited")
        if at and at > timezone.now() + timedelta(days=1):
            self.add_error("at", "that lies ahead; a visit is written down afterwards")
        if data.get("clock_shown") and not data.get("clock_true"):
            data["clock_true"] = at
        if data.get("clock_true") and not data.get("clock_shown"):
            data["clock_true"] = None
        if data.get("battery_kind") or data.get("battery_count"):
            data["batteries_changed"] = True
        if self.walks:
            data["walk_test"] = True
        out, put = data.get("card_out"), data.get("card_in")
        if out and put and out.label.casefold() == put.label.casefold():
            self.add_error("card_in", "the same card cannot come out and go in; leave both empty if it stayed")
        if not self.instance.pk:
            self._check_settings(data, deployment, at)
        return data

    def _check_time(self, deployment: Deployment, at: Any) -> None:
        if not at:
            return
        early = at < deployment.start - timedelta(days=1)
        late = deployment.end and at > deployment.end + timedelta(days=1)
        if early or late:
            zone = self.reserve.zone if self.reserve else "UTC"
            until = f"to {wording.day(clock.local(deployment.end, zone))}" if deployment.end else "on"
            self.add_error(
                "at",
                f"{deployment.camera} stood there from {wording.day(clock.local(deployment.start, zone))} {until}",
            )

    def _check_settings(self, data: dict[str, Any], deployment: Deployment | None, at: Any) -> None:
        given = [n for n in visiting.SETTINGS if data.get(n) not in (None, "")]
        self.changed_settings = visiting.differing(deployment, data)
        self.begins_anew = visiting.wants_anew(self.changed_settings, data.get("anew") or "")
        if deployment is None:
            for name in (*given[:1], *(["lock"] if data.get("lock") else [])):
                self.add_error(name, "choose the camera that it belongs to")
            if self.walks:
                self.add_error("deployment", "choose the camera that the walks went past")
            return
        if not at or "at" in self.errors or not self.changed_settings:
            return
        if deployment.end is not None:
            self.add_error(next(iter(self.changed_settings)), visiting.why_not_anew(deployment, at))
        elif self.begins_anew and (why := visiting.why_not_anew(deployment, at)):
            self.add_error("anew", why)

    def _made(self, card: Card | None, made: list[Any], state: str) -> Card | None:
        if card is not None and card.pk is None:
            card.state = state
            card.save()
            made.append(card)
        return card

    def save(self, commit: bool = True) -> Visit:
        """Keep the visit with all that follows from it; see `visiting`. Inside the caller's transaction."""
        data, row, new = self.cleaned_data, self.instance, self.instance.pk is None
        cards: list[Any] = []
        row.card_out = self._made(data.get("card_out"), cards, Card.State.OUT)
        row.card_in = self._made(data.get("card_in"), cards, Card.State.READY)
        if new:
            row.changed = self.changed_settings
        super().save(commit)
        if new:
            done = visiting.carry_out(
                row, changed=self.changed_settings, anew=self.begins_anew, lock=data.get("lock"), walks=self.walks
            )
            done.before = [b for b in done.before if not (isinstance(b, Card) and b.pk in {c.pk for c in cards})]
        else:
            from trod.catalogue.rows import changes

            changes.follow_visit(row)
            done = visiting.Done(row.deployment)
        done.made = [*cards, row, *done.made]
        done.told += [f"New card: {card}." for card in cards]
        self.done = done
        return row

"""What all record forms share.

Lengths in the person's units, local times, limits told beside the field, the database's own refusals in words, deletion
that asks and can be undone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from copy import copy
from datetime import datetime
from typing import Any, TypeVar

from django import forms
from django.apps import apps
from django.contrib import messages
from django.core import serializers
from django.core.exceptions import ObjectDoesNotExist, ValidationError
from django.core.serializers.base import DeserializationError
from django.db import IntegrityError, models, router, transaction
from django.db.models.deletion import Collector
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme

from trod import clock, wording
from trod.catalogue.models import DaySum, DeploymentSum, Reserve
from trod.catalogue.models.overlap import MESSAGE as OVERLAP
from trod.catalogue.models.overlap import NAME as OVERLAP_NAME
from trod.catalogue.slugs import free_slug, slug_from
from trod.units import UNITS, Scale, System, scale, system_of
from trod.web import seen
from trod.web.forms.measured import measured

OVERTAKEN = "Somebody changed or deleted this at the same moment. What you typed still stands here: keep it again."


# Units ------------------------------------------------------------------------------------------------------


# What a field is kept in, by the ending of its name.
STORED: dict[str, str] = {
    "_m": "m",
    "_cm": "cm",
    "_deg": "°",
    "_percent": "%",
    "_s": "s",
    "_h": "h",
    "_gb": "GB",
    "_megapixels": "megapixels",
    "_s_per_day": "s a day",
}


def stored_in(field: str) -> str | None:
    """The unit a field is kept in, by its name."""
    return next((STORED[end] for end in sorted(STORED, key=len, reverse=True) if field.endswith(end)), None)


def unit_of(field: str, units: str) -> Scale | None:
    """The scale on which a person who reads `units` ('metric' or 'us') types this field."""
    stored = stored_in(field)
    return None if stored is None else scale(stored, units)


def units_for(request: HttpRequest, reserve: Reserve | None) -> System:
    """'metric' or 'us': the person's choice, else the reserve's."""
    chosen = request.COOKIES.get("units") or (reserve.units if reserve else "metric")
    return system_of(chosen)


# Times ------------------------------------------------------------------------------------------------------


class MomentInput(forms.DateTimeInput):
    """A date and a time to the minute, in the browser's own picker."""

    input_type = "datetime-local"

    def __init__(self, attrs: dict[str, Any] | None = None, *, seconds: bool = False) -> None:
        form = "%Y-%m-%dT%H:%M:%S" if seconds else "%Y-%m-%dT%H:%M"
        super().__init__({"step": "1" if seconds else "60", **(attrs or {})}, format=form)


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class LocalMoment(forms.DateTimeField):
    """An instant, typed and shown on the reserve's wall clock. `zone` is set by the form."""

    zone = "UTC"

    def __init__(self, **more: Any) -> None:
        super().__init__(**{"widget": MomentInput(), **more})

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, datetime) and value.tzinfo is not None:
            return clock.local(value, self.zone).replace(tzinfo=None)
        return value

    def to_python(self, value: Any) -> datetime | None:
        if value in self.empty_values:
            return None
        if isinstance(value, datetime):
            return value if value.tzinfo else to_instant(value, self.zone)
        try:
            typed = datetime.fromisoformat(str(value).strip())
        except ValueError:
            raise ValidationError(
                f"{value!r} is no date and time; needed: one like 2026-05-31 14:05", code="invalid"
            ) from None
        return typed if typed.tzinfo else to_instant(typed, self.zone)

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            typed = self.to_python(data)
        except ValidationError:
            return True
        if isinstance(initial, datetime) and typed is not None:
            # The picker shows no seconds; an untouched field is no change.
            return typed.replace(second=0, microsecond=0) != initial.replace(second=0, microsecond=0)
        return (initial or None) != typed


def to_instant(typed: datetime, zone: str) -> datetime:
    """A wall-clock time as an instant.

    Raises ValidationError for one that summer time makes twice or skips.
    """
    try:
        return clock.utc_from_local(typed, zone)
    except clock.AmbiguousTime as trouble:
        raise ValidationError(
            f"{typed:%Y-%m-%d %H:%M} {trouble.why}. Give a time an hour earlier or later.", code="ambiguous"
        ) from trouble


class Input(forms.DateTimeField):
    """A camera's own time: a reading of its input, kept as it is in a UTC column."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**{"widget": MomentInput(seconds=True), **more})


# Names ------------------------------------------------------------------------------------------------------


# The form ---------------------------------------------------------------------------------------------------


def limits(model: type[models.Model]) -> dict[str, tuple[float | None, float | None]]:
    """What the database's own checks (`fields.within`) allow, by field, in stored units."""
    found: dict[str, tuple[float | None, float | None]] = {}
    for constraint in model._meta.constraints:
        condition = getattr(constraint, "condition", None)
        if not isinstance(condition, models.Q):
            continue
        leaves = [leaf for leaf in condition.children if isinstance(leaf, tuple)]
        leaves += [
            leaf
            for inner in condition.children
            if isinstance(inner, models.Q)
            for leaf in inner.children
            if isinstance(leaf, tuple)
        ]
        for path, value in leaves:
            name, _, test = path.rpartition("__")
            if isinstance(value, (int, float)) and not isinstance(value, bool) and test in ("gte", "lte"):
                low, high = found.get(name, (None, None))
                found[name] = (value, high) if test == "gte" else (low, value)
    return found


F = TypeVar("F", bound=forms.Field)


def box(form: forms.BaseForm, name: str, kind: type[F]) -> F:
    """A form's field of which more is to be set than any field has, such as its choices."""
    field = form.fields[name]
    if not isinstance(field, kind):
        raise TypeError(f"{name} is a {type(field).__name__}, no {kind.__name__}")
    return field


class RecordForm(seen.Weighed):
    """A record's form.

    Groups are (legend, fields, open?); the first is what is needed, others fold away. What others changed since the
    page was made is merged in, or asked about: see `trod.web.seen`.

    reserve, units, person : of whoever types.
    """

    groups: tuple[tuple[str, tuple[str, ...], bool], ...] = ()
    slug_otherwise = "record"

    def __init__(
        self,
        data: Mapping[str, Any] | None = None,
        files: Any = None,
        *,
        reserve: Reserve | None = None,
        units: str = "metric",
        person: str = "",
        **more: Any,
    ) -> None:
        self.reserve, self.units, self.person = reserve, units, person
        super().__init__(data, files, **more)
        self.begin_weighing()
        self.limits = limits(self._meta.model)
        zone = reserve.zone if reserve else "UTC"
        for name, field in list(self.fields.items()):
            if isinstance(field, LocalMoment):
                field.zone = zone
            self._measure(name, field)
            if isinstance(field.widget, forms.Textarea):
                field.widget.attrs["rows"] = 3
            if isinstance(field, forms.ModelChoiceField) and field.empty_label in (None, "---------"):
                field.empty_label = "choose one" if field.required else "none"
            if isinstance(field.widget, forms.TextInput):
                field.widget.attrs.setdefault("autocomplete", "off")

    def _measure(self, name: str, field: forms.Field) -> None:
        unit = unit_of(name, self.units)
        if not isinstance(field, (forms.FloatField, forms.IntegerField)):
            return
        field.widget.attrs["step"] = "1" if type(field) is forms.IntegerField else "any"
        if unit is None:
            return
        stored_unit = stored_in(name) or ""
        if isinstance(field, forms.FloatField) and stored_unit in UNITS and UNITS[stored_unit].kind == "length":
            field = self.fields[name] = measured(field, stored=stored_unit, system=system_of(self.units))
        # A field that has no name of its own is called after its column, which ends in the stored unit.
        label = str(field.label or name)
        for ending in STORED:
            label = label.removesuffix(ending.replace("_", " "))
        field.label = f"{label} ({unit.sign})"
        stored = self.initial.get(name, field.initial)
        if stored is not None and unit.size != 1:
            self.initial[name] = round(unit.from_stored(float(stored)), 2)

    def _told(self, name: str, value: float) -> str:
        unit = unit_of(name, self.units)
        return f"{unit.from_stored(value):.3g} {unit.sign}" if unit and unit.size != 1 else f"{value:g}"

    def full_clean(self) -> None:
        if self.is_bound:
            self.weigh()
        super().full_clean()
        if self.is_bound:
            self.tell_conflicts()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        for name in list(data):
            value = data[name]
            unit = unit_of(name, self.units)
            if value is None or not isinstance(value, (int, float)) or isinstance(value, bool):
                continue
            if unit and unit.size != 1:
                untouched = name not in self.changed_data and self.instance.pk
                value = getattr(self.instance, name) if untouched else round(unit.to_stored(value), 4)
                data[name] = value
            low, high = self.limits.get(name, (None, None))
            if (low is not None and not value >= low) or (high is not None and not value <= high):
                self.add_error(name, f"got {self._told(name, value)}; needed: {self._needed(name, low, high)}")
        return data

    def _needed(self, name: str, low: float | None, high: float | None) -> str:
        """The limits of a field in words."""
        if low is not None and high is not None:
            return f"from {self._told(name, low)} to {self._told(name, high)}"
        ends = (("at least", low), ("at most", high))
        return " and ".join(f"{words} {self._told(name, end)}" for words, end in ends if end is not None)

    def sections(self) -> list[tuple[str, list[forms.BoundField], bool]]:
        """The groups with their fields, for the template. A group that holds an error stands open."""
        told: set[str] = set()
        out = []
        for legend, names, is_open in self.groups:
            here = [self[name] for name in names if name in self.fields]
            told.update(names)
            if here:
                out.append((legend, here, is_open or any(field.errors for field in here)))
        rest = [field for field in self.visible_fields() if field.name not in told]
        if rest:
            out.append(("", rest, True) if not self.groups else ("More", rest, any(f.errors for f in rest)))
        return out

    def slug_text(self) -> str:
        """What a new record's slug is made of."""
        return str(self.cleaned_data.get("name", ""))

    def refused(self, trouble: IntegrityError) -> None:
        """Say the database's refusal in words. Forms with rules of their own say more."""
        self.add_error(None, refusal(trouble))

    def keep(self) -> models.Model | None:
        """Save; None when the database refuses, with its reason among the errors."""
        row = self.instance
        if hasattr(row, "slug") and not row.slug:
            row.slug = free_slug(type(row), slug_from(self.slug_text(), self.slug_otherwise))
        try:
            with transaction.atomic():
                if self.is_overtaken():
                    self.add_error(None, OVERTAKEN)
                    return None
                self.save()
        except IntegrityError as trouble:
            self.refused(trouble)
            return None
        return row


def refusal(trouble: IntegrityError) -> str:
    """The database's refusal as a sentence."""
    text = str(trouble)
    if OVERLAP in text or OVERLAP_NAME in text:
        return "This camera is already deployed somewhere in that time."
    if "unique" in text.lower():
        return "There is already another record of that name. Give this one another name."
    if "foreign key" in text.lower():
        return "A record that this one refers to was removed meanwhile. Choose another."
    return f"The catalogue does not take this: {text.splitlines()[0]}."


# Pages that hold a form -------------------------------------------------------------------------------------


def back_to(request: HttpRequest, otherwise: str) -> str:
    """Where to go after: the page named by `next` if it is ours."""
    asked = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(asked, allowed_hosts={request.get_host()})
    return asked if ours and asked.startswith("/") else otherwise


def form_page(
    request: HttpRequest,
    form: RecordForm,
    *,
    title: str,
    kept: str,
    back: str,
    after: Callable[[Any], str] | None = None,
    lead: str = "",
    act: str = "Keep",
    delete_url: str = "",
    template: str = "trod/parts/form_page.html",
    **more: Any,
) -> HttpResponse:
    """Show a record's form, or keep it and go on. Bad input comes back as it was typed, with the reasons.

    kept : the sentence said afterwards; {row} stands for the record. after : where to go, of the kept row.
    template : for a form that is laid out in its own way.
    """
    if request.method == "POST" and form.is_valid() and (row := form.keep()) is not None:
        messages.success(request, kept.format(row=row))
        tell_merged(request, form)
        return redirect(back_to(request, after(row) if after else back))
    context = {
        "form": form,
        "title": title,
        "back": back_to(request, back),
        "lead": lead,
        "act": act,
        "delete_url": delete_url,
        "next": request.POST.get("next") or request.GET.get("next") or "",
        **more,
    }
    return render(request, template, context, status=status_of(form))


def status_of(form: RecordForm) -> int:
    """The status of a form's page: 200 fresh, 409 when others changed the same, 422 for what cannot be kept."""
    return (409 if form.conflicts else 422) if form.is_bound else 200


def tell_merged(request: HttpRequest, form: RecordForm) -> None:
    """Say what others changed meanwhile, and that it stays."""
    if form.merged:
        last = form.meanwhile_by
        who = f"{last} changed" if last else "Somebody changed"
        messages.info(request, f"{who} this meanwhile; that stays too: {', '.join(form.merged)}.")


# Deleting ---------------------------------------------------------------------------------------------------


KIND_WORDS = {
    "watchcorrection": ("clock correction", "clock corrections"),
    "roundstop": ("stop on a round", "stops on rounds"),
    "cameramodel": ("camera model", "camera models"),
    "sign": ("sign seen", "sign seen"),
    "species": ("species", "species"),
}


def _counted(counts: Mapping[str, int]) -> str:
    words = []
    for name, n in counts.items():
        one, many = KIND_WORDS.get(name, (name, f"{name}s"))
        told = (
            f"more than {wording.plural(MOST_COUNTED, one, many)}" if n > MOST_COUNTED else wording.plural(n, one, many)
        )
        words.append(told)
    return wording.listed(words)


MOST_COUNTED = 10_000  # of one kind that hangs on a record


def why_not(row: models.Model) -> str:
    """Why a record cannot be deleted: what hangs on it, counted. Empty when it can."""
    counts: dict[str, int] = {}
    for relation in row._meta.related_objects:
        if relation.on_delete in (models.PROTECT, models.RESTRICT):
            of = relation.related_model._default_manager.filter(**{relation.field.name: row}).order_by()
            n = of[: MOST_COUNTED + 1].count()
            if n:
                name = str(relation.related_model._meta.model_name)
                counts[name] = counts.get(name, 0) + n
    return _counted(counts)


KEPT_SUMS = (DaySum, DeploymentSum)  # follow from other rows, and come back by themselves


def stands_alone(row: models.Model) -> bool:
    """True when nothing else would change with the deletion, so that it can be undone whole."""
    collector = Collector(using=router.db_for_write(type(row), instance=row))
    collector.collect([row])
    if sum(len(rows) for model, rows in collector.data.items() if model not in KEPT_SUMS) != 1 or any(
        len(rows)  # type: ignore[arg-type]  # Django keeps lists of lists of rows here; the stubs know one of them
        for changes in collector.field_updates.values()
        for rows in changes
    ):
        return False
    return not any(rows.exists() for rows in collector.fast_deletes if rows.model not in KEPT_SUMS)


def delete_page(
    request: HttpRequest, row: models.Model, *, name: str, back: str, after: str, instead: str = ""
) -> HttpResponse:
    """Ask before a record is deleted; refuse with the reason when others hang on it; offer to undo.

    instead : what to do when it is refused, one sentence.
    """
    held_by = why_not(row)
    alone = not held_by and stands_alone(row)
    if request.method == "POST" and not held_by:
        seen.check(request, row, mine=f"delete {name}")
        stood = copy(row)
        with transaction.atomic():
            row.delete()
        if alone:
            offer_undo(request, f"Put {name} back", after, before=[stood], gone=True)
        messages.success(request, f"{name} is deleted.", extra_tags="undo" if alone else "")
        return redirect(after)
    context = {"row": row, "name": name, "held_by": held_by, "alone": alone, "back": back, "instead": instead}
    return render(request, "trod/parts/delete_page.html", context, status=409 if request.method == "POST" else 200)


def offer_undo(
    request: HttpRequest,
    what: str,
    after: str,
    *,
    before: Iterable[models.Model] = (),
    made: Iterable[models.Model | tuple[str, int]] = (),
    gone: bool = False,
) -> None:
    """Hold an undo for this session, for `put_back`: what was made is deleted, what was before is saved as it was.

    before : rows as they stood, read before they were changed or deleted. gone : they are deleted, and come back only
    where nothing stands in their place.
    """
    held: dict[str, Any] = {"what": what, "rows": serializers.serialize("json", before), "next": after}
    if not gone:
        held["made"] = [(one._meta.label_lower, one.pk) if isinstance(one, models.Model) else one for one in made]
    request.session["undo"] = held


def put_back(request: HttpRequest) -> tuple[bool, str]:
    """Undo the last deletion or list of this session: delete what was made, put back what was.

    Gives whether it was done, and where to go.
    """
    held = request.session.pop("undo", None)
    if not held or seen.undo_is_overtaken(held):
        return False, (held or {}).get("next", "/")
    try:
        with transaction.atomic():
            # Through the rows' own save and delete, so that those who watch the records hear of it.
            for label, number in reversed(held.get("made", ())):
                apps.get_model(label)._default_manager.get(pk=number).delete()
            for entry in serializers.deserialize("json", held.get("rows") or "[]"):
                entry.object.save(force_insert="made" not in held)
    except (IntegrityError, models.ProtectedError, ObjectDoesNotExist, DeserializationError, LookupError):
        return False, held.get("next", "/")
    return True, held.get("next", "/")

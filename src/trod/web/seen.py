"""Nobody's change is overwritten unseen.

Every page on which a record can be changed carries, signed, what the record held when the page was made: the stamp.
When it comes back, three values meet: what the page showed, what was typed, and what the record holds now. Where only
one side changed, that change stays. Where both did, nothing is kept until the person has seen both values, with who and
when, and has chosen. `weigh` does this for a record's form (see `forms.common.RecordForm`); `check` for a press
without a form, which is held back whole.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from django import forms
from django.core import serializers, signing
from django.core.serializers.base import DeserializationError
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction
from django.db.models.signals import post_delete, post_save
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.html import format_html
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.safestring import SafeString

from trod.catalogue.models import LastChange
from trod.catalogue.who import who

FIELD = "seen"
CHOICE = "stands-"
LONGEST_STAMP = 200_000
LONG_VALUE = 300  # characters; of a longer one the stamp holds a digest
MINE, THEIRS = "mine", "theirs"


# Stamps -----------------------------------------------------------------------------------------------------


def stamp(held: Mapping[str, Any]) -> str:
    """What a page showed, signed so that it comes back as it went."""
    return signing.dumps({"at": timezone.now().isoformat(), **held}, salt="trod.web.seen", compress=True)


def read(text: object) -> dict[str, Any] | None:
    """A stamp as it was made; None for none, or for one that is not ours."""
    if not isinstance(text, str) or not text or len(text) > LONGEST_STAMP:
        return None
    try:
        found = signing.loads(text, salt="trod.web.seen")
    except (signing.BadSignature, ValueError):
        return None
    return found if isinstance(found, dict) else None


def hidden(text: str) -> SafeString:
    """The stamp as a hidden box."""
    return format_html('<input type="hidden" name="{}" value="{}">', FIELD, text)


def mark(value: Any) -> str:
    """A short mark of a value, from which nobody guesses it: two that differ have two marks."""
    text = json.dumps(value, cls=DjangoJSONEncoder, sort_keys=True, default=str)
    return salted_hmac("trod.web.seen.mark", text.encode("utf-8", "surrogatepass"), algorithm="sha256").hexdigest()[:24]


def state(row: models.Model, only: Iterable[str] = ()) -> dict[str, str]:
    """{column: its value as text, or the mark of a long or covered one} of a row."""
    wanted = set(only)
    covered = getattr(row, "covered", ())
    out = {}
    for field in row._meta.concrete_fields:
        if field.primary_key or (wanted and field.name not in wanted):
            continue
        value = field.value_from_object(row)
        text = value if isinstance(value, str) else json.dumps(value, cls=DjangoJSONEncoder, sort_keys=True, default=str)
        out[field.attname] = f"\0{mark(text)}" if field.name in covered or len(text) > LONG_VALUE else text
    return out


# Who and when -----------------------------------------------------------------------------------------------


def _note(sender: Any, instance: models.Model, raw: bool = False, **more: Any) -> None:
    from trod.catalogue.papers.ledger import is_quiet

    if raw or is_quiet():
        return
    LastChange.objects.bulk_create(
        [LastChange(kind=sender._meta.label_lower, number=instance.pk, at=timezone.now(), by=who()[:80])],
        update_conflicts=True,
        unique_fields=["kind", "number"],
        update_fields=["at", "by"],
    )


def _forget(sender: Any, instance: models.Model, **more: Any) -> None:
    LastChange.objects.filter(kind=sender._meta.label_lower, number=instance.pk).delete()


def watch_changes(kinds: Iterable[type[models.Model]]) -> None:
    """Note who changes records of these kinds; called once when Django is ready."""
    for kind in kinds:
        post_save.connect(_note, sender=kind, dispatch_uid=f"last-change-{kind.__name__}")
        post_delete.connect(_forget, sender=kind, dispatch_uid=f"last-change-gone-{kind.__name__}")


def last_change(row: models.Model) -> LastChange | None:
    """Who changed this record last, as far as the catalogue knows."""
    return LastChange.objects.filter(kind=row._meta.label_lower, number=row.pk).first()


@dataclass(frozen=True)
class Conflict:
    """Two sides that changed one thing. mine, theirs : in words."""

    name: str
    label: str
    mine: str
    theirs: str


# Forms ------------------------------------------------------------------------------------------------------


def shown(field: forms.Field, value: Any) -> str | list[str]:
    """A value as its box holds it."""
    value = field.prepare_value(value)
    if isinstance(field.widget, forms.CheckboxInput):
        return "on" if field.widget.check_test(value) else ""
    if isinstance(field.widget, forms.SelectMultiple):
        return sorted(str(one) for one in value or ())
    text = field.widget.format_value(value)
    if isinstance(text, list | tuple):
        text = text[0] if text else ""
    return _plain(text)


def posted(form: forms.BaseForm, name: str) -> str | list[str]:
    """What came back in a box."""
    field = form.fields[name]
    value = field.widget.value_from_datadict(form.data, form.files, form.add_prefix(name))
    if isinstance(field.widget, forms.CheckboxInput):
        return "on" if value else ""
    if isinstance(field.widget, forms.SelectMultiple):
        return sorted(str(one) for one in value or ())
    return _plain(value)


def _plain(value: Any) -> str:
    return "" if value is None else str(value).replace("\r\n", "\n").replace("\r", "\n").strip()


def same(one: Any, other: Any) -> bool:
    """Whether two boxes say the same: 1 and 1.0 do."""
    if one == other:
        return True
    try:
        return float(one) == float(other)
    except (TypeError, ValueError):
        return False


def in_words(field: forms.Field, value: str | list[str]) -> str:
    """What a box says, for a person."""
    if isinstance(field.widget, forms.CheckboxInput):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(value) or "nothing"
    if value and hasattr(field, "choices"):
        for key, words in field.choices:
            if not isinstance(words, list | tuple) and str(key) == value:
                return str(words)
    return value or "nothing"


def put(data: Any, key: str, field: forms.Field, value: str | list[str]) -> None:
    """Write into posted data what a box is to say."""
    if isinstance(field.widget, forms.CheckboxInput):
        data.pop(key, None)
        if value:
            data[key] = "on"
    elif isinstance(value, list) and hasattr(data, "setlist"):
        data.setlist(key, value)
    else:
        data[key] = value


class Weighed(forms.ModelForm):
    """What a record's form adds for this: `forms.common.RecordForm` is made of it.

    offered : boxes filled with a proposal, not with what is kept. unseen : of values that no box shows, a mark for
    the box that changes each, such as a covered number.
    """

    offered: tuple[str, ...] = ()

    def begin_weighing(self) -> None:
        """To be called once the instance is known and before anything is written to it."""
        self.conflicts: list[Conflict] = []
        self.merged: list[str] = []
        self.meanwhile_by = ""
        self.kept_as = state(self.instance) if self.instance.pk else {}
        self.unseen_now = self.unseen() if self.instance.pk else {}

    def unseen(self) -> dict[str, str]:
        return {}

    def _weighable(self) -> list[str]:
        return [
            name
            for name, field in self.fields.items()
            if name not in self.offered
            and not field.disabled
            and not isinstance(field.widget, forms.MultiWidget | forms.FileInput)
        ]

    def _now(self) -> dict[str, str | list[str]]:
        return {
            name: shown(self.fields[name], self.get_initial_for_field(self.fields[name], name))
            for name in self._weighable()
        }

    @property
    def stamp(self) -> str:
        """What the boxes of this page stand for in the record, to come back with what is typed."""
        if not self.instance.pk or not self.kept_as:
            return ""
        return stamp({"shown": self._now(), "unseen": self.unseen_now, "open": [one.name for one in self.conflicts]})

    @property
    def last_change(self) -> LastChange | None:
        return last_change(self.instance)

    def stands(self, name: str) -> str:
        """Which side the person chose for a box: mine, theirs, or nothing yet."""
        said = self.data.get(CHOICE + name)
        return said if said in (MINE, THEIRS) else ""

    def weigh(self) -> None:
        """Merge what only one side changed into what came back, and note the conflicts. Before the form is cleaned."""
        held = read(self.data.get(FIELD)) if self.kept_as else None
        if held is None or not isinstance(held.get("shown"), dict):
            return
        was, still_open = held["shown"], held.get("open") or ()
        self.data = deepcopy(self.data)
        for name, now in self._now().items():
            if name not in was:
                continue
            field, mine, choice = self.fields[name], posted(self, name), self.stands(name)
            if name in still_open and choice == THEIRS:
                put(self.data, self.add_prefix(name), field, now)
            elif name in still_open and not choice and not same(mine, now):
                self._in_conflict(name, mine, now)
            elif same(was[name], now) or same(mine, now):
                continue
            elif same(mine, was[name]):
                put(self.data, self.add_prefix(name), field, now)
                self.merged.append(str(self[name].label))
                last = self.last_change
                self.meanwhile_by = last.by if last else ""
            else:
                self._in_conflict(name, mine, now)
        then = held.get("unseen") or {}
        for name, value in self.unseen_now.items():
            changed = then.get(name) != value or name in still_open
            if changed and self.unseen_is_changed(name) and self.stands(name) != MINE:
                if name in still_open and self.stands(name) == THEIRS:
                    self.leave_unseen(name)
                else:
                    label = str(self[name].label) if name in self.fields else name.capitalize()
                    self.conflicts.append(Conflict(name, label, "what you put in", "what was put in meanwhile"))

    def unseen_is_changed(self, name: str) -> bool:
        """Whether what came back would change a value that no box shows."""
        return bool(posted(self, name))

    def leave_unseen(self, name: str) -> None:
        """Take what came back for such a value out again."""
        put(self.data, self.add_prefix(name), self.fields[name], "")

    def _in_conflict(self, name: str, mine: Any, now: Any) -> None:
        field = self.fields[name]
        words = Conflict(name, str(self[name].label), in_words(field, mine), in_words(field, now))
        self.conflicts.append(words)

    def tell_conflicts(self) -> None:
        """Make each conflict an error, after the form is cleaned."""
        for one in self.conflicts:
            words = "changed meanwhile: say above which value stands"
            self.add_error(one.name if one.name in self.fields else None, words)

    def is_overtaken(self) -> bool:
        """Whether somebody kept a change between the reading and the keeping. Holds the row, in a transaction."""
        if not self.kept_as:
            return False
        row = type(self.instance)._base_manager.select_for_update().filter(pk=self.instance.pk).first()
        return row is None or state(row) != self.kept_as


# Presses without a form -------------------------------------------------------------------------------------


class Stale(Exception):
    """A record changed since the page that was pressed on was made. conflicts : what, from what, to what."""

    def __init__(self, row: models.Model, conflicts: Sequence[Conflict], again: str) -> None:
        super().__init__(row, conflicts)
        self.row, self.conflicts, self.again = row, tuple(conflicts), again


def row_stamp(*rows: models.Model, only: Iterable[str] = ()) -> str:
    """The stamp of a page that shows these rows and can change them. only : the columns that its press touches."""
    held = {f"{row._meta.label_lower} {row.pk}": state(row, only) for row in rows if row.pk is not None}
    return stamp({"rows": held})


def check(request: HttpRequest, row: models.Model, *, only: Iterable[str] = (), mine: str = "") -> None:
    """Raise Stale when the row is not as the page showed it. mine : what was pressed, in words.

    Within a transaction it holds the row until the end, so that two who press at once come one after the other.
    A press without a stamp (a script, a page of an earlier Trod) is taken at its word.
    """
    held = read(request.POST.get(FIELD))
    if held is None:
        return
    rows = type(row)._base_manager.all()
    if transaction.get_connection().in_atomic_block:
        rows = rows.select_for_update()
    now = rows.filter(pk=row.pk).first()
    was = (held.get("rows") or {}).get(f"{row._meta.label_lower} {row.pk}")
    if now is None or not isinstance(was, dict):
        return
    found = []
    for name, value in state(now, only).items():
        if name in was and was[name] != value:
            field = next(f for f in row._meta.concrete_fields if f.attname == name)
            found.append(Conflict(name, str(field.verbose_name), _told(field, was[name]), _told(field, value)))
    if found:
        raise Stale(now, found, mine)


def _told(field: models.Field[Any, Any], text: str) -> str:
    if text.startswith("\0") or isinstance(field, models.JSONField):
        return "something else"
    if text in ("", "null"):
        return "nothing"
    if field.choices:
        return str(dict(field.flatchoices).get(text, text))
    if isinstance(field, models.ForeignKey):
        other = field.related_model._base_manager.filter(pk=text).first()
        return str(other) if other is not None else "a record that is gone"
    return {"true": "yes", "false": "no"}.get(text, text.strip('"'))


def _undone(held: Mapping[str, Any]) -> dict[str, str]:
    """{row: a mark of how it stands now} of the rows that an undo would write."""
    marks = {}
    for entry in serializers.deserialize("json", held.get("rows") or "[]", ignorenonexistent=True):
        row = entry.object
        now = type(row)._base_manager.filter(pk=row.pk).first()
        marks[f"{row._meta.label_lower} {row.pk}"] = mark(state(now)) if now is not None else ""
    return marks


def mark_undo(request: HttpRequest) -> None:
    """Once a change is made that can be undone, note how it left its rows."""
    if not request.session.modified:
        return
    held = request.session.get("undo")
    if isinstance(held, dict) and held.get("rows") and "stands" not in held:
        held["stands"] = _undone(held)


def undo_is_overtaken(held: Mapping[str, Any]) -> bool:
    """Whether a row that an undo would write was changed since."""
    stands = held.get("stands")
    try:
        return isinstance(stands, dict) and _undone(held) != stands
    except DeserializationError:
        return False  # whoever puts it back tells of it


class SeenMiddleware:
    """Tells of a press that came too late, and guards what can be undone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        mark_undo(request)
        return answer

    def process_exception(self, request: HttpRequest, trouble: Exception) -> HttpResponse | None:
        if not isinstance(trouble, Stale):
            return None
        again = [
            (name, value)
            for name, values in request.POST.lists()
            for value in values
            if name not in (FIELD, "csrfmiddlewaretoken")
        ]
        context = {
            "row": trouble.row,
            "conflicts": trouble.conflicts,
            "last": last_change(trouble.row),
            "mine": trouble.again,
            "posted": [] if request.FILES else again,
            "files": bool(request.FILES),
            "seen": row_stamp(trouble.row),
            "back": _back(request),
        }
        return render(request, "trod/parts/meanwhile.html", context, status=409)


def _back(request: HttpRequest) -> str:
    came = request.headers.get("Referer", "")
    return came if url_has_allowed_host_and_scheme(came, allowed_hosts={request.get_host()}) else "/"

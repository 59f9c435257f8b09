"""Notes of visits that come home, from a field form or a sheet: brought together with what is known, kept, and shown.

The note itself is kept as a file of the archive before the database hears of it (`trod.archive.fieldnotes`); a visit
row is made of it. Nothing is doubled; what two sides say differently is held, both sides, until a person decides.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import ProtectedError, Q

from trod import clock
from trod.archive import fieldnotes as files
from trod.catalogue import home
from trod.catalogue.models import Card, Deployment, NotVisited, Round, Site, Visit
from trod.catalogue.papers import standing
from trod.catalogue.rounds import field_origin, note_plain
from trod.errors import CatalogueTrouble, WrongInput
from trod.field.form import CardPut, KnownVisit, VisitNote, merge
from trod.field.form.merging import DOUBLE_WITHIN, Conflict
from trod.planning.equipment.batteries import BATTERIES
from trod.planning.equipment.pack_text import pack_from

LABEL = 64  # characters of a card's label
CHOICES = ("one", "other", "both")
LOOK_BACK = timedelta(days=60)  # so long before its day a round is gone to; ours
ANOTHERS = "The visit was written by another hand"
ANOTHERS_WORDS = f"{ANOTHERS}: another phone, another form or somebody here."


@dataclass(frozen=True, kw_only=True)
class Origin:
    """Where notes came from. field form : its id, or "".

    reserve : as the field form names it; "" for a table. by : who handed them in. at : when.

    by_token : nobody logged in stands behind it, only the field form's token; then it replaces nothing of another's.
    """

    field_form: str
    by: str
    at: datetime
    reserve: str = ""
    by_token: bool = False


@dataclass(kw_only=True)
class Taken:
    """What became of the notes, by uuid. told : sentences for a person, such as a deployment that began."""

    new: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    same: list[str] = field(default_factory=list)
    held: dict[str, str] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)

    def sentence(self) -> str:
        """In words."""
        parts = [
            f"{n} {words}"
            for n, words in (
                (len(self.new), "new"),
                (len(self.changed), "changed"),
                (len(self.same), "known already"),
                (len(self.held), "held until you decide"),
            )
            if n
        ]
        return f"Visits: {', '.join(parts)}." if parts else "The file holds no visit."


# Importing -------------------------------------------------------------------------------------------------


def take(notes: Sequence[VisitNote], origin: Origin) -> Taken:
    """Take notes in. When this returns, every one of them is on the disk: kept, known already, or held.

    Raises TrodError when the disk refuses; nothing is promised then, and importing again does no harm.
    """
    standing.require()
    with files.lock(home.archive_root()):
        return take_locked(notes, origin)


def take_locked(notes: Sequence[VisitNote], origin: Origin) -> Taken:
    """As `take`, for a caller who holds the notes' lock."""
    taken = Taken()
    sites = {s.slug: s for s in Site.objects.filter(slug__in={n.site for n in notes}).select_related("reserve")}
    fit = []
    for note in notes:
        site = sites.get(note.site)
        why = field_origin.strange(note, site, field_form=origin.field_form, reserve=origin.reserve)
        before = files.read(home.archive_root(), note.uuid) if why is not None else None
        if why is not None and before is None:
            _hold(None, note, why.kind, why.words, origin, taken)
        elif site is not None:
            fit.append(note)  # also one that was strange, when a person has decided what becomes of it
        elif before is not None and note_plain.note_from(before["note"]).digest() == note.digest():
            taken.same.append(note.uuid)
        elif why is not None:
            _hold(None, note, why.kind, why.words, origin, taken)
    found = merge(_known(fit, sites), fit, cards=_cards(fit))
    for note in found.new:
        _keep(note, origin, taken)
        taken.new.append(note.uuid)
    for known, note in found.changed:
        if origin.by_token and not _same_hand(known, note, origin):
            _hold(known, note, ANOTHERS, ANOTHERS_WORDS, origin, taken)
        else:
            _keep(note, origin, taken)
            taken.changed.append(note.uuid)
    for conflict in found.conflicts:
        _hold_conflict(conflict, {n.uuid for n in found.held}, origin, taken)
    done = {*taken.new, *taken.changed, *taken.held}
    for note in found.same:
        if note.uuid not in done:
            _mend(note.uuid, origin, taken)
            taken.same.append(note.uuid)
    return taken


def _same_hand(known: VisitNote, note: VisitNote, origin: Origin) -> bool:
    """Whether a known visit came from the same phone by the same field form, so that a later state of it is its own."""
    if not known.phone or known.phone != note.phone or known.site != note.site:
        return False
    fields = files.read(home.archive_root(), note.uuid)
    return fields is not None and fields.get("field_form") == origin.field_form


def _headed(note: VisitNote, words: str) -> str:
    """What is held, with its site and its instant, for those who read a list of many."""
    return f"{note.site}, {note.at:%Y-%m-%d %H:%M} UTC: {words}"


def _mend(uid: str, origin: Origin, taken: Taken) -> None:
    """A note whose row was never made, because its process died in between, gets it now."""
    fields = files.read(home.archive_root(), uid)
    if fields is not None and fields.get("state") == "coming":
        _row(note_plain.note_from(fields["note"]), fields, origin, taken)


def _keep(note: VisitNote, origin: Origin, taken: Taken) -> None:
    """A note goes to the disk, then into the catalogue."""
    root = home.archive_root()
    before = files.read(root, note.uuid)
    if before is not None and before.get("state") == "left out":
        _write(note, before, origin, "left out")
        return
    fields = _write(note, before, origin, "coming")
    _row(note, fields, origin, taken)


def _write(note: VisitNote, before: Mapping[str, Any] | None, origin: Origin, state: str) -> dict[str, Any]:
    """The note's file. state : coming (its row is to be made), kept, or left out (a person wanted no row)."""
    root = home.archive_root()
    for photo in note.photos:
        if photo.jpeg:
            files.keep_photo(root, photo.jpeg)
    fields = {
        "state": state,
        "field_form": origin.field_form,
        "by": origin.by,
        "at": _moment(origin.at),
        "note": note_plain.note_plain(note),
        "earlier": [*(before or {}).get("earlier", []), *([before["note"]] if before else [])],
    }
    files.write(root, note.uuid, fields)
    return fields


def _row(note: VisitNote, fields: Mapping[str, Any], origin: Origin, taken: Taken) -> None:
    """The visit's row of a note whose file is written; then the file says so."""
    from trod.catalogue.rounds import visiting
    from trod.catalogue.rows import changes

    with transaction.atomic():
        row = Visit.objects.filter(uuid=note.uuid).first()
        _not_visited(note, str(fields.get("field_form", "")), taken)
        if not note.stands:
            if row is not None:
                row.delete()
                taken.told.append(f"{note.site}: the visit was taken back on the phone.")
        else:
            new = row is None
            values, settings = _values(note)
            values["field_form"] = str(fields.get("field_form", ""))
            row = row or Visit(uuid=uuid.UUID(note.uuid))
            for name, value in values.items():
                setattr(row, name, value)
            changed = visiting.differing(row.deployment, settings) if new else {}
            if changed:
                row.changed = changed
            row.save()
            if new:
                anew = visiting.wants_anew(changed, "")
                if anew and row.deployment is not None and (why := visiting.why_not_anew(row.deployment, row.at)):
                    anew = False
                    taken.told.append(f"{row.site}: hung otherwise, but no new deployment begins: {why}.")
                done = visiting.carry_out(row, changed=changed, anew=anew)
                taken.told += [f"{row.site}: {words}" for words in (*done.told, *done.warned)]
            else:
                changes.follow_visit(row)
    files.write(home.archive_root(), note.uuid, {**fields, "state": "kept"})


def _not_visited(note: VisitNote, field_form: str, taken: Taken) -> None:
    """The row of a stop that was not reached; none when it was, or when the note was taken back."""
    if note.outcome != "not visited" or note.withdrawn:
        for row in NotVisited.objects.filter(uuid=note.uuid):
            row.delete()
        return
    site = Site.objects.get(slug=note.site)
    values = {
        "site": site,
        "deployment": Deployment.objects.filter(slug=note.deployment, site=site).first() if note.deployment else None,
        "at": note.at,
        "by": note.by[:80],
        "why": " ".join(part for part in (note.why_not, note.note) if part),
        "field_form": field_form,
    }
    _, new = NotVisited.objects.update_or_create(uuid=note.uuid, defaults=values)
    if new:
        taken.told.append(f"{site}: not visited; it stands on Today until somebody has been there.")


def _values(note: VisitNote) -> tuple[dict[str, Any], dict[str, Any]]:
    """(values of the visit's row, settings that were noted) of a note."""
    site = Site.objects.get(slug=note.site)
    deployment = Deployment.objects.filter(slug=note.deployment).first() if note.deployment else None
    if deployment is not None and deployment.site_id != site.pk:
        deployment = None
    kind, count = _batteries(note.batteries)
    extra = []
    if note.deployment and deployment is None:
        extra.append(f"Noted for the deployment {note.deployment}, which is not here.")
    if note.harm:
        extra.append(f"Theft or damage: {note.harm_note or 'no more was noted'}.")
    if note.batteries and not (kind and count):
        extra.append(f"Batteries: {note.batteries}.")
    if note.clock_photographed_at:
        extra.append(f"The camera photographed the phone's clock at {_moment(note.clock_photographed_at)}.")
    extra += note_plain.passes_words(note)
    values: dict[str, Any] = {
        "site": site,
        "deployment": deployment,
        "at": note.at,
        "by": note.by[:80],
        "arrival": note.arrival,
        "battery_percent": note.battery_percent,
        "batteries_changed": note.batteries_changed,
        "battery_kind": kind,
        "battery_count": count,
        "card_out": _card(note.card_out),
        "card_in": _card(note.card_in),
        "clock_shown": note.clock_shown.replace(tzinfo=UTC) if note.clock_shown else None,
        "clock_true": note.clock_true_at,
        "walk_test": bool(note.walk_passes),
        "work": note.work,
        "note": "\n".join(part for part in (note.note, *extra) if part),
        "field_form_revision": note.revision,
        "field_form_digest": note.digest(),
        "photos": [
            {"sha256": p.sha256, "name": f"{p.taken_at:%Y-%m-%d %H:%M}", "path": f"{files.FOLDER}/{p.sha256}.jpg"}
            for p in note_plain.with_identity(note.photos)
        ],
    }
    changes = note.changes
    settings = {
        name: getattr(changes, name)
        for name in ("height_m", "tilt_deg", "heading_deg", "burst", "delay_s", "sensitivity")
        if getattr(changes, name) is not None
    }
    if "sensitivity" in settings and settings["sensitivity"] not in _sensitivities():
        settings.pop("sensitivity")
    return values, settings


def _sensitivities() -> set[str]:
    field_ = Deployment._meta.get_field("sensitivity")
    return {str(key) for key, _ in (field_.choices or ())}


def _batteries(text: str) -> tuple[str, int | None]:
    """Kind and number of "8 × FR6"; nothing where the text does not tell both."""
    if not text.strip():
        return "", None
    pack, said = pack_from(text)
    told_number = any(ch.isdigit() for ch in text.replace(pack.battery.designation, ""))
    if not said.whole or pack.battery.designation not in BATTERIES or not told_number:
        return "", None
    return pack.battery.designation, pack.number


def _card(label: str) -> Card | None:
    """A card by its label, whatever its case and spaces; made when nobody knows it yet."""
    label = " ".join(label.split())[:LABEL]
    if not label:
        return None
    return Card.objects.filter(label__iexact=label).first() or Card.objects.create(label=label)


# What is known ----------------------------------------------------------------------------------------------


def _known(notes: Sequence[VisitNote], sites: Mapping[str, Site]) -> list[KnownVisit]:
    """What is known of these visits, of others at the same places about then, and of the cards that are named."""
    root = home.archive_root()
    found: dict[str, KnownVisit] = {}
    labels = {" ".join(c.split()) for n in notes for c in (n.card_in, n.card_out) if c.strip()}
    near = Q(pk__in=[])
    for note in notes:
        near |= Q(site=sites[note.site], at__gte=note.at - DOUBLE_WITHIN, at__lte=note.at + DOUBLE_WITHIN)
    for label in labels:
        near |= Q(card_in__label__iexact=label) | Q(card_out__label__iexact=label)
    near |= Q(uuid__in=[n.uuid for n in notes])
    visits = Visit.objects.filter(near).select_related("site", "deployment", "card_in", "card_out")
    rows = {str(v.uuid): v for v in visits}
    for uid in {*rows, *(n.uuid for n in notes)}:
        row, fields = rows.get(uid), None
        if row is None or row.field_form_revision is not None:
            try:
                fields = files.read(root, uid)
            except CatalogueTrouble:
                fields = None
        if fields is not None:
            said = note_plain.note_from(fields["note"])
            at_home = _at_home(said, row)
            found[uid] = KnownVisit(visit=at_home, taken_digest=said.digest() if at_home is not said else "")
        elif row is not None:
            found[uid] = KnownVisit(visit=from_row(row))
    return list(found.values())


COMPARED = (
    "at", "by", "arrival", "battery_percent", "batteries_changed", "card_out", "card_in", "clock_shown", "clock_true", "work",  # noqa: E501
    "note",
)  # fmt: skip


def _at_home(said: VisitNote, row: Visit | None) -> VisitNote:
    """The note as it stands at home: what the phone said, with what somebody changed since.

    The very note when nobody changed it; a row that somebody deleted is not brought back by a later copy of the same
    note.
    """
    if row is None or not said.stands:
        return said
    values, _ = _values_without_cards(said)
    for name in COMPARED:
        mine = getattr(row, name)
        if name in ("card_out", "card_in"):
            mine = mine.label.casefold() if mine else ""
        if mine != values[name]:
            return replace(from_row(row), revision=said.revision, phone=said.phone, photos=said.photos)
    return said


def _values_without_cards(note: VisitNote) -> tuple[dict[str, Any], dict[str, Any]]:
    """As `_values`, with the cards as labels, so that nothing is made."""
    values, settings = _values(replace(note, card_in="", card_out=""))
    for name in ("card_out", "card_in"):
        values[name] = " ".join(getattr(note, name).split())[:LABEL].casefold()
    return values, settings


def from_row(row: Visit) -> VisitNote:
    """A visit as it was written at home, as a note."""
    batteries = (
        f"{row.battery_count} × {row.battery_kind}" if row.battery_kind and row.battery_count else row.battery_kind
    )
    return VisitNote(
        uuid=str(row.uuid),
        site=row.site.slug,
        deployment=row.deployment.slug if row.deployment else "",
        phone="",
        made_at=row.at,
        changed_at=row.at,
        revision=row.field_form_revision or 1,
        outcome="visited",
        at=row.at,
        by=row.by,
        arrival=row.arrival,  # type: ignore[arg-type]
        battery_percent=row.battery_percent,
        batteries_changed=row.batteries_changed,
        batteries=batteries,
        card_out=row.card_out.label if row.card_out else "",
        card_in=row.card_in.label if row.card_in else "",
        clock_shown=row.clock_shown.replace(tzinfo=None) if row.clock_shown else None,
        clock_true_at=row.clock_true,
        work=row.work,
        note=row.note,
    )


def _cards(notes: Iterable[VisitNote]) -> list[CardPut]:
    """Cards that deployments were set up with: those of deployments into which no visit put one since."""
    labels = {" ".join(c.split()) for n in notes for c in (n.card_in,) if c.strip()}
    if not labels:
        return []
    wanted = Q(pk__in=[])
    for label in labels:
        wanted |= Q(card__label__iexact=label)
    rows = (
        Deployment.objects.filter(wanted)
        .exclude(pk__in=Visit.objects.filter(card_in__isnull=False, deployment__isnull=False).values("deployment"))
        .select_related("card")
    )
    return [CardPut(card=d.card.label, deployment=d.slug, at=d.start, until=d.end) for d in rows if d.card]


# What is held -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Held:
    """A note that waits for a person's word. name : of its file. one : the first side, None where it is no visit.

    one_came : the first side came too, and waits as well. same_visit : both are one visit by its uuid.
    """

    name: str
    kind: str
    words: str
    one: VisitNote | None
    other: VisitNote
    one_came: bool
    came_at: datetime
    field_form: str

    @property
    def strange(self) -> bool:
        """Whether nobody knows that it belongs here, so that there is one side alone."""
        return self.kind in field_origin.KINDS

    @property
    def same_visit(self) -> bool:
        """Whether both sides are one visit."""
        return self.one is not None and self.one.uuid == self.other.uuid

    def rows(self, zone: str) -> list[tuple[str, str, str, bool]]:
        """(label, first side, second side, whether they differ), for a table in the reserve's time."""
        return note_plain.side_by_side(self.one, self.other, zone)

    def heading(self, site: str, zone: str) -> str:
        """The sentence with the site's name and the reserve's time."""
        return f"{site}, {clock.local(self.other.at, zone):%Y-%m-%d %H:%M}: {self.words}"


def _hold_conflict(conflict: Conflict, held: set[str], origin: Origin, taken: Taken) -> None:
    one_came = conflict.one is not None and conflict.one.uuid != conflict.other.uuid and conflict.one.uuid in held
    if conflict.one is not None and one_came:
        _photos(conflict.one)
        taken.held[conflict.one.uuid] = _headed(conflict.other, conflict.words)
    _hold(conflict.one, conflict.other, conflict.kind, conflict.words, origin, taken, one_came=one_came)


def _photos(note: VisitNote) -> None:
    for photo in note.photos:
        if photo.jpeg:
            files.keep_photo(home.archive_root(), photo.jpeg)


def _hold(
    one: VisitNote | None,
    other: VisitNote,
    kind: str,
    words: str,
    origin: Origin,
    taken: Taken,
    *,
    one_came: bool = False,
) -> None:
    root = home.archive_root()
    _photos(other)
    name = files.held_name(other.uuid, other.digest())
    old = files.read_held(root, name)
    if old is None or old.get("decided"):
        files.write_held(
            root,
            name,
            {
                "what": kind,
                "words": words,
                "one": note_plain.note_plain(one) if one is not None else None,
                "other": note_plain.note_plain(other),
                "one_came": one_came,
                "field_form": origin.field_form,
                "by": origin.by,
                "at": _moment(origin.at),
                "decided": None,
            },
        )
    for earlier, fields in files.all_held(root):
        mine = fields["other"]["uuid"] == other.uuid and earlier != name
        same_phone = fields["other"].get("phone") == other.phone  # another's waits on, whatever number this one has
        if mine and same_phone and not fields.get("decided") and fields["other"]["revision"] < other.revision:
            decided = {"what": "a newer state came", "at": _moment(origin.at)}
            files.write_held(root, earlier, {**fields, "decided": decided})
    taken.held[other.uuid] = _headed(other, words)


def open_held() -> list[Held]:
    """All that waits, the oldest first."""
    out = []
    for name, fields in files.all_held(home.archive_root()):
        if not fields.get("decided"):
            try:
                out.append(_held(name, fields))
            except (WrongInput, KeyError, TypeError, ValueError):
                continue
    return sorted(out, key=lambda h: h.came_at)


def _held(name: str, fields: Mapping[str, Any]) -> Held:
    return Held(
        name=name,
        kind=fields["what"],
        words=fields["words"],
        one=note_plain.note_from(fields["one"]) if fields["one"] else None,
        other=note_plain.note_from(fields["other"]),
        one_came=bool(fields.get("one_came")),
        came_at=datetime.fromisoformat(fields["at"].replace("Z", "+00:00")),
        field_form=fields.get("field_form", ""),
    )


def decide(name: str, choice: str, *, by: str, now: datetime) -> Taken:
    """Settle a held note: keep "one", the "other", or "both". Raises WrongInput for what waits no more."""
    root = home.archive_root()
    if choice not in CHOICES:
        raise WrongInput("choice", got=choice, needed=" or ".join(CHOICES))
    taken = Taken()
    standing.require()
    with files.lock(root):
        fields = files.read_held(root, name)
        if fields is None or fields.get("decided"):
            raise WrongInput("held note", got="one that waits no more", needed="one that is listed")
        held = _held(name, fields)
        if not Site.objects.filter(slug=held.other.site).exists() and choice != "one":
            needed = "a site of that name; make it first, or leave the note out"
            raise WrongInput("site", got=held.other.site, needed=needed)
        origin = Origin(field_form=held.field_form, by=by, at=now)
        _settle(held, choice, origin, taken)
        files.write_held(root, name, {**fields, "decided": {"what": choice, "by": by, "at": _moment(now)}})
    return taken


def _settle(held: Held, choice: str, origin: Origin, taken: Taken) -> None:
    one, other = held.one, held.other
    root = home.archive_root()
    if one is not None and held.one_came:
        if choice in ("one", "both"):
            _keep(one, origin, taken)
        else:
            _write(one, files.read(root, one.uuid), origin, "left out")
    if held.same_visit:
        if one is not None and choice != "other" and not Visit.objects.filter(uuid=one.uuid).exists():
            _keep(one, origin, taken)  # two states that came together: neither is in the catalogue yet
        if choice == "one":  # home stays; what the phone said is known from now on
            _write(other, files.read(root, other.uuid), origin, "kept")
        elif choice == "other":
            _keep(other, origin, taken)
        else:
            second = replace(other, uuid=str(uuid.uuid5(uuid.UUID(other.uuid), other.digest())))
            _write(other, files.read(root, other.uuid), origin, "kept")
            _keep(second, origin, taken)
        return
    if choice == "one":
        _write(other, files.read(root, other.uuid), origin, "left out")
        return
    if choice == "other" and held.kind == "noted twice" and one is not None and not held.one_came:
        _leave_out(one)
    _keep(other, origin, taken)


def _leave_out(one: VisitNote) -> None:
    """Take a visit out of the catalogue; its words stay on the disk, in the held file and in its note."""
    root = home.archive_root()
    for missed in NotVisited.objects.filter(uuid=one.uuid):
        missed.delete()
    row = Visit.objects.filter(uuid=one.uuid).first()
    if row is None:
        return
    try:
        with transaction.atomic():
            row.delete()
    except ProtectedError as trouble:
        raise WrongInput(
            "choice", got="the second alone", needed="both, since things were booked out of stock for the first"
        ) from trouble
    before = files.read(root, one.uuid)
    if before is not None:
        files.write(root, one.uuid, {**before, "state": "left out"})


# Shown ------------------------------------------------------------------------------------------------------


def brought(row: Round, slugs: Sequence[str]) -> list[Visit]:
    """Visits that came by a round's field form, and those from a table at its sites.

    By its form: whenever they were made; from a table: from the round's first day on for two months.
    """
    zone = row.reserve.zone
    begin = clock.utc_from_local(datetime.combine(row.day, datetime.min.time()) + timedelta(hours=3), zone)
    first, last = begin - timedelta(days=1), begin + timedelta(days=60)
    # What came before the field form was written beside a visit stands in the note's file alone.
    unsaid = Q(
        field_form="", site__slug__in=slugs, field_form_revision__isnull=False, at__gte=begin - LOOK_BACK, at__lte=last
    )
    rows = (
        Visit.objects.filter(Q(field_form=str(row.uuid)) | unsaid)
        .select_related("site", "deployment", "card_in", "card_out")
        .order_by("at")
    )
    out = []
    for visit in rows:
        field_form = visit.field_form or _field_form_of(visit)
        if field_form == str(row.uuid) or (not field_form and first <= visit.at):
            out.append(visit)
    return out


def _field_form_of(visit: Visit) -> str:
    """The field form that a visit came from; "" for one from a table, or where its note cannot be read."""
    try:
        fields = files.read(home.archive_root(), str(visit.uuid))
    except CatalogueTrouble:
        fields = None
    return str(fields.get("field_form", "")) if fields else ""


def _moment(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")

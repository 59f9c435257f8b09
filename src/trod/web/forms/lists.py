"""Lists of sites, cameras, deployments and species, from a table or a GPX file, into records. All or nothing.

A table is text with a heading line and one record a line. Its columns are ours and stand in COLUMNS; a length
may come in feet or inches under a column that says so. Records are known again by their name, serial, or
camera and start, and then changed in the columns that are there.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db import models, transaction
from django.forms.models import model_to_dict

from trod import limits, units
from trod.catalogue.models import Camera, CameraModel, Card, Deployment, Reserve, Site, Species
from trod.catalogue.slugs import free_slug, slug_from
from trod.errors import WrongInput
from trod.web.forms.common import RecordForm, to_instant

MOST_BYTES, MOST_LINES = limits.LIST_BYTES, limits.LIST_LINES
DELIMITERS = ",;\t|"
YES = {"yes", "y", "true", "1", "x", "ja", "oui", "si"}
NO = {"", "no", "n", "false", "0", "nein", "non"}


@dataclass(frozen=True)
class Column:
    """One column: its name, what stands in it, an example, and whether it must be there."""

    name: str
    what: str
    example: str = ""
    needed: bool = False


COLUMNS: dict[str, tuple[Column, ...]] = {
    "sites": (
        Column("name", "the site's name; a site of that name is changed, else made", "Alder Track", True),
        Column("latitude", "degrees, north positive (WGS 84)", "47.2902", True),
        Column("longitude", "degrees, east positive (WGS 84)", "13.8961", True),
        Column("feature", "trail, road, water, ford, lick, feeding, meadow, saddle, den, fence or other", "trail"),
        Column("sensitive", "yes if its place is to be generalised in all that leaves", "no"),
        Column("slope_deg", "slope away from the camera, falling positive", "4"),
        Column("path_bearing_deg", "bearing of the path from true north", "35"),
        Column("canopy_percent", "how much of the sky is covered", "60"),
        Column("tree", "tree or post", "alder"),
        Column("tree_diameter_cm", "its diameter; or tree_diameter_in, in inches", "28"),
        Column("note", "anything", ""),
    ),
    "cameras": (
        Column(
            "serial",
            "as it stands on the camera; one of that serial is changed, else made",
            "TB3-40117",
            True,
        ),
        Column("name", "what you call it", "ESK 01"),
        Column("maker", "the maker of its model; with model", "Tarnbeckle"),
        Column("model", "the model; one that is not known yet is made", "Lanthorn 3"),
        Column("state", "ready, out, repair, lost or retired", "ready"),
        Column("note", "anything", ""),
    ),
    "species": (
        Column("name", "its everyday name; a kind of that name is changed, else made", "Red deer", True),
        Column("scientific_name", "its scientific name", "Cervus elaphus"),
        Column("key", "one letter or digit that says it in the review", "d"),
        Column("rank", "species, genus, family, order, class or group; empty: species", "species"),
        Column("parent", "the kind above it: of a line before this one, of your list, or a known family", "Deer"),
        Column("active", "no if it is not to be offered", "yes"),
        Column("note", "anything", ""),
    ),
    "deployments": (
        Column("camera", "the camera's serial", "TB3-40117", True),
        Column("site", "the site's name", "Alder Track", True),
        Column("start", "when it was set up, in the reserve's local time", "2026-03-01 09:30", True),
        Column("end", "when it was retrieved; empty while it stands", ""),
        Column(
            "utc_offset_min",
            "minutes its clock is ahead of UTC; empty: the reserve's own time on the first day",
            "",
        ),
        Column("height_m", "lens above ground; or height_ft", "0.9"),
        Column("tilt_deg", "degrees below level", "3"),
        Column("heading_deg", "degrees from true north", "20"),
        Column("aim_distance_m", "distance it is aimed at; or aim_distance_ft", "6"),
        Column("mode", "picture, clip or both", "picture"),
        Column("burst", "pictures a burst", "3"),
        Column("delay_s", "seconds between bursts", "5"),
        Column("sensitivity", "low, medium, high or auto", "high"),
        Column("time_lapse_h", "hours between time-lapse frames", "24"),
        Column("batteries", "which batteries are in it", "8 × AA lithium"),
        Column("card", "the label of the card in it; one that is not known yet is made", ""),
        Column("set_by", "who set it up", ""),
        Column("note", "anything", ""),
    ),
}
# A column in another unit: the column it stands for, and how to turn it.
OTHER_UNITS: dict[str, tuple[str, Callable[[float], float]]] = {
    "height_ft": ("height_m", units.between("m", "ft").to_stored),
    "aim_distance_ft": ("aim_distance_m", units.between("m", "ft").to_stored),
    "tree_diameter_in": ("tree_diameter_cm", units.between("cm", "in").to_stored),
}


@dataclass
class Line:
    """One record to be. action : new, changed, same or wrong."""

    number: int
    values: dict[str, str]
    name: str = ""
    action: str = ""
    changes: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


@dataclass
class Plan:
    """What a list would do, or did."""

    lines: list[Line]
    made: list[tuple[str, int]] = field(default_factory=list)  # (model label, row), in the order of making
    before: list[models.Model] = field(default_factory=list)  # changed rows as they were

    @property
    def wrong(self) -> int:
        return sum(line.action == "wrong" for line in self.lines)

    def count(self, action: str) -> int:
        return sum(line.action == action for line in self.lines)

    @property
    def sentence(self) -> str:
        """What it would do, in words."""
        parts = [
            f"{self.count(action)} {word}"
            for action, word in (
                ("new", "new"),
                ("changed", "changed"),
                ("same", "as they were"),
                ("wrong", "with errors"),
            )
            if self.count(action)
        ]
        return ", ".join(parts) if parts else "nothing"


def read_table(text: str, what: str) -> list[Line]:
    """The lines of a table. Raises WrongInput when its heading cannot be read or a needed column is missing."""
    text = text.replace("\x00", "").replace("\r\n", "\n").replace("\r", "\n").lstrip("\ufeff")
    known = {column.name for column in COLUMNS[what]} | {
        name for name, (of, _) in OTHER_UNITS.items() if of in {column.name for column in COLUMNS[what]}
    }
    heading = next((line for line in text.split("\n") if line.strip()), "")
    if not heading:
        raise WrongInput("list", got="an empty one", needed="a heading line and one record a line")
    delimiter = max(DELIMITERS, key=lambda sign: (heading.count(sign), -DELIMITERS.index(sign)))
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    except csv.Error as trouble:
        raise WrongInput("list", got=f"a line that cannot be read ({trouble})", needed="one record a line") from trouble
    numbered = [(number, row) for number, row in enumerate(rows, 1) if any(cell.strip() for cell in row)]
    _, batteries = numbered[0]
    columns = [re.sub(r"[\s\-]+", "_", cell.strip().lower()) for cell in batteries]
    needed = [column.name for column in COLUMNS[what] if column.needed]
    missing = [name for name in needed if name not in columns]
    if missing:
        raise WrongInput(
            "heading",
            got=", ".join(filter(None, columns))[:200],
            needed=f"the columns {', '.join(missing)} too",
        )
    strange = [name for name in columns if name and name not in known]
    if strange:
        raise WrongInput(
            "heading",
            got=f"the columns {', '.join(strange)[:200]}",
            needed=f"only {', '.join(sorted(known))}",
        )
    twice = {name for name in columns if name and columns.count(name) > 1}
    if twice:
        raise WrongInput("heading", got=f"{', '.join(sorted(twice))} twice", needed="each column once")
    if len(numbered) - 1 > MOST_LINES:
        raise WrongInput("list", got=f"{len(numbered) - 1} lines", needed=f"at most {MOST_LINES}; part it")
    lines = []
    for number, row in numbered[1:]:
        values = {name: cell.strip() for name, cell in zip(columns, row, strict=False) if name}
        line = Line(number, values)
        if len(row) > len(columns) and any(cell.strip() for cell in row[len(columns) :]):
            line.errors.append(
                f"it has {len(row)} batteries, the heading has {len(columns)}; put text with “{delimiter}” in quotes"
            )
        lines.append(line)
    return lines


def read_gpx(text: str) -> list[Line]:
    """The waypoints of a GPX file as lines for sites. Raises WrongInput when there are none."""
    gpx = parse_gpx(text)
    lines = [
        Line(
            number,
            {
                "name": (point.name or "").strip(),
                "latitude": repr(point.latitude),
                "longitude": repr(point.longitude),
                "note": " ".join(filter(None, (point.description, point.comment))).strip(),
            },
        )
        for number, point in enumerate(gpx.waypoints, 1)
    ]
    if not lines:
        raise WrongInput(
            "GPX file", got="one without waypoints", needed="waypoints with names; tracks go to the boundary"
        )
    if len(lines) > MOST_LINES:
        raise WrongInput("GPX file", got=f"{len(lines)} waypoints", needed=f"at most {MOST_LINES}; part it")
    return lines


def parse_gpx(text: str) -> Any:
    """A GPX file, read with care. Raises WrongInput."""
    import gpxpy

    if "<!DOCTYPE" in text.upper() or "<!ENTITY" in text.upper():
        raise WrongInput("GPX file", got="one with its own definitions (DOCTYPE)", needed="plain GPX 1.0 or 1.1")
    try:
        return gpxpy.parse(text.strip())
    except Exception as trouble:  # gpxpy lets all kinds out
        why = str(trouble).split("\n")[0][:120]
        raise WrongInput("GPX file", got=f"one that cannot be read ({why})", needed="GPX 1.0 or 1.1") from trouble


# Lines to records -------------------------------------------------------------------------------------------


def _number(text: str) -> str:
    """A decimal comma is a decimal point."""
    return text.replace(",", ".") if re.fullmatch(r"[-+]?\d+,\d+", text) else text


def _metric(values: dict[str, str], errors: list[str]) -> dict[str, str]:
    out = dict(values)
    for name, (of, turn) in OTHER_UNITS.items():
        typed = out.pop(name, "")
        if not typed:
            continue
        if out.get(of):
            errors.append(f"both {of} and {name} are given; give one")
            continue
        try:
            out[of] = repr(round(turn(float(_number(typed))), 4))
        except ValueError:
            errors.append(f"{name}: got {typed!r}; needed: a number")
    return {name: _number(text) for name, text in out.items()}


def _choice(form: type[RecordForm], name: str, text: str) -> str:
    """A choice by its code or its words, whatever the case; as it came if it is none."""
    model_field = form._meta.model._meta.get_field(name)
    for code, words in model_field.choices or ():
        if text.casefold() in (str(code).casefold(), str(words).casefold()):
            return str(code)
    return text


def _yes(text: str) -> bool | None:
    plain = text.casefold()
    return True if plain in YES else False if plain in NO else None


class _Wrong(Exception):
    """Ends one line; its errors are told."""


class Maker:
    """Turns lines of one kind into records, inside a transaction of the caller's."""

    def __init__(self, what: str, reserve: Reserve, defaults: dict[str, str] | None = None) -> None:
        self.what, self.reserve, self.defaults = what, reserve, defaults or {}
        self.plan = Plan([])
        self._seen: dict[Any, int] = {}
        self._kept: set[tuple[str, int]] = set()

    def run(self, lines: list[Line]) -> Plan:
        self.plan.lines = lines
        for line in lines:
            line.name = line.values.get("name") or line.values.get("serial") or line.values.get("camera") or ""
            try:
                if line.errors:
                    raise _Wrong
                with transaction.atomic():
                    getattr(self, f"_{self.what}")(line)
                    if line.errors:
                        raise _Wrong
            except _Wrong:
                line.action = "wrong"
                line.changes = []
        return self.plan

    def _once(self, line: Line, key: Any, words: str) -> None:
        if key in self._seen:
            line.errors.append(f"{words} stands in line {self._seen[key]} already")
            raise _Wrong
        self._seen[key] = line.number

    def _remember(self, row: models.Model) -> None:
        """Keep a row as it is before it is changed."""
        key = (row._meta.label_lower, row.pk)
        if row.pk and key not in self._kept and list(key) not in [list(made) for made in self.plan.made]:
            self._kept.add(key)
            self.plan.before.append(type(row)._default_manager.get(pk=row.pk))

    def _made(self, row: models.Model) -> None:
        self.plan.made.append((row._meta.label_lower, row.pk))

    def _keep(self, line: Line, form_class: type[RecordForm], row: models.Model | None, values: dict[str, Any]) -> Any:
        """A line through the same form a person fills."""
        fresh = form_class(reserve=self.reserve)
        data: dict[str, Any] = {}
        if row is not None:
            data = model_to_dict(row, fields=list(fresh.fields))
        else:
            data = {name: bound.initial for name, bound in fresh.fields.items() if bound.initial is not None}
            data |= {
                name: value
                for name, value in model_to_dict(form_class._meta.model(), fields=list(fresh.fields)).items()
                if value is not None and name not in data
            }
            data |= self.defaults
        before = dict(data)
        data |= values
        form = form_class(data, instance=row, reserve=self.reserve)
        if not form.is_valid():
            self._tell(line, form)
            raise _Wrong
        changed = [
            name for name in form.fields if row is not None and not _same(before.get(name), form.cleaned_data.get(name))
        ]
        if row is not None:
            line.action, line.changes = ("changed", changed) if changed else ("same", [])
            if not changed:
                return row
            self._remember(row)
        kept = form.keep()
        if kept is None:
            self._tell(line, form)
            raise _Wrong
        if row is None:
            line.action = "new"
            self._made(kept)
        return kept

    @staticmethod
    def _tell(line: Line, form: RecordForm) -> None:
        for name, errors in form.errors.items():
            for error in errors:
                line.errors.append(str(error) if name == "__all__" else f"{name}: {error}")

    def _sites(self, line: Line) -> None:
        from trod.web.forms.sites import SiteForm

        values: dict[str, Any] = dict(_metric(line.values, line.errors))
        name = values.get("name", "")
        if not name:
            line.errors.append("name: every site needs one")
            raise _Wrong
        self._once(line, name.casefold(), f"the site {name}")
        if values.get("feature"):
            values["feature"] = _choice(SiteForm, "feature", values["feature"])
        elif "feature" in values:
            del values["feature"]
        if "sensitive" in values:
            yes = _yes(values["sensitive"])
            if yes is None:
                line.errors.append(f"sensitive: got {values['sensitive']!r}; needed: yes or no")
            values["sensitive"] = bool(yes)
        row = Site.objects.filter(reserve=self.reserve, name__iexact=name).first()
        self._keep(line, SiteForm, row, values)

    def _species(self, line: Line) -> None:
        from trod.web.forms.people import SpeciesForm

        values: dict[str, Any] = dict(line.values)
        name = " ".join(values.get("name", "").split())
        if not name:
            line.errors.append("name: every kind needs one")
            raise _Wrong
        self._once(line, name.casefold(), f"the kind {name}")
        values["name"] = name
        if values.get("rank"):
            values["rank"] = _choice(SpeciesForm, "rank", values["rank"])
        elif "rank" in values:
            del values["rank"]
        if values.get("parent"):
            values["parent"] = self._kind_above(line, values["parent"])
        if "active" in values:
            yes = _yes(values["active"]) if values["active"] else True
            if yes is None:
                line.errors.append(f"active: got {values['active']!r}; needed: yes or no")
            values["active"] = bool(yes)
        if line.errors:
            raise _Wrong
        self._keep(line, SpeciesForm, Species.objects.filter(name__iexact=name).first(), values)

    def _kind_above(self, line: Line, name: str) -> int | None:
        """The row of a kind above species, by its name or scientific name; one known in general is made."""
        from trod.catalogue.rows import taxa
        from trod.findings import taxa as known

        rows = Species.objects.exclude(rank=Species.Rank.SPECIES)
        row = rows.filter(name__iexact=name).first() or rows.filter(scientific_name__iexact=name).first()
        if row is not None:
            return int(row.pk)
        general = known.BY_NAME.get(name.casefold()) or known.BY_KEY.get(name.casefold())
        if general is None:
            line.errors.append(
                f"parent: no kind above species is called {name!r}; put it into a line before this one, with its rank"
            )
            return None
        before = set(Species.objects.values_list("pk", flat=True))
        made = taxa.ensure(general)
        for row in Species.objects.exclude(pk__in=before).order_by("pk"):
            self._made(row)
        return int(made.pk)

    def _cameras(self, line: Line) -> None:
        from trod.web.forms.cameras import CameraForm

        values: dict[str, Any] = dict(line.values)
        serial = values.get("serial", "")
        if not serial:
            line.errors.append("serial: every camera needs one")
            raise _Wrong
        self._once(line, serial, f"the camera {serial}")
        maker, model = values.pop("maker", ""), values.pop("model", "")
        if bool(maker) != bool(model):
            line.errors.append("maker and model belong together; give both or neither")
        elif maker:
            kind = CameraModel.objects.filter(maker__iexact=maker, name__iexact=model).first()
            if kind is None:
                slug = free_slug(CameraModel, slug_from(f"{maker} {model}", "model"))
                kind = CameraModel.objects.create(maker=maker[:80], name=model[:80], slug=slug)
                self._made(kind)
            values["model"] = kind.pk
        if values.get("state"):
            values["state"] = _choice(CameraForm, "state", values["state"])
        elif "state" in values:
            del values["state"]
        self._keep(line, CameraForm, Camera.objects.filter(serial=serial).first(), values)

    def _deployments(self, line: Line) -> None:
        from trod.catalogue.rows import changes
        from trod.web.forms.cameras import DeploymentForm

        values: dict[str, Any] = dict(_metric(line.values, line.errors))
        camera = Camera.objects.filter(serial=values.get("camera", "")).first()
        site = Site.objects.filter(reserve=self.reserve, name__iexact=values.get("site", "")).first()
        if camera is None:
            line.errors.append(f"camera: no camera has the serial {values.get('camera', '')!r}; make it first")
        if site is None:
            line.errors.append(f"site: no site is called {values.get('site', '')!r}; make it first")
        if line.errors:
            raise _Wrong
        assert camera and site
        line.name = f"{camera} at {site}"
        self._once(line, (camera.pk, values.get("start")), f"a start of {camera} at {values.get('start')}")
        label = values.pop("card", "")
        if label:
            card = Card.objects.filter(label=label).first()
            if card is None:
                card = Card.objects.create(label=label[:64])
                self._made(card)
            else:
                self._remember(card)
            values["card"] = card.pk
        for name in ("mode", "sensitivity"):
            if values.get(name):
                values[name] = _choice(DeploymentForm, name, values[name])
        values = {
            name: value
            for name, value in values.items()
            if value != "" or name not in ("mode", "sensitivity", "burst", "delay_s", "utc_offset_min")
        }
        row = self._known_deployment(camera, values.get("start", ""))
        values |= {"camera": camera.pk, "site": site.pk}
        if row is None:
            values.setdefault("utc_offset_min", "")
        self._remember(camera)
        kept = self._keep(line, DeploymentForm, row, values)
        changes.follow_deployment(kept)

    def _known_deployment(self, camera: Camera, start: str) -> Deployment | None:
        from datetime import datetime, timedelta

        try:
            typed = datetime.fromisoformat(start)
            at = typed if typed.tzinfo else to_instant(typed, self.reserve.zone)
        except Exception:  # the form says what is wrong with it
            return None
        return camera.deployments.filter(start__gte=at, start__lt=at + timedelta(minutes=1)).first()


def _same(before: Any, after: Any) -> bool:
    if isinstance(after, models.Model):
        after = after.pk
    if before in (None, "") and after in (None, ""):
        return True
    if hasattr(before, "replace") and hasattr(before, "second") and hasattr(after, "second"):
        return before.replace(second=0, microsecond=0) == after.replace(second=0, microsecond=0)
    if isinstance(before, (int, float)) and isinstance(after, (int, float)):
        return abs(before - after) < 1e-9
    return str(before) == str(after)


def plan(what: str, lines: list[Line], reserve: Reserve, *, keep: bool, defaults: dict[str, str] | None = None) -> Plan:
    """What the lines would do; with `keep`, done, if no line is wrong. All or nothing."""
    with transaction.atomic():
        made = Maker(what, reserve, defaults).run(lines)
        if not keep or made.wrong:
            transaction.set_rollback(True)
    return made


def sample(what: str) -> str:
    """A table to begin with: the heading and one line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.name for column in COLUMNS[what]])
    writer.writerow([column.example for column in COLUMNS[what]])
    return out.getvalue()

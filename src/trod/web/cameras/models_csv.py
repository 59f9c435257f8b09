"""Camera models from a table and into one: looked at first, kept whole or not at all, undone after."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import transaction

from trod.catalogue.models import CameraModel
from trod.catalogue.rows import specs
from trod.errors import WrongInput
from trod.planning.equipment.camera import TEXTS, CameraSpec, from_csv, to_csv
from trod.units import System
from trod.web.cameras.models_form import FIGURES
from trod.web.cameras.models_pages import told

MOST_MODELS = 500
LABEL = CameraModel._meta.label


@dataclass
class Line:
    """What one line of the table would do: "new", "changed" or "same", and in which figures."""

    name: str
    action: str
    changes: list[str] = field(default_factory=list)


@dataclass
class Plan:
    """What a table would do. made, before : what to undo it with, once it is kept."""

    lines: list[Line]
    made: list[tuple[str, int]] = field(default_factory=list)
    before: list[CameraModel] = field(default_factory=list)

    @property
    def sentence(self) -> str:
        """What it would do, in words."""
        counted = [
            (sum(line.action == action for line in self.lines), word)
            for action, word in (("new", "new"), ("changed", "changed"), ("same", "as they were"))
        ]
        return ", ".join(f"{n} {word}" for n, word in counted if n) or "nothing"


def read(text: str) -> list[CameraSpec]:
    """The cameras of a table, with comma, semicolon or tab, decimal points or (not with commas) decimal commas.

    A camera whose flash is not told keeps the one that its record has. Raises WrongInput that names the line.
    """
    plain = _with_commas(text)
    found = from_csv(plain)
    if not found:
        raise WrongInput("camera list", got="a heading without a camera below it", needed="at least one line")
    if len(found) > MOST_MODELS:
        raise WrongInput("camera list", got=f"{len(found)} cameras", needed=f"at most {MOST_MODELS}; part it")
    names = [spec.name.casefold() for spec in found]
    for name in names:
        if names.count(name) > 1:
            raise WrongInput("camera list", got=f"{found[names.index(name)].name} twice", needed="each camera once")
    flashes = _flashes(plain)
    return [spec if flash else replace(spec, flash=_flash_now(spec)) for spec, flash in zip(found, flashes, strict=True)]


def _with_commas(text: str) -> str:
    head = text.removeprefix("\ufeff").split("\n", 1)[0]
    mark = max(",;\t", key=head.count)
    if mark == "," or not head.count(mark):
        return text
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    try:
        rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff").replace("\0", "")), delimiter=mark, strict=True))
    except csv.Error as trouble:
        raise WrongInput("camera list", got=str(trouble), needed="text with balanced quotes") from trouble
    words = {i for i, name in enumerate(rows[0]) if name.strip().lower() in TEXTS}
    for n, row in enumerate(rows):
        writer.writerow([cell if n == 0 or i in words else cell.replace(",", ".") for i, cell in enumerate(row)] or [""])
    return out.getvalue()


def _flashes(text: str) -> list[str]:
    """What each line says of the flash, in the order of `from_csv`."""
    reader = csv.reader(io.StringIO(text.removeprefix("\ufeff").replace("\0", "")))
    head = [name.strip().lower() for name in next(reader)]
    at = head.index("flash") if "flash" in head else -1
    rows = [row for row in reader if any(cell.strip() for cell in row)]
    return [row[at].strip() if 0 <= at < len(row) else "" for row in rows]


def _row_of(spec: CameraSpec) -> CameraModel | None:
    return CameraModel.objects.filter(maker__iexact=spec.maker, name__iexact=spec.model).first()


def _flash_now(spec: CameraSpec) -> Any:
    row = _row_of(spec)
    return specs.FLASH_OF.get(row.flash, "low glow") if row is not None else spec.flash


def plan(found: list[CameraSpec], *, keep: bool, system: System) -> Plan:
    """What these cameras would change; with `keep`, done. All or nothing."""
    made = Plan([])
    with transaction.atomic():
        for spec in found:
            before = _row_of(spec)
            old = specs.spec_of(before) if before is not None else None
            same_flash = before is None or specs.FLASH_OF.get(before.flash, "low glow") == spec.flash
            changes = _changes(old, spec, system)
            if before is not None and not changes:
                made.lines.append(Line(spec.name, "same"))
                continue
            flash = before.flash if before is not None and same_flash else None
            row, new = specs.store(spec)
            if flash is not None and row.flash != flash:
                row.flash = flash  # the table's silence is no word
                row.save(update_fields=["flash"])
            made.lines.append(Line(spec.name, "new" if new else "changed", changes))
            if new:
                made.made.append((LABEL, row.pk))
            elif before is not None:
                made.before.append(before)
        if not keep:
            transaction.set_rollback(True)
    return made


def _changes(old: CameraSpec | None, new: CameraSpec, system: System) -> list[str]:
    """What a table says otherwise than the record does, figure by figure."""
    words = []
    for label, attribute in (("flash", "flash"), ("batteries", "battery"), ("note", "note")):
        value = getattr(new, attribute)
        was = getattr(old, attribute) if old else ""
        if value and value != was and (old is not None or attribute != "flash"):
            words.append(f"{label}: {was or '–'} → {value}" if old else f"{label} {value}")
    for kind in ("claimed", "measured"):
        for name, value in getattr(new, kind).known():
            was = getattr(getattr(old, kind), name) if old else None
            if was is not None and abs(was - value) < 1e-9:
                continue
            label = FIGURES[name].label.lower() if name in FIGURES else "number of cells"
            say = told(name, value, system) if name in FIGURES else f"{value:g}"
            had = (told(name, was, system) if name in FIGURES else f"{was or 0:g}") if was is not None else "–"
            of = "stated" if kind == "claimed" else "measured"
            words.append(f"{label}, {of}: {had} → {say}" if old else f"{label} {say} ({of})")
    return words


def table(rows: list[CameraModel]) -> str:
    """All these models as CSV."""
    return to_csv(specs.spec_of(row) for row in rows)


def sample() -> str:
    """A table to begin with: two invented cameras."""
    from trod_demo.camera_models import CAMERA_SPECS

    return to_csv(CAMERA_SPECS[:2])

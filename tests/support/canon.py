"""The whole catalogue as plain data, without row numbers: equal for two catalogues that say the same."""

from __future__ import annotations

from typing import Any

PICTURE = (
    "sha256",
    "path",
    "intake__name",
    "deployment__slug",
    "event__key",
    "kind",
    "size_bytes",
    "file_order",
    "taken_raw",
    "subsecond_ms",
    "taken_at",
    "time_from",
    "trigger",
    "infrared",
    "brightness",
    "width",
    "height",
    "duration_s",
    "make",
    "model",
    "serial",
    "exposure_s",
    "iso",
    "foreign",
    "problem",
    "looked",
)
EVENT = (
    "key",
    "deployment__slug",
    "start_at",
    "end_at",
    "frames",
    "infrared",
    "time_lapse",
    "cover__sha256",
    "word__uuid",
)
WORD = ("uuid", "event__key", "by", "at", "note", "undone_at", "undone_by")
SIGHTING = ("word__uuid", "what", "species__slug", "count", "sex", "age_class")
MARK = ("sighting__word__uuid", "sighting__what", "sighting__species__slug", "picture__sha256", "x", "y")


def catalogue() -> dict[str, Any]:
    """Every row that matters, in a fixed order."""
    from trod.web.catalogue import ledger
    from trod.web.models import Event, Mark, Picture, Sighting, Word

    names = ledger.Names()
    out: dict[str, Any] = {
        kind.name: sorted(
            (ledger.plain_row(row, kind, names) for row in kind.model._default_manager.all()), key=repr
        )
        for kind in ledger.KINDS
    }
    for name, model, fields in (
        ("pictures", Picture, PICTURE),
        ("events", Event, EVENT),
        ("words", Word, WORD),
        ("sightings", Sighting, SIGHTING),
        ("marks", Mark, MARK),
    ):
        out[name] = sorted((tuple(map(str, row)) for row in model.objects.values_list(*fields)), key=repr)
    return out


def differences(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """What stands in only one of two, by table; of rows that go in pairs only the values that differ."""
    found: dict[str, Any] = {}
    for name in one:
        left = [row for row in one[name] if row not in other[name]]
        right = [row for row in other[name] if row not in one[name]]
        pairs = [
            [(a, b) for a, b in zip(x, y, strict=True) if a != b] if isinstance(x, (tuple, list)) else (x, y)
            for x, y in zip(left, right, strict=False)
        ]
        if left or right:
            found[name] = (len(left), len(right), pairs[:3])
    return found

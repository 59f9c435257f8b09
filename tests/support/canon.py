"""The whole catalogue as plain data, without row numbers: equal for two catalogues that say the same."""

from __future__ import annotations

from typing import Any

PICTURE = (
    "sha256",
    "path",
    "card_import__name",
    "deployment__slug",
    "sequence__key",
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
    "identification__uuid",
)
WORD = ("uuid", "sequence__key", "by", "at", "note", "undone_at", "undone_by")
OBSERVATION = ("identification__uuid", "what", "species__slug", "count", "sex", "life_stage")
MARK = (
    "observation__identification__uuid",
    "observation__what",
    "observation__species__slug",
    "picture__sha256",
    "x",
    "y",
)


def catalogue() -> dict[str, Any]:
    """Every row that matters, in a fixed order."""
    from trod.catalogue.models import Identification, Mark, Observation, Picture, Sequence
    from trod.catalogue.papers import ledger

    names = ledger.Names()
    out: dict[str, Any] = {
        kind.name: sorted((ledger.plain_row(row, kind, names) for row in kind.model._default_manager.all()), key=repr)
        for kind in ledger.KINDS
    }
    for name, model, fields in (
        ("pictures", Picture, PICTURE),
        ("sequences", Sequence, EVENT),
        ("words", Identification, WORD),
        ("observations", Observation, OBSERVATION),
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

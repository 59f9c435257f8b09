"""Visits as a field form's page writes them down, after docs/fieldform.md."""

from __future__ import annotations

import base64
import io
import json
import uuid
from datetime import datetime
from typing import Any


def jpeg(size: tuple[int, int] = (8, 6), colour: int = 90) -> bytes:
    from PIL import Image

    out = io.BytesIO()
    Image.new("L", size, colour).save(out, "JPEG")
    return out.getvalue()


def visit(
    at: datetime, *, uid: str = "11111111-2222-4333-8444-555555555555", site: str = "meadow",
    deployment: str = "meadow-2026-03-03", photo: bytes | None = None, **changes: Any,
) -> dict[str, Any]:  # fmt: skip
    """A visit as docs/fieldform.md has it."""
    said = at.isoformat().replace("+00:00", "Z")
    row: dict[str, Any] = {
        "uuid": uid, "site": site, "deployment": deployment, "made_at": said, "changed_at": said, "revision": 1,
        "outcome": "visited", "why_not": "", "withdrawn": False, "at": said, "by": "Ada", "arrival": "working",
        "harm": False, "harm_note": "", "battery_percent": 40, "batteries_changed": True, "batteries": "8 × FR6",
        "card_out": "C-1", "card_in": "C-2",
        "clock": {"shown": None, "true_at": None, "photographed_at": None}, "walk_passes": [],
        "changes": {
            "height_m": None, "tilt_deg": None, "heading_deg": None, "burst": None, "delay_s": None, "sensitivity": None
        },
        "work": "cut the grass", "note": "", "place": None, "photos": [],
    }  # fmt: skip
    if photo is not None:
        row["photos"] = [
            {"uuid": str(uuid.uuid5(uuid.UUID(uid), "photo")), "taken_at": said, "width": 8, "height": 6,
             "jpeg": base64.b64encode(photo).decode()}
        ]  # fmt: skip
    return {**row, **changes}


def field_form_file(field_form_id: str, visits: list[dict[str, Any]], *, at: datetime, phone: int = 1) -> bytes:
    """The file that a field form's page makes."""
    said = at.isoformat().replace("+00:00", "Z")
    return json.dumps(
        {
            "trod": 1, "kind": "visits",
            "field_form": {"id": field_form_id, "made_at": said, "reserve": "Hollin", "round": "Both"},
            "phone": f"5b1c9a7e-0d7f-4b53-8d0c-0a9be1a0c00{phone}", "exported_at": said, "visits": visits,
        }
    ).encode()  # fmt: skip

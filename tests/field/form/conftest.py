"""A round through invented ground, and a file as its page would write it."""

from __future__ import annotations

import base64
import copy
import io
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import invented
import pytest
from fitted import at
from PIL import Image

from trod.field.form.data import FieldFormCamera, FieldFormData, FieldFormStop
from trod.field.form.reading import read_field_form
from trod.field.form.visit import VisitNote
from trod.leaving.sites import fit_site
from trod.report.sketch_map import Marker, draw

FIELD_FORM_ID = "0f7a3c4e-8a55-4d58-9b0a-3c1d2e4f5a6b"
PHONE = "5b1c9a7e-0d7f-4b53-8d0c-0a9be1a0c001"
OTHER_PHONE = "5b1c9a7e-0d7f-4b53-8d0c-0a9be1a0c002"

MAP = draw([Marker(place=fit_site(site).place, number=n, watched=True) for n, site in enumerate(invented.sites(), 1)])


def a_camera(slug: str = "alder-ford", **more: Any) -> FieldFormCamera:
    told: dict[str, Any] = {
        "deployment_slug": f"{slug}-2026a",
        "name": "Alder 2",
        "serial": "AB-2001",
        "card": "C01",
        "batteries": "8 × LR6",
        "utc_offset_min": 60,
        "setup_sheet": (("Height", "0.90 m"), ("Tilt", "4° below level")),
    }
    return FieldFormCamera(**{**told, **more})


def a_stop(name: str = "Alder Ford", **more: Any) -> FieldFormStop:
    slug = more.pop("site_slug", name.lower().replace(" ", "-"))
    of_camera = {"deployment_slug", "card", "batteries", "utc_offset_min", "setup_sheet", "side_view_svg"}
    camera = {name: more.pop(name) for name in of_camera & set(more)}
    camera |= {name: more.pop(f"camera_{name}") for name in ("name", "serial") if f"camera_{name}" in more}
    told: dict[str, Any] = {
        "site_slug": slug,
        "site_name": name,
        "place": at(54.11, -2.3, sensitive=more.get("sensitive", False), true_places=True),
        "cameras": (a_camera(slug, **camera),),
        "why": ("Its batteries will probably be empty by 12 November.",),
        "to_do": ("Swap the card", "Change the batteries"),
        "sketch_map_svg": MAP,
    }
    return FieldFormStop(**{**told, **more})


def a_field_form(*stops: FieldFormStop, **more: Any) -> FieldFormData:
    told: dict[str, Any] = {
        "field_form_id": FIELD_FORM_ID,
        "made_at": datetime(2026, 10, 16, 18, tzinfo=UTC),
        "reserve": "Eskerwold",
        "round_name": "West side",
        "day": date(2026, 10, 17),
        "people": ("Ida Marsh", "Tom Fell"),
        "stops": stops or (a_stop(), a_stop("Barn Track"), a_stop("Crag Saddle", sensitive=True)),
        "upload_path": "/rounds/fieldform/visits/",
        "upload_token": "a-token",
        "invented": True,
    }
    return FieldFormData(**{**told, **more})


def a_jpeg(width: int = 8, height: int = 6) -> bytes:
    held = io.BytesIO()
    Image.new("RGB", (width, height), (70, 96, 42)).save(held, "JPEG")
    return held.getvalue()


def a_visit(number: int = 1, **more: Any) -> dict[str, Any]:
    """One visit as the file tells it."""
    told: dict[str, Any] = {
        "uuid": f"7c1d8f5e-6a2b-4c3d-9e4f-0000000{number:05d}",
        "site": "alder-ford",
        "deployment": "alder-ford-2026a",
        "made_at": "2026-10-17T08:30:00.000Z",
        "changed_at": "2026-10-17T08:41:00.000Z",
        "revision": 7,
        "outcome": "visited",
        "at": "2026-10-17T08:30:00.000Z",
        "withdrawn": False,
        "by": "Ida Marsh",
        "why_not": "",
        "arrival": "knocked",
        "harm": False,
        "harm_note": "",
        "battery_percent": 40,
        "batteries_changed": True,
        "batteries": "8 × LR6",
        "card_out": "C01",
        "card_in": "C12",
        "clock": {
            "shown": "2026-10-17T09:33:12",
            "true_at": "2026-10-17T08:33:10.000Z",
            "photographed_at": None,
        },
        "walk_passes": [{"distance_m": 5, "way": "left to right", "picture": "yes"}],
        "changes": {
            "height_m": None,
            "tilt_deg": 6.5,
            "heading_deg": None,
            "burst": 3,
            "delay_s": None,
            "sensitivity": "high",
        },
        "work": "Trimmed the branch.",
        "note": "",
        "place": {
            "latitude_deg": 54.11003,
            "longitude_deg": -2.29998,
            "accuracy_m": 6,
            "at": "2026-10-17T08:31:00.000Z",
        },
        "photos": [],
    }
    return copy.deepcopy({**told, **more})


def a_photo(number: int = 1, **more: Any) -> dict[str, Any]:
    return {
        "uuid": f"8d2e9f6f-7b3c-4d4e-8f50-0000000{number:05d}",
        "taken_at": "2026-10-17T08:35:00.000Z",
        "width": 8,
        "height": 6,
        "jpeg": base64.b64encode(a_jpeg()).decode("ascii"),
        **more,
    }


def a_file(*visits: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "trod": 1,
        "kind": "visits",
        "field_form": {
            "id": FIELD_FORM_ID,
            "made_at": "2026-10-16T18:00:00Z",
            "reserve": "Eskerwold",
            "round": "West side",
        },
        "phone": PHONE,
        "exported_at": "2026-10-17T15:00:00.000Z",
        "visits": list(visits),
        **more,
    }


@pytest.fixture
def note() -> Callable[..., VisitNote]:
    """A visit read from a file: note(2, phone=…, at=…)."""
    import json

    def made(number: int = 1, *, phone: str = PHONE, **more: Any) -> VisitNote:
        return read_field_form(json.dumps(a_file(a_visit(number, **more), phone=phone))).visits[0]

    return made


@pytest.fixture
def made() -> Any:
    """The makers above, for tests that cannot import this file: made.stop(), made.file()…"""
    from types import SimpleNamespace

    return SimpleNamespace(
        stop=a_stop,
        camera=a_camera,
        field_form=a_field_form,
        jpeg=a_jpeg,
        visit=a_visit,
        photo=a_photo,
        file=a_file,
        phone=PHONE,
        other_phone=OTHER_PHONE,
        field_form_id=FIELD_FORM_ID,
        map=MAP,
    )

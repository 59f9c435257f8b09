"""What a camera really resolves: the work on pictures that somebody brings, and what may be kept of it.

Pictures are laid in a folder of the cache while they are worked on, and taken away after. Nothing is kept of a
measurement until a person says so.
"""

from __future__ import annotations

import base64
import io
import math
import shutil
import uuid
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db.models import OuterRef, Subquery
from numpy.typing import NDArray
from PIL import Image

from trod.catalogue import home
from trod.catalogue.models import CameraModel, Deployment, Picture
from trod.limits import TARGET_BYTES
from trod.pictures import resolution, sidebyside, untouched
from trod.pictures.resolution import Resolution
from trod.pictures.sidebyside import Sample, SideBySide
from trod.pictures.target_layout import RULER_MM
from trod.planning.equipment.camera import LIMITS
from trod.units import scale, system_of
from trod.web.beside import Progress, Work, Works
from trod.web.forms.common import box
from trod.web.forms.measured import measured

MOST_TARGET, MOST_ORDINARY, FEWEST_ORDINARY = 5, 12, 5
NEWEST_DEPLOYMENTS, NEWEST_OF_ONE = 10, 60  # of which day pictures are looked for, and so many of each
PAPERS = (("a4", "A4"), ("us-letter", "Letter"), ("a3", "A3"))
works = Works(most_kept=24, most_waiting=3)


@dataclass(frozen=True)
class Found:
    """What came of a work. kind : target, ordinary or beside. value : what that gives. slug : of the model."""

    kind: str
    slug: str
    value: Any


# What is asked ----------------------------------------------------------------------------------------------


class SeveralFiles(forms.ClearableFileInput):
    """A box for several pictures at once."""

    allow_multiple_selected = True


class PicturesField(forms.FileField):
    """Some pictures, not too many and not too large."""

    def __init__(self, *, fewest: int = 1, most: int, **more: Any) -> None:
        self.fewest, self.most = fewest, most
        attrs = {"accept": ".jpg,.jpeg,image/jpeg"}
        super().__init__(widget=SeveralFiles(attrs) if most > 1 else forms.ClearableFileInput(attrs), **more)

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files = data if isinstance(data, list | tuple) else [data] if data else []
        if not self.fewest <= len(files) <= self.most:
            needed = f"{self.fewest} to {self.most}" if self.most > 1 else "1"
            came = f"{len(files)} came" if files else "none came"
            raise forms.ValidationError(f"{came}; needed: {needed} picture{'s' if self.most > 1 else ''}")
        kept = [super(PicturesField, self).clean(one, initial) for one in files]
        for one in kept:
            if one.size > TARGET_BYTES:
                raise forms.ValidationError(
                    f"{one.name} has {one.size / 1e6:.0f} MB; needed: at most {TARGET_BYTES / 1e6:.0f} MB"
                )
        return kept


class TargetForm(forms.Form):
    """Pictures of the printed target."""

    pictures = PicturesField(most=MOST_TARGET, label=f"Pictures of the target, 1 to {MOST_TARGET}")
    distance = forms.FloatField(label="Distance", help_text="from the lens to the sheet, by tape")
    paper = forms.ChoiceField(label="Printed on", choices=PAPERS)
    ruler_mm = forms.FloatField(
        label="Its ruler, measured (mm)",
        initial=RULER_MM,
        min_value=50,
        max_value=200,
        help_text="the line that should be 100 mm long",
    )

    def __init__(self, *args: Any, system: str, **more: Any) -> None:
        super().__init__(*args, **more)
        self.system = system
        distance = box(self, "distance", forms.FloatField)
        distance.label = f"Distance ({scale('m', system).sign})"
        self.fields["distance"] = measured(distance, stored="m", system=system_of(system))
        self.fields["ruler_mm"].widget.attrs["step"] = "any"
        if system == "us" and not self.is_bound:
            self.initial["paper"] = "us-letter"

    def clean_distance(self) -> float:
        typed = self.cleaned_data["distance"]
        shown = scale("m", self.system)
        metres = shown.to_stored(typed)
        if not 0.2 <= metres <= 100:
            low, high = math.ceil(shown.from_stored(0.2) * 10) / 10, math.floor(shown.from_stored(100))
            raise forms.ValidationError(f"got {typed:g}; needed: {low:g} to {high} {shown.sign}")
        return float(metres)


class OrdinaryForm(forms.Form):
    """Pictures as they come from the card."""

    pictures = PicturesField(
        fewest=FEWEST_ORDINARY,
        most=MOST_ORDINARY,
        label=f"Ordinary pictures, {FEWEST_ORDINARY} to {MOST_ORDINARY}",
        help_text="by day, in colour, as the camera wrote them, all in one setting",
    )


class BesideForm(forms.Form):
    """A picture of each of two cameras."""

    own = PicturesField(most=1, label="A picture of this camera")
    own_fov_deg = forms.FloatField(label="This camera's field of view (°)", min_value=1, max_value=169)
    other = PicturesField(most=1, label="A picture of the other")
    other_name = forms.CharField(label="The other camera", max_length=80)
    other_fov_deg = forms.FloatField(label="The other's field of view (°)", min_value=1, max_value=169)
    angle_deg = forms.FloatField(
        label="Angle to show (°)", initial=6, min_value=0.5, max_value=60, help_text="from the middle of both"
    )

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        for name in ("own_fov_deg", "other_fov_deg", "angle_deg"):
            self.fields[name].widget.attrs["step"] = "any"


# The work ---------------------------------------------------------------------------------------------------


def trial_folder() -> Path:
    """Where pictures lie while they are worked on."""
    return home.home() / "cache" / "trial"


def lay_down(files: Sequence[UploadedFile], token: str) -> list[Path]:
    """Copy brought pictures into a folder of their own, under names of ours."""
    folder = trial_folder() / token
    folder.mkdir(parents=True, exist_ok=False)
    paths = []
    try:
        for n, one in enumerate(files, 1):
            path = folder / f"picture-{n}.jpg"
            with path.open("wb") as out:
                for piece in one.chunks():
                    out.write(piece)
            paths.append(path)
    except OSError:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return paths


def _begin(token: str, kind: str, slug: str, total: int, do: Callable[[Progress], Any]) -> Work:
    folder = trial_folder() / token

    def whole(progress: Progress) -> Found:
        try:
            return Found(kind, slug, do(progress))
        finally:
            shutil.rmtree(folder, ignore_errors=True)

    work = works.begin(token, whole, total=total)
    if work.failed:
        shutil.rmtree(folder, ignore_errors=True)
    return work


def begin_target(slug: str, files: Sequence[UploadedFile], *, distance_m: float, paper: str, ruler_mm: float) -> str:
    """Begin to measure pictures of the target; gives the token to ask by."""
    token = uuid.uuid4().hex
    paths = lay_down(files, token)

    def do(progress: Progress) -> Resolution:
        def pictures() -> Iterator[NDArray[np.uint8]]:
            for n, path in enumerate(paths):
                progress(n, len(paths))
                yield resolution.read_levels(path)  # one at a time is held

        return resolution.measure_target(pictures(), distance_m=distance_m, paper=paper, ruler_mm=ruler_mm)

    _begin(token, "target", slug, len(paths), do)
    return token


def begin_ordinary(slug: str, files: Sequence[UploadedFile]) -> str:
    """Begin to judge brought pictures."""
    token = uuid.uuid4().hex
    paths = lay_down(files, token)
    _begin(token, "ordinary", slug, len(paths), lambda progress: untouched.judge(paths, progress=progress))
    return token


def begin_own(slug: str, paths: Sequence[Path]) -> str:
    """Begin to judge pictures that lie in the archive; they are only read."""
    token = uuid.uuid4().hex
    kept = list(paths)
    _begin(token, "ordinary", slug, len(kept), lambda progress: untouched.judge(kept, progress=progress))
    return token


def begin_beside(
    slug: str,
    files: tuple[UploadedFile, UploadedFile],
    names: tuple[str, str],
    fovs_deg: tuple[float, float],
    angle_deg: float,
) -> str:
    """Begin to lay two pictures side by side."""
    token = uuid.uuid4().hex
    paths = lay_down(files, token)

    def do(progress: Progress) -> tuple[SideBySide, list[str]]:
        samples = []
        for n, (path, name, fov_deg) in enumerate(zip(paths, names, fovs_deg, strict=True)):
            progress(n, 3)
            samples.append(Sample(name=name, pixels=resolution.read_levels(path), fov_deg=fov_deg))
        progress(2, 3)
        made = sidebyside.side_by_side(samples[0], samples[1], angle_deg=angle_deg, most_px=900)
        return made, [_data_uri(piece.pixels) for piece in made.pieces]

    _begin(token, "beside", slug, 3, do)
    return token


def _data_uri(pixels: Any) -> str:
    """Pixels as a PNG in an address of its own: nothing is added to or taken from them."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", optimize=False, compress_level=6)
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode("ascii")


def own_pictures(row: CameraModel, n: int = 7) -> list[Path]:
    """Day pictures of cameras of this model in the archive, all of one size, spread over the newest; or none.

    The newest of each of its newest deployments: none of the index `picture_by_day` is read beyond them, however many
    there are. Pictures of which nobody knows when they were taken come last.
    """
    day = Picture.objects.filter(kind=Picture.Kind.PICTURE, infrared=False, foreign=False, problem="")
    newest_of = day.filter(deployment=OuterRef("pk")).order_by("-taken_at")  # the order is what leads to the index
    newest = (
        Deployment.objects.filter(camera__model=row)
        .annotate(by_day=Subquery(newest_of.values("pk")[:1]))
        .filter(by_day__isnull=False)
        .order_by("-start", "-pk")
        .values_list("pk", flat=True)[:NEWEST_DEPLOYMENTS]
    )
    parts = [
        # SQLite takes no limit in a part of a union, but in a list of numbers within it.
        Picture.objects.filter(pk__in=some.values("pk")[:NEWEST_OF_ONE])
        .order_by()
        .values_list("path", "width", "height", "taken_at")
        for mine in (day.filter(deployment=number) for number in newest)
        for some in (mine.filter(taken_at__isnull=False).order_by("-taken_at"), mine.filter(taken_at=None).order_by())
    ]
    if not parts:
        return []
    found = parts[0].union(*parts[1:], all=True)
    rows = sorted(found, key=lambda told: (-told[3].timestamp() if told[3] else math.inf, told[0]))
    sizes = Counter((width, height) for _, width, height, _ in rows if width and height)
    if not sizes:
        return []
    size = sizes.most_common(1)[0][0]
    paths = [path for path, width, height, _ in rows if (width, height) == size]
    if len(paths) < FEWEST_ORDINARY:
        return []
    step = max(1, len(paths) // n)
    return [home.archive_root() / path for path in paths[::step][:n]]


# What is kept -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Offer:
    """A measured figure that may be kept with the model."""

    name: str
    label: str
    figures: dict[str, float | int]


def offers(found: Resolution) -> list[Offer]:
    """What a measurement could put in place of the maker's word."""
    made = []
    across, down = (
        round(size * 2 * min(0.5, response.mtf10_cpp or 0.5))
        for size, response in ((found.width, found.columns), (found.height, found.rows))
    )
    low, high, _ = LIMITS["columns"]
    if not found.infrared and low <= across <= high and low <= down <= high:
        made.append(
            Offer("pixels", f"{across} × {down} pixels, as many as carry detail", {"columns": across, "rows": down})
        )
    low, high, _ = LIMITS["fov_deg"]
    if low <= found.view_deg <= high:
        view = round(found.view_deg, 1)
        made.append(Offer("view", f"a field of view of {view:g}°", {"fov_deg": view}))
    return made


def keep(row: CameraModel, found: Resolution, chosen: set[str], *, by: str, on: date) -> None:
    """Write a measurement down with the model: its own account always, the figures that were chosen beside it."""
    low, middle, high = (float(f"{value:.3g}") for value in found.effective_megapixels)
    told = {
        "megapixels": middle,
        "low": low,
        "high": high,
        "saved_megapixels": round(found.saved_megapixels, 2),
        "cycles_per_deg": float(f"{found.mtf50_cycles_per_deg:.3g}"),
        "distance_m": round(found.distance_m, 2),
        "pictures": found.pictures,
        "by": by,
        "on": on.isoformat(),
    }
    measured = dict(row.measured or {})
    before = measured.get("resolves")
    measured["resolves"] = {**(before if isinstance(before, dict) else {}), _light(found): told}
    for offer in offers(found):
        if offer.name in chosen:
            measured |= offer.figures
    row.measured = measured
    row.save(update_fields=["measured"])


def _light(found: Resolution) -> str:
    return "infrared" if found.infrared else "day"


def kept_lines(row: CameraModel) -> list[dict[str, Any]]:
    """What was measured before and kept, for the pages; what cannot be read is left out."""
    held = (row.measured or {}).get("resolves")
    lines = []
    for key, words in (("day", "by day"), ("infrared", "by infrared")):
        told = held.get(key) if isinstance(held, dict) else None
        if isinstance(told, dict) and all(
            isinstance(told.get(name), int | float) for name in ("megapixels", "low", "high", "saved_megapixels")
        ):
            lines.append({**told, "light": words})
    return lines

"""One picture of the demo before it is drawn: how its camera looks, what stands before it, its clock and Exif."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zlib import crc32

import numpy as np
import piexif

from trod_demo.daylight import moon_age
from trod_demo.reserve import (
    CAMERAS_BY_SERIAL,
    MODELS_BY_SLUG,
    SITES,
    SITES_BY_SLUG,
    CameraModel,
    Deployment,
)
from trod_demo.scene import Shot, Stage
from trod_demo.scenery import Place
from trod_demo.story import Moment
from trod_demo.strip import Caption
from trod_demo.view import View


def camera_view(deployment: Deployment, size: tuple[int, int], *, askew: bool = False) -> View:
    """How a deployment's camera looks at its site; a knocked one hangs to the side and down."""
    model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[deployment.camera].model]
    return View(
        size[0],
        size[1],
        model.hfov_deg,
        deployment.lens_height_m,
        deployment.tilt_deg + (5.0 if askew else 0.0),
        deployment.heading_deg + (9.0 if askew else 0.0),
        SITES_BY_SLUG[deployment.site].slope_deg,
        17.0 if askew else 0.0,
    )


@lru_cache(maxsize=2)
def stage_for(deployment: Deployment, size: tuple[int, int], askew: bool = False) -> Stage:
    """The scenery in front of a deployment's camera."""
    site = SITES_BY_SLUG[deployment.site]
    model = MODELS_BY_SLUG[CAMERAS_BY_SERIAL[deployment.camera].model]
    place = Place(
        site.look,
        site.edge_m,
        site.canopy,
        site.tree,
        site.path_deg,
        deployment.aim_distance_m,
        [s.slug for s in SITES].index(site.slug),
    )
    return Stage(camera_view(deployment, size, askew=askew), place, flash_range_m=model.flash_range_m)


def shot_of(deployment: Deployment, moment: Moment, *, seed: int, number: int) -> Shot:
    """The renderer's order for one moment, with the camera's own clock in the strip."""
    return Shot(
        actors=moment.actors,
        weather=moment.weather,
        sun_deg=moment.sun_deg,
        caption=Caption(
            camera_clock(deployment, moment.at),
            moment.weather.temperature_c,
            CAMERAS_BY_SERIAL[deployment.camera].name,
            moon_age(moment.at),
        ),
        seed=crc32(f"{seed}/{deployment.slug}/{moment.at.isoformat()}/{number}".encode()),
        gust_s=moment.frame_s,
        lens=moment.lens,
    )


def camera_clock(deployment: Deployment, at: datetime) -> datetime:
    """What the camera's own clock shows at a true instant: naive, with its error."""
    shown = at + timedelta(seconds=deployment.clock_error_s(at), minutes=deployment.utc_offset_min)
    return shown.astimezone(UTC).replace(tzinfo=None)


# --- EXIF -----------------------------------------------------------------------------------------


def exif_of(
    deployment: Deployment,
    model: CameraModel,
    moment: Moment,
    *,
    size: tuple[int, int],
    infrared: bool,
    number: int,
    thumbnail: bytes | None = None,
) -> bytes:
    """The EXIF block of one picture, as much of it as the model writes."""
    written = camera_clock(deployment, moment.at)
    stamp = written.strftime("%Y:%m:%d %H:%M:%S")
    e, i, g = piexif.ExifIFD, piexif.ImageIFD, piexif.GPSIFD
    dull = max(0.05, min(1.0, (moment.sun_deg[0] + 6) / 30)) * (1.2 - 0.8 * moment.weather.cloud)
    exposure = (1, 25) if infrared else (1, int(np.clip(40 + 900 * dull, 30, 1000)))
    iso = 1600 if infrared else int(np.clip(100 / max(dull, 0.06), 100, 800))
    zeroth = {
        i.Make: model.maker,
        i.Model: model.model,
        i.Orientation: 1,
        i.XResolution: (72, 1),
        i.YResolution: (72, 1),
        i.ResolutionUnit: 2,
        i.YCbCrPositioning: 1,
        i.DateTime: stamp,
        i.ImageDescription: "An invented picture, drawn by the Trod demo",
    }
    exif = {
        e.ExposureTime: exposure,
        e.FNumber: (24, 10),
        e.ISOSpeedRatings: iso,
        e.ExifVersion: b"0232",
        e.DateTimeOriginal: stamp,
        e.DateTimeDigitized: stamp,
        e.FocalLength: (int(3600 / model.hfov_deg * 4.2), 100),
        e.Flash: 1 if infrared else 0,
        e.ColorSpace: 1,
        e.PixelXDimension: size[0],
        e.PixelYDimension: size[1],
    }
    if "subsec" in model.stamp:
        exif[e.SubSecTimeOriginal] = f"{written.microsecond // 10000:02d}"
    if "offset" in model.stamp:
        sign = "-" if deployment.utc_offset_min < 0 else "+"
        hours, minutes = divmod(abs(deployment.utc_offset_min), 60)
        exif[e.OffsetTimeOriginal] = f"{sign}{hours:02d}:{minutes:02d}"
    if "serial" in model.stamp:
        exif[e.BodySerialNumber] = deployment.camera
    where: dict[int, object] = {}
    if "gps" in model.stamp:
        site = SITES_BY_SLUG[deployment.site]
        where = {
            g.GPSVersionID: (2, 3, 0, 0),
            g.GPSLatitudeRef: "N" if site.latitude_deg >= 0 else "S",
            g.GPSLatitude: _dms(site.latitude_deg),
            g.GPSLongitudeRef: "E" if site.longitude_deg >= 0 else "W",
            g.GPSLongitude: _dms(site.longitude_deg),
            g.GPSAltitudeRef: 0,
            g.GPSAltitude: (int(site.elevation_m * 10), 10),
        }
    first: dict[int, object] = {}
    if thumbnail is not None:
        first = {i.Compression: 6, i.XResolution: (72, 1), i.YResolution: (72, 1), i.ResolutionUnit: 2}
    block: bytes = piexif.dump({"0th": zeroth, "Exif": exif, "GPS": where, "1st": first, "thumbnail": thumbnail})
    return block


def _dms(angle_deg: float) -> tuple[tuple[int, int], tuple[int, int], tuple[int, int]]:
    whole = abs(angle_deg)
    degrees = int(whole)
    minutes = int((whole - degrees) * 60)
    seconds = round(((whole - degrees) * 60 - minutes) * 60 * 100)
    return (degrees, 1), (minutes, 1), (seconds, 100)


# --- one picture, one run of pictures -------------------------------------------------------------

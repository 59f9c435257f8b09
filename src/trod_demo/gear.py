"""The invented makers, their cameras, and those that Eskerwold owns."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class CameraModel:
    """A camera as its invented maker describes it.

    folder_tail, file_head : the free letters of its DCF names (CIPA DC-009): 5 and 4 of [0-9A-Z_].
    stamp : what the model writes into EXIF beside the time: "offset", "subsec", "gps", "serial", "thumbnail".
    """

    maker: str
    model: str
    slug: str
    hfov_deg: float
    megapixels: float
    flash: str
    flash_range_m: float
    trigger_s: float
    burst: int
    burst_gap_s: float
    rearm_s: float
    folder_tail: str
    file_head: str
    stamp: tuple[str, ...]
    batteries: str


CAMERA_MODELS: tuple[CameraModel, ...] = (
    CameraModel(
        "Tarnbeckle",
        "Lanthorn 3",
        "tarnbeckle-lanthorn-3",
        42.0,
        12,
        "low-glow",
        24,
        0.30,
        3,
        0.7,
        6,
        "TARNB",
        "LANT",
        ("serial", "subsec"),
        "8 × AA lithium",
    ),
    CameraModel(
        "Oddlethorpe",
        "Wren 12",
        "oddlethorpe-wren-12",
        40.0,
        12,
        "no-glow",
        17,
        0.45,
        2,
        1.0,
        10,
        "ODDLE",
        "WREN",
        ("serial",),
        "12 × AA lithium",
    ),
    CameraModel(
        "Vespergate",
        "Duskmoth S",
        "vespergate-duskmoth-s",
        52.0,
        16,
        "no-glow",
        28,
        0.20,
        3,
        0.5,
        3,
        "DUSKM",
        "DUSK",
        ("serial", "offset", "subsec", "gps", "thumbnail"),
        "8 × AA NiMH",
    ),
    CameraModel(
        "Hobkindle",
        "Gill 8",
        "hobkindle-gill-8",
        55.0,
        8,
        "low-glow",
        18,
        0.90,
        1,
        0.0,
        30,
        "HOBKI",
        "GILL",
        (),
        "8 × AA alkaline",
    ),
)
MODELS_BY_SLUG = {m.slug: m for m in CAMERA_MODELS}


@dataclass(frozen=True)
class Camera:
    """One camera. drift_s_d : seconds its clock gains each day (negative loses). [s/d]"""

    serial: str
    model: str
    name: str
    bought: date
    drift_s_d: float
    state: str = "in use"


CAMERAS: tuple[Camera, ...] = (
    Camera("TB3-40117", "tarnbeckle-lanthorn-3", "ESK 01", date(2023, 3, 14), 0.8),
    Camera("TB3-40118", "tarnbeckle-lanthorn-3", "ESK 02", date(2023, 3, 14), -1.1),
    Camera("TB3-40122", "tarnbeckle-lanthorn-3", "ESK 03", date(2023, 3, 14), 0.4),
    Camera("TB3-40139", "tarnbeckle-lanthorn-3", "ESK 04", date(2024, 2, 2), 1.6),
    Camera("TB3-40140", "tarnbeckle-lanthorn-3", "ESK 05", date(2024, 2, 2), -0.3),
    Camera("ODW-0871", "oddlethorpe-wren-12", "ESK 06", date(2022, 9, 20), 2.2),
    Camera("ODW-0872", "oddlethorpe-wren-12", "ESK 07", date(2022, 9, 20), -1.9, "faulty"),
    Camera("ODW-0913", "oddlethorpe-wren-12", "ESK 08", date(2024, 5, 6), 0.6),
    Camera("ODW-0914", "oddlethorpe-wren-12", "ESK 09", date(2024, 5, 6), -0.7),
    Camera("DMS2209K", "vespergate-duskmoth-s", "ESK 10", date(2024, 10, 1), 0.2),
    Camera("DMS2211K", "vespergate-duskmoth-s", "ESK 11", date(2024, 10, 1), -0.4),
    Camera("DMS2240K", "vespergate-duskmoth-s", "ESK 12", date(2025, 4, 11), 0.3),
    Camera("G8-55102", "hobkindle-gill-8", "ESK 13", date(2021, 6, 30), 3.1),
    Camera("G8-55107", "hobkindle-gill-8", "ESK 14", date(2021, 6, 30), -2.6),
)
CAMERAS_BY_SERIAL = {c.serial: c for c in CAMERAS}

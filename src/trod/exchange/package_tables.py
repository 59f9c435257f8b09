"""The tables of a camera-data package: which columns there are, and what may stand in them.

Source: Camtrap DP 1.0.2 (TDWG, 2025), table schemas of deployments, media and observations; told here in our own form,
nothing is carried over. A time is ISO 8601 with its zone; `NA`, `NaN` and `nan` stand for what is not known, as an
empty cell does.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

VERSION = "1.0.2"
BASE = f"https://raw.githubusercontent.com/tdwg/camtrap-dp/{VERSION}/"
PROFILE = f"{BASE}camtrap-dp-profile.json"
MISSING = frozenset({"", "NA", "NaN", "nan"})
NAMES = ("deployments", "media", "observations")

Kind = Literal["text", "number", "integer", "boolean", "moment"]
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:?\d\d)")


@dataclass(frozen=True, kw_only=True)
class Field:
    """One column. low, high : the least and the most that may stand there; one_of : all that may."""

    name: str
    kind: Kind = "text"
    required: bool = False
    unique: bool = False
    low: float | None = None
    high: float | None = None
    one_of: tuple[str, ...] = ()
    pattern: str = ""


def _texts(*names: str) -> tuple[Field, ...]:
    return tuple(Field(name=name) for name in names)


FEATURES = (
    "roadPaved", "roadDirt", "trailHiking", "trailGame", "roadUnderpass", "roadOverpass", "roadBridge", "culvert",
    "burrow", "nestSite", "carcass", "waterSource", "fruitingTree",
)  # fmt: skip
TYPES = ("animal", "human", "vehicle", "blank", "unknown", "unclassified")
STAGES = ("adult", "subadult", "juvenile")
SEXES = ("female", "male")
# A URL, or a path that begins neither at a root nor at home and leads nowhere upwards.
_PATH = r"^(?=^[^./~])(^((?!\.{2}).)*$).*$"

DEPLOYMENTS = (
    Field(name="deploymentID", required=True, unique=True),
    *_texts("locationID", "locationName"),
    Field(name="latitude", kind="number", required=True, low=-90, high=90),
    Field(name="longitude", kind="number", required=True, low=-180, high=180),
    Field(name="coordinateUncertainty", kind="integer", low=1),
    Field(name="deploymentStart", kind="moment", required=True),
    Field(name="deploymentEnd", kind="moment", required=True),
    *_texts("setupBy", "cameraID", "cameraModel"),
    Field(name="cameraDelay", kind="integer", low=0),
    Field(name="cameraHeight", kind="number", low=0),
    Field(name="cameraDepth", kind="number", low=0),
    Field(name="cameraTilt", kind="integer", low=-90, high=90),
    Field(name="cameraHeading", kind="integer", low=0, high=360),
    Field(name="detectionDistance", kind="number", low=0),
    Field(name="timestampIssues", kind="boolean"),
    Field(name="baitUse", kind="boolean"),
    Field(name="featureType", one_of=FEATURES),
    *_texts("habitat", "deploymentGroups", "deploymentTags", "deploymentComments"),
)
MEDIA = (
    Field(name="mediaID", required=True, unique=True),
    Field(name="deploymentID", required=True),
    Field(name="captureMethod", one_of=("activityDetection", "timeLapse")),
    Field(name="timestamp", kind="moment", required=True),
    Field(name="filePath", required=True, pattern=_PATH),
    Field(name="filePublic", kind="boolean", required=True),
    *_texts("fileName"),
    Field(name="fileMediatype", required=True, pattern=r"^(image|video|audio)/.*$"),
    *_texts("exifData"),
    Field(name="favorite", kind="boolean"),
    *_texts("mediaComments"),
)
OBSERVATIONS = (
    Field(name="observationID", required=True, unique=True),
    Field(name="deploymentID", required=True),
    *_texts("mediaID", "eventID"),
    Field(name="eventStart", kind="moment", required=True),
    Field(name="eventEnd", kind="moment", required=True),
    Field(name="observationLevel", required=True, one_of=("media", "event")),
    Field(name="observationType", required=True, one_of=TYPES),
    Field(name="cameraSetupType", one_of=("setup", "calibration")),
    *_texts("scientificName"),
    Field(name="count", kind="integer", low=1),
    Field(name="lifeStage", one_of=STAGES),
    Field(name="sex", one_of=SEXES),
    *_texts("behavior", "individualID"),
    Field(name="individualPositionRadius", kind="number", low=0),
    Field(name="individualPositionAngle", kind="number", low=-90, high=90),
    Field(name="individualSpeed", kind="number", low=0),
    Field(name="bboxX", kind="number", low=0, high=1),
    Field(name="bboxY", kind="number", low=0, high=1),
    Field(name="bboxWidth", kind="number", low=1e-15, high=1),
    Field(name="bboxHeight", kind="number", low=1e-15, high=1),
    Field(name="classificationMethod", one_of=("human", "machine")),
    *_texts("classifiedBy"),
    Field(name="classificationTimestamp", kind="moment"),
    Field(name="classificationProbability", kind="number", low=0, high=1),
    *_texts("observationTags", "observationComments"),
)
TABLES: dict[str, tuple[Field, ...]] = {"deployments": DEPLOYMENTS, "media": MEDIA, "observations": OBSERVATIONS}
# column → the column of another table that must have it
KEYS = {"media": {"deploymentID": "deployments"}, "observations": {"deploymentID": "deployments", "mediaID": "media"}}
DWC = "http://rs.tdwg.org/dwc/terms/"


def columns(table: str) -> tuple[str, ...]:
    """The names of a table's columns, in the standard's order."""
    return tuple(field.name for field in TABLES[table])


def told(value: str | None) -> str:
    """A cell without blanks around it; '' for what is not known."""
    text = (value or "").strip()
    return "" if text in MISSING else text


def moment(text: str) -> datetime:
    """An instant with its zone. Raises ValueError for any other text."""
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError("a time without its zone")
    return at


def trouble(field: Field, text: str) -> str:
    """Why this cell may not stand in this column, as words that follow the column's name; '' when it may."""
    if not text:
        return "is missing" if field.required else ""
    shown = f"“{text[:40]}”"
    if field.kind == "moment":
        if not _MOMENT.fullmatch(text):
            return f"is {shown}, which is no date and time with its zone"
        try:
            moment(text)
        except ValueError:
            return f"is {shown}, which no clock shows"
    elif field.kind == "boolean":
        if text not in ("true", "false"):
            return f"is {shown}, not true or false"
    elif field.kind in ("number", "integer"):
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or (field.kind == "integer" and not re.fullmatch(r"[+-]?\d+", text)):
            return f"is {shown}, not a {'whole ' if field.kind == 'integer' else ''}number"
        if field.low is not None and value < field.low:
            return f"is {shown}, less than {field.low:g}"
        if field.high is not None and value > field.high:
            return f"is {shown}, more than {field.high:g}"
    if field.one_of and text not in field.one_of:
        return f"is {shown}, none of {', '.join(field.one_of)}"
    if field.pattern and not re.match(field.pattern, text):
        return f"is {shown}, which the standard does not take there"
    return ""

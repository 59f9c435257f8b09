"""What somebody else's records state: deployments, their sequences, what was seen, and the rows that say too little."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, kw_only=True)
class Skipped:
    """A row that was left out, and why. row : its number in the file, the head being row 1."""

    file: str
    row: int
    reason: str

    @property
    def sentence(self) -> str:
        return f"{self.file}, row {self.row}: {self.reason}"


@dataclass(frozen=True, kw_only=True)
class StatedDeployment:
    """One camera at one place for a time, as stated.

    key : as the records name it. start, end : aware, with the offset that was written. stated : the records tell start
    and end; else they are those of its first and last record. latitude_deg, longitude_deg : None where not told.
    tilt_deg : below level.
    """

    key: str
    row: int
    start: datetime
    end: datetime
    stated: bool = True
    place_key: str = ""
    place_name: str = ""
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    uncertainty_m: float | None = None
    camera: str = ""
    camera_model: str = ""
    height_m: float | None = None
    tilt_deg: float | None = None
    heading_deg: float | None = None
    delay_s: float | None = None
    set_by: str = ""
    feature: str = ""
    note: str = ""

    @property
    def utc_offset_min(self) -> int:
        """The offset in which its times are written; one for the whole deployment."""
        offset = self.start.utcoffset()
        return round(offset.total_seconds() / 60) if offset is not None else 0

    @property
    def place(self) -> str:
        """What its place is called."""
        return self.place_name or self.place_key or self.key


@dataclass(frozen=True, kw_only=True)
class StatedLine:
    """One line of what was seen. scientific_name, name : '' where not told."""

    what: str
    scientific_name: str = ""
    name: str = ""
    count: int = 1
    sex: str = "unknown"
    life_stage: str = "unknown"

    @property
    def kind(self) -> str:
        """What the kind of animal is called in these records; '' for none."""
        return (self.scientific_name or self.name) if self.what == "animal" else ""


@dataclass(frozen=True, kw_only=True)
class StatedSequence:
    """One sequence. key : the same whenever these records are read. lines : empty where nobody has looked yet.

    machine : a machine said so, and no person. files : paths of its pictures below the package. media : what these are
    called there.
    """

    key: str
    row: int
    start: datetime
    end: datetime
    frames: int = 1
    time_lapse: bool = False
    lines: tuple[StatedLine, ...] = ()
    by: str = ""
    at: datetime | None = None
    note: str = ""
    machine: bool = False
    observations: int = 0
    files: tuple[str, ...] = ()
    media: tuple[str, ...] = ()

"""What a general metadata reader, ExifTool, finds in files beyond the standard's own tags.

Makers keep their serial, the temperature and the battery's voltage in notes of their own form. ExifTool knows many of
them; it is a general-purpose program that may be on the machine or not. Nothing here needs it: without it, or where it
fails, a file simply says no more than `exif` reads.

What it prints is kept as it stands, and a value is believed only where its unit stands beside it and it can be true.
Its program runs for a batch of files and then ends: nothing of it outlives a process that is killed. File names reach
it by its standard input, each with its whole path, so that none is taken for an option; settings of its own, which may
hold code, are not read. Sources: ExifTool's manual for the options; Exif 2.32 (CIPA DC-008-2019) for the ambient
temperature (0x9400, °C) and the body's serial (0xA431).
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from trod import units

SETTING = "TROD_METADATA_READER"  # "off", or a path to the program; without it the one on the path is taken
OFF = ("off", "0", "no", "none")
TOGETHER = 256  # files a run of the program
START_S, EACH_S = 10.0, 0.1  # how long it may take: to start, and for each file. Ours.
# Runs that failed or took too long, before it is asked no more: where it never answered, and where it did; one file
# that stops it is told from 256 after nine.
NEVER, MOST_FAILURES = 3, 12
MOST_TEXT = 200  # characters kept of a value
# What the believed values come from, the best first.
SERIALS = ("SerialNumber", "BodySerialNumber", "CameraSerialNumber")
AIR = ("AmbientTemperature", "AmbientTemperatureFahrenheit")
VOLTS = ("BatteryVoltage", "BatteryVoltageAvg")
# Kept as they stand, never believed: a number of the electronics, the warmth of the body, a gauge of unknown make.
ONLY_KEPT = ("InternalSerialNumber", "CameraTemperature", "BatteryLevel")
TAGS = (*SERIALS, *AIR, *VOLTS, *ONLY_KEPT)
COLDEST_C, WARMEST_C = -60.0, 75.0  # of what a camera outdoors can tell. Ours.
LEAST_V, MOST_V = 0.5, 30.0


@dataclass(frozen=True, kw_only=True)
class ReaderSaid:
    """What the reader found in one file.

    raw : {group and tag: the text as it was printed}. serial, temperature_c, battery_v : what of that is believed; ""
    or None where nothing is.
    """

    raw: Mapping[str, str] = field(default_factory=dict)
    serial: str = ""
    temperature_c: float | None = None
    battery_v: float | None = None


def find(environ: Mapping[str, str]) -> MetadataReader | None:
    """The reader on this machine; None where there is none, where it does not answer, or where it is switched off.

    environ : TROD_METADATA_READER in it is "off" or names the program.
    """
    said = environ.get(SETTING, "").strip()
    if said.casefold() in OFF:
        return None
    program = shutil.which(said or "exiftool", path=environ.get("PATH"))
    if program is None:
        return None
    try:
        done = subprocess.run(
            [program, "-config", "", "-ver"], capture_output=True, timeout=START_S, stdin=subprocess.DEVNULL, check=True
        )
    except (OSError, subprocess.SubprocessError):
        return None
    version = done.stdout.decode("ascii", "replace").strip()
    return MetadataReader(program, version) if re.fullmatch(r"\d+\.\d+\w*", version) else None


class MetadataReader:
    """ExifTool, asked for many files at a time."""

    def __init__(self, program: str, version: str = "", *, start_s: float = START_S, each_s: float = EACH_S) -> None:
        self.program, self.version = program, version
        self.start_s, self.each_s = start_s, each_s
        self.answers = self.failures = 0

    @property
    def name(self) -> str:
        """What was read is told to be by this."""
        return f"ExifTool {self.version}".strip()

    @property
    def given_up(self) -> bool:
        """Whether it failed so often that it is asked no more."""
        return self.failures >= (MOST_FAILURES if self.answers else NEVER)

    def read(self, paths: Iterable[Path], *, stop: Callable[[], bool] = lambda: False) -> dict[Path, ReaderSaid]:
        """What it says of each file; a file of which it says nothing, or over which it fails, is left out.

        stop : asked between two runs; once True the rest is left out.
        Raises nothing for what is in the files or becomes of the program.
        """
        found: dict[Path, ReaderSaid] = {}
        # A line each: a name with a break in it cannot be handed over.
        asked = [path for path in paths if not set("\r\n\0") & set(str(path))]
        parts = [asked[at : at + TOGETHER] for at in range(0, len(asked), TOGETHER)]
        while parts and not self.given_up and not stop():
            part = parts.pop(0)
            told = self._run(part)
            if told is not None:
                self.answers += 1
                found.update(told)
                continue
            self.failures += 1
            if len(part) > 1:  # one file may have stopped it: the others are asked for without it
                middle = len(part) // 2
                parts += [part[:middle], part[middle:]]
        return found

    def _run(self, paths: Sequence[Path]) -> dict[Path, ReaderSaid] | None:
        """One run of the program; None where it failed."""
        absolute = {str(path.absolute()): path for path in paths}
        options = ["-json", "-G0", "-fast", *(f"-{tag}" for tag in TAGS)]
        if os.name == "nt":
            options += ["-charset", "filename=utf8"]
        lines = "".join(f"{line}\n" for line in (*options, *absolute))
        try:
            done = subprocess.run(
                [self.program, "-config", "", "-@", "-"],  # the first must come first: no settings of its own
                input=os.fsencode(lines),
                capture_output=True,
                timeout=self.start_s + self.each_s * len(paths),
                check=False,  # 1 where one file could not be read
            )
            # Numbers stay as they were printed: a serial may look like one.
            rows = json.loads(done.stdout or b"[]", parse_int=str, parse_float=str, parse_constant=str)
        except (OSError, subprocess.SubprocessError, ValueError, RecursionError):
            return None
        if done.returncode not in (0, 1) or not isinstance(rows, list):
            return None
        found = {}
        for row in rows:
            path = absolute.get(str(row.pop("SourceFile", ""))) if isinstance(row, dict) else None
            if path is not None and (said := said_in(row)).raw:
                found[path] = said
        return found


def said_in(row: Mapping[str, object]) -> ReaderSaid:
    """What is kept and what is believed of one file's row: {group and tag: value}."""
    raw = {str(key)[:80]: text for key, value in row.items() if (text := _text(value))}
    by_tag: dict[str, list[str]] = {}
    for key, text in raw.items():
        by_tag.setdefault(key.rpartition(":")[2], []).append(text)
    return ReaderSaid(
        raw=raw,
        serial=next((text for tag in SERIALS for text in by_tag.get(tag, ()) if is_serial(text)), ""),
        temperature_c=_first(temperature_c(text) for tag in AIR for text in by_tag.get(tag, ())),
        battery_v=_first(volts(text) for tag in VOLTS for text in by_tag.get(tag, ())),
    )


def _first(values: Iterable[float | None]) -> float | None:
    return next((value for value in values if value is not None), None)


def _text(value: object) -> str:
    if not isinstance(value, (str, bool)):
        return ""
    return "".join(c for c in str(value) if c.isprintable()).strip()[:MOST_TEXT]


def is_serial(text: str) -> bool:
    """Whether a text can be a serial: not zeros alone, no word for none, of a length that a plate has."""
    bare = "".join(c for c in text if c.isalnum())
    return bool(bare.strip("0")) and len(text) <= 64 and any(c.isdigit() for c in bare)


_DEGREES = re.compile(r"([+-]?\d{1,3}(?:\.\d+)?) ?°? ?([CF])")
_VOLTS = re.compile(r"(\d{1,3}(?:\.\d+)?) ?V")


def temperature_c(text: str) -> float | None:
    """A temperature with its unit, in °C; None without one, or where no camera outdoors can have told it."""
    match = _DEGREES.fullmatch(text)
    if match is None:
        return None
    return of_air(float(match[1]) if match[2] == "C" else round(units.between("°C", "°F").to_stored(float(match[1])), 1))


def of_air(value_c: float | None) -> float | None:
    """A temperature that a camera outdoors can have told; else None."""
    return value_c if value_c is not None and COLDEST_C <= value_c <= WARMEST_C else None


def volts(text: str) -> float | None:
    """A battery's voltage with its unit, in V; None without one, or where no camera's batteries give it."""
    match = _VOLTS.fullmatch(text)
    if match is None:
        return None
    value = float(match[1])
    return value if LEAST_V <= value <= MOST_V else None

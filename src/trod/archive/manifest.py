"""The written list of a bag: plain text that `sha256sum -c` can read.

BagIt 1.0: J. Kunze, J. Littman, E. Madden, J. Scancella, C. Adams, "The BagIt File Packaging Format (V1.0)",
RFC 8493, 2018. The sections are named where a rule comes from them.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from trod.archive import disk
from trod.errors import WrongInput

BAGIT_TXT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"  # section 2.1.1
PAYLOAD = "data"
MANIFEST = "manifest-sha256.txt"
TAG_MANIFEST = "tagmanifest-sha256.txt"
BAG_INFO = "bag-info.txt"
BAGIT = "bagit.txt"

# Section 2.1.3: the checksum, one or more blanks or tabs, the path. `sha256sum` itself may put a star there.
_LINE = re.compile(r"([0-9A-Fa-f]{64})[ \t]+\*?(.+)")
_LABEL = re.compile(r"[^\s:](?:[^:\r\n]*[^\s:])?")


@dataclass(frozen=True)
class Manifest:
    """A manifest as read.

    files : {path below the bag, with forward slashes: SHA-256 in small hex}.
    faults : what is wrong with it, in words; lines at fault are not in `files`.
    """

    files: dict[str, str]
    faults: tuple[str, ...] = ()


def encode_path(path: str) -> str:
    """A path as a manifest writes it: %, CR and LF, and only those, percent-encoded (section 2.1.3)."""
    return path.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def decode_path(text: str) -> str:
    """A path as a manifest means it; other uses of % are left as they are."""
    return re.sub(r"%(0[DdAa]|25)", lambda m: chr(int(m[1], 16)), text)


def distrust(path: str, *, payload: bool) -> str | None:
    """Why a path from a manifest must not be opened, or None when it may (section 5.1, hazards).

    payload : whether it has to lie below data/ (section 2.1.3), or at the top as a tag file.
    """
    parts = path.split("/")
    if path.startswith(("/", "\\", "~")) or re.match(r"[A-Za-z]:", path):
        return "it is absolute"
    if ".." in parts or "." in parts or "" in parts:
        return "it climbs or has an empty part"
    if "\0" in path or (os.name == "nt" and ("\\" in path or ":" in path)):
        return "it has a forbidden character"
    if payload and (parts[0] != PAYLOAD or len(parts) < 2):
        return "it does not lie below data/"
    if not payload and parts[0] == PAYLOAD:
        return "it lies below data/"
    return None


def write_manifest(files: Mapping[str, str]) -> bytes:
    """The text of a manifest, sorted by path: {path below the bag: SHA-256 in hex}."""
    return "".join(f"{sha256}  {encode_path(path)}\n" for path, sha256 in sorted(files.items())).encode()


def read_manifest(data: bytes, *, payload: bool = True) -> Manifest:
    """The files a manifest names. What is malformed or hostile is told, not raised and not followed."""
    files: dict[str, str] = {}
    faults: list[str] = []
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as problem:
        faults.append(f"it is not UTF-8 from byte {problem.start} on")
        text = data.decode("utf-8", "replace")
    if text.startswith("\ufeff"):
        faults.append("it begins with a byte order mark")
        text = text[1:]
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        if not line.strip():
            continue
        found = _LINE.fullmatch(line)
        if found is None:
            faults.append(f"line {number} is no checksum and path")
            continue
        path = decode_path(found[2])
        path = path.removeprefix("./")
        reason = distrust(path, payload=payload)
        if reason is not None:
            faults.append(f"line {number} names a path that is not followed, for {reason}")
        elif files.setdefault(path, found[1].lower()) != found[1].lower():
            faults.append(f"line {number} contradicts an earlier one")
    return Manifest(files, tuple(faults))


def payload_oxum(sizes_bytes: Iterable[int]) -> str:
    """Octets and streams of the payload, as in section 2.2.2: `279164409832.1198`."""
    sizes = list(sizes_bytes)
    return f"{sum(sizes)}.{len(sizes)}"


def read_oxum(text: str) -> tuple[int, int] | None:
    """(octets, streams), or None when the text is no Payload-Oxum."""
    found = re.fullmatch(r"\s*([0-9]{1,19})\.([0-9]{1,12})\s*", text, re.ASCII)
    return (int(found[1]), int(found[2])) if found else None


def write_bag_info(about: Iterable[tuple[str, str]]) -> bytes:
    """The text of bag-info.txt; line ends within a value become blanks.

    Raises WrongInput for a label that the format cannot carry.
    """
    lines = []
    for label, value in about:
        if not _LABEL.fullmatch(label):
            raise WrongInput("bag-info label", got=label, needed="text without colon, line end, outer blanks")
        lines.append(f"{label}: {' '.join(value.split())}\n")
    return "".join(lines).encode("utf-8", "backslashreplace")


def read_bag_info(data: bytes) -> list[tuple[str, str]]:
    """Labels and values in their order; a line that begins with a blank carries on the one before."""
    about: list[tuple[str, str]] = []
    for line in re.split(r"\r\n|\r|\n", data.decode("utf-8-sig", "replace")):
        if line[:1] in (" ", "\t") and about:
            about[-1] = (about[-1][0], f"{about[-1][1]} {line.strip()}")
        elif ":" in line:
            label, _, value = line.partition(":")
            about.append((label.strip(), value.strip()))
    return about


def bagit_version(data: bytes) -> str | None:
    """The version that bagit.txt declares, or None when it is not what section 2.1.1 asks for."""
    found = re.fullmatch(
        rb"BagIt-Version: ([0-9]+\.[0-9]+)(?:\r\n|\r|\n)Tag-File-Character-Encoding: UTF-8[\r\n]*", data
    )
    return found[1].decode() if found else None


def hash_file(path: Path, *, from_disk: bool = False, each: Callable[[int], None] | None = None) -> tuple[str, int]:
    """SHA-256 in hex and the size in bytes of a file, read once.

    from_disk : ask the system to forget what it holds of the file first, so that the disk itself is read.
    each : called with the number of bytes after every piece.
    """
    fd = disk.open_read(path)
    try:
        if from_disk:
            disk.drop_cache(fd)
        return hash_open(fd, each=each)
    finally:
        os.close(fd)


def hash_open(fd: int, *, each: Callable[[int], None] | None = None) -> tuple[str, int]:
    """As `hash_file`, from where an open descriptor stands to its end."""
    digest, size, buffer = hashlib.sha256(), 0, bytearray(disk.BUFFER_BYTES)
    view = memoryview(buffer)
    with open(fd, "rb", buffering=0, closefd=False) as file:
        while count := file.readinto(buffer):
            digest.update(view[:count])
            size += count
            if each is not None:
                each(count)
    return digest.hexdigest(), size


def write_tag_files(
    bag: Path, *, payload: Mapping[str, str], about: Iterable[tuple[str, str]], tags: Mapping[str, bytes]
) -> None:
    """Write all that makes a folder with a `data/` a bag, each file whole and firm, the list of tags last.

    payload : {path below the bag: SHA-256}.
    about : labels and values of bag-info.txt.
    tags : further tag files, {name: content}.
    """
    contents = {
        **tags,
        MANIFEST: write_manifest(payload),
        BAG_INFO: write_bag_info(about),
        BAGIT: BAGIT_TXT,
    }
    for name, content in contents.items():
        disk.write_file(bag / name, content)
    sums = {name: hashlib.sha256(content).hexdigest() for name, content in contents.items()}
    disk.write_file(bag / TAG_MANIFEST, write_manifest(sums))

"""The end of an import: the papers of the bag, its place, and what there is to say."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from trod import __version__
from trod.archive import disk, papers, times
from trod.archive.content import DAMAGE, Problem, kind_of
from trod.archive.making import INCOMING, JOURNAL, PLAN, Making
from trod.archive.manifest import PAYLOAD, TAG_MANIFEST, hash_file, payload_oxum, write_tag_files
from trod.archive.result import Copy, Duplicate, ImportResult, Told
from trod.errors import ArchiveUnwritable

CARD_NAMES = "card-names.jsonl"
ALREADY_KEPT = "already-kept.jsonl"
TOLD = "told.jsonl"


def sweep(aside: Path) -> None:
    """Take away what a begun or an ended import left of its own papers; copies are not among them."""
    if not aside.exists():
        return
    for name in (PLAN, f"{PLAN}.new", JOURNAL):
        disk.remove(aside / name)
    for part in (aside / "parts").iterdir() if (aside / "parts").exists() else ():
        disk.remove(part)
    for folder in (aside / "parts", aside / "bag" / PAYLOAD, aside / "bag", aside):
        disk.remove_folder(folder)


def tidy(making: Making) -> None:
    """The bag is in its place; take the papers away, under a name at which nobody looks for an import."""
    aside = making.root / INCOMING / f"~{making.name}"
    sweep(aside)
    disk.rename(making.home, aside)
    sweep(aside)
    disk.flush_folder(aside.parent)
    with contextlib.suppress(OSError):  # on Windows an open file stays; it is empty and does no harm
        disk.remove(making.root / INCOMING / f"{making.name}.lock")


def is_placed(making: Making) -> bool:
    """Whether the bag of this plan, and no other, is in its place already."""
    try:
        return hash_file(making.destination / TAG_MANIFEST)[0] == making.placing
    except OSError:
        return False


def finish(making: Making, lost: list[Told]) -> None:
    """Write the tag files, give the bag its place and take the papers of the making away."""
    _salvage(making, lost)
    copies = {to: line for to, line in making.done.items() if line["what"] == "copied"}
    if not copies:  # all of it is in the archive already: no bag without a file
        for folder, _, names in os.walk(making.bag, topdown=False):
            for name in names:
                disk.remove(Path(folder, name))
            disk.remove_folder(Path(folder))
        tidy(making)
        return
    about = [
        ("Bag-Software-Agent", f"Trod {__version__}"),
        ("Bagging-Date", making.now.date().isoformat()),
        ("External-Identifier", making.name),
        ("Payload-Oxum", payload_oxum(line["size_bytes"] for line in copies.values())),
    ]
    given = {label.lower() for label in making.about}
    about = [*making.about.items(), *(pair for pair in about if pair[0].lower() not in given)]
    for old in making.bag.iterdir():  # tag files of an earlier, broken-off finish
        if old.name != PAYLOAD:
            disk.remove(old)
    payload = {to: str(line["sha256"]) for to, line in copies.items()}
    write_tag_files(making.bag, payload=payload, about=about, tags=_tag_files(making, lost))
    tagmanifest = hash_file(making.bag / TAG_MANIFEST)[0]
    making.enter([{"what": "placing", "tagmanifest": tagmanifest, "lost": [asdict(t) for t in lost]}])
    disk.make_folder(making.destination.parent)
    if making.destination.exists():
        raise ArchiveUnwritable(
            f"{making.bag_path} has come into being meanwhile. The finished bag is kept in {making.bag}; "
            "move one of the two aside, then resume."
        )

    def move() -> None:
        disk.rename(making.bag, making.destination)
        disk.flush_folder(making.destination.parent)
        disk.flush_folder(making.home)

    papers.give_place(making.root, making.bag_path, tagmanifest, move)
    tidy(making)


def _salvage(making: Making, lost: list[Told]) -> None:
    """Deal with files in the bag that the journal does not speak of, left by a run that was killed.

    Nearly always the file was taken anew and the copy replaced. But when the source has lost the file
    meanwhile, this may be the only copy on earth: it is kept, marked as unverified.
    """
    lines: list[dict[str, Any]] = []
    for folder, _, names in os.walk(making.bag / PAYLOAD):
        for name in names:
            path = Path(folder, name)
            to = path.relative_to(making.bag).as_posix()
            line = making.done.get(to)
            if line is not None and line["what"] == "copied":
                continue
            item = making.planned.get(to)
            if item is not None and line is None and any(t.path == item.entry.path for t in lost):
                sha256, size_bytes = hash_file(path, from_disk=True)
                lines.append(
                    {"what": "copied", "to": to, "sha256": sha256, "size_bytes": size_bytes,
                     "mtime_ns": path.stat().st_mtime_ns, "kind": item.entry.kind, "problems": [],
                     "foreign": False, "read_back": False, "unverified": True}
                )  # fmt: skip
            else:
                disk.remove(path)
    making.enter(lines)
    kept = {making.planned[line["to"]].entry.path for line in lines}
    lost[:] = [t for t in lost if t.path not in kept]
    for folder, _, _ in os.walk(making.bag / PAYLOAD, topdown=False):  # a bag cannot list an empty folder
        if Path(folder) != making.bag / PAYLOAD and not any(Path(folder).iterdir()):
            disk.remove_folder(Path(folder))


def _tag_files(making: Making, lost: list[Told]) -> dict[str, bytes]:
    """The tag files of ours, each only when there is something to say."""

    def text(lines: Iterable[dict[str, Any]]) -> bytes:
        return "".join(json.dumps(line, sort_keys=True) + "\n" for line in lines).encode()

    renamed: list[dict[str, Any]] = []
    kept: list[dict[str, Any]] = []
    told: list[dict[str, Any]] = []
    for item in making.items:
        path, line = item.entry.path, making.done.get(item.to)
        if line is None:
            continue
        if line["what"] == "twin":
            fields = ("sha256", "size_bytes", "where", "within")
            told_of = {"told": line["problems"]} if line.get("problems") else {}
            kept.append({"card_path": path, **{name: line[name] for name in fields}, **told_of})
            continue
        if item.to != f"{PAYLOAD}/{path}":
            renamed.append({"card_path": path, "path": item.to})
        flags = [*line["problems"], *(("foreign",) if line["foreign"] else ())]
        flags += ["unverified"] if line.get("unverified") else []
        flags += ["changed-later"] if item.old else []
        if flags:
            other_kind = {} if line.get("kind", kind_of(path)) == kind_of(path) else {"kind": line["kind"]}
            told.append({"card_path": path, "path": item.to, "told": flags, **other_kind})
    left = [*lost, *making.left, *making.trouble]
    told += [{"card_path": t.path, "told": [t.what], "copied": False} for t in left]
    made = {to: int(line["mtime_ns"]) for to, line in making.done.items() if line["what"] == "copied"}
    files = {
        CARD_NAMES: text(renamed), ALREADY_KEPT: text(kept), TOLD: text(told), times.TIMES: times.write(made),
    }  # fmt: skip
    return {name: content for name, content in files.items() if content}


def result_of(making: Making, lost: list[Told], seconds: float) -> ImportResult:
    """What the journal and the plan say of an import that has come to its end."""
    copies, twins, damaged, foreign = [], [], [], []
    read, read_back = 0, True
    for item in making.items:
        line = making.done.get(item.to)
        if line is None:
            continue
        path = item.entry.path
        read += line["size_bytes"]
        problems = tuple(Problem(p) for p in line.get("problems", ()))
        damaged += [Told(path, p.value, p.sentence) for p in problems if p in DAMAGE]
        if line["what"] == "twin":
            twins.append(Duplicate(path, line["sha256"], line["size_bytes"], line["where"], line["within"], problems))
            continue
        read_back = read_back and line["read_back"]
        copies.append(
            Copy(
                path=path,
                to=item.to,
                sha256=line["sha256"],
                size_bytes=line["size_bytes"],
                mtime_ns=line["mtime_ns"],
                kind=line.get("kind", item.entry.kind),
                problems=problems,
                foreign=line["foreign"],
                unverified=bool(line.get("unverified")),
            )
        )
        if line["foreign"]:
            foreign.append(Told(path, "foreign", "was made by another camera"))
    return ImportResult(
        name=making.name,
        bag=making.bag_path if copies else None,
        copies=tuple(copies),
        twins=tuple(twins),
        damaged=tuple(damaged),
        foreign_files=tuple(foreign),
        skipped_files=tuple(t for t in making.left if t.what != "unreadable"),
        lost=(*lost, *(t for t in making.left if t.what == "unreadable")),
        notes=tuple(making.notes),
        read_back=read_back,
        bytes=read,
        seconds=seconds,
        trouble=tuple(making.trouble),
    )

"""Making reports: the record, the PDF, the folder of tables; and the made ones in TROD_HOME/reports."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from trod.catalogue import home, models
from trod.catalogue.answers import answers, condition, evidence
from trod.catalogue.line import Line, Silent
from trod.errors import DiskFull, WrongInput
from trod.findings import Filter
from trod.leaving.sites import fit_evidence
from trod.plain import record
from trod.report import contents
from trod.report.contents import ReportData

PAPERS = {"a4": "a4", "letter": "us-letter"}
# From so many observations on, a report is made as a job beside the pages. Ours.
LONG_WORK = 2500
_NAME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}-[a-z0-9-]{1,80}\Z")


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What somebody wants of a report, in plain values that a job's row can keep.

    first, last : ISO days or ''. paper : a4 or letter. most_species : how many get pages of their own.
    show_sensitive : sensitive sites at their true places; only for a person with the right.
    """

    first: str = ""
    last: str = ""
    sites: tuple[str, ...] = ()
    paper: str = "a4"
    most_species: int = contents.MOST_SPECIES
    tables: bool = True
    show_sensitive: bool = False
    title: str = ""
    units: str = "metric"


@dataclass(frozen=True, kw_only=True)
class Made:
    """One made report. pdf_bytes, zip_bytes : sizes, 0 when there is none."""

    name: str
    title: str
    period: str
    sentence: str
    at: datetime
    by: str
    show_sensitive: bool
    pdf_bytes: int
    zip_bytes: int


def filter_of(wish: Wish) -> Filter:
    """The wish as a filter. Raises WrongInput."""
    reserve = answers.the_reserve()
    return answers.make_filter(evidence.gather(reserve), sites=wish.sites, first=wish.first, last=wish.last)


def data_of(wish: Wish, *, now: datetime) -> ReportData:
    """All that the report prints. Raises WrongInput, NotEnoughEvidence."""
    if wish.paper not in PAPERS:
        raise WrongInput("paper", got=wish.paper, needed="a4 or letter")
    reserve = answers.the_reserve()
    account = evidence.gather(reserve)
    return contents.gather(
        fit_evidence(account.evidence, true_places=wish.show_sensitive),
        filter_of(wish),
        title=wish.title or reserve.titled,
        conditions=condition.conditions(reserve, account),
        most_species=max(0, min(wish.most_species, 12)),
        system="us" if wish.units == "us" else "metric",
        paper=PAPERS[wish.paper],  # type: ignore[arg-type]
        made_on=now.astimezone(reserve.zone_info).date(),
    )


def pdf_of(data: ReportData) -> bytes:
    """A report as the bytes of a PDF file."""
    from trod.report.paper import report_pdf  # late: the typesetter is heavy

    return report_pdf(data)


def tables_of(data: ReportData, folder: Path) -> tuple[Path, ...]:
    """A report's tables written into a folder; gives the files."""
    from trod.report.tables import report_csv_folder

    return report_csv_folder(data, folder)


def is_long_work(reserve: models.Reserve) -> bool:
    """Whether making a report takes longer than a page should."""
    return len(evidence.gather(reserve).evidence.observations) > LONG_WORK


def make(wish: Wish, *, by: str, now: datetime, line: Line | None = None, data: ReportData | None = None) -> str:
    """Make a report in TROD_HOME/reports and give back its name. Whole or not there at all.

    data : what it prints, when that has been gathered already.
    Raises WrongInput, NotEnoughEvidence, DiskFull, Stopped.
    """
    line = line or Silent()
    line.step(0, 3, "Asking the questions")
    data = data or data_of(wish, now=now)
    line.step(1, 3, "Setting the pages")
    pdf = pdf_of(data)
    line.step(2, 3, "Writing the tables")
    root = home.reports_root()
    try:
        root.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=root, prefix=".making-") as scratch:
            folder = Path(scratch)
            (folder / "report.pdf").write_bytes(pdf)
            if wish.tables:
                _zip(tables_of(data, folder / "tables"), folder / "report.zip")
            name = _free_name(root, data, now)
            told = {
                "trod": 1,
                "title": data.title,
                "period": data.period,
                "filter": data.filter_sentence,
                "sentence": data.comes.sentence,
                "at": now.isoformat(),
                "by": by,
                "show_sensitive": data.show_sensitive,
            }
            (folder / "report.json").write_text(json.dumps(told, ensure_ascii=False, indent=1) + "\n", "utf-8")
            # The list reads the .json, so it comes last.
            for ending in ("pdf", "zip", "json"):
                if (folder / f"report.{ending}").exists():
                    (folder / f"report.{ending}").replace(root / f"{name}.{ending}")
    except OSError as trouble:
        if trouble.errno == 28:
            raise DiskFull(
                f"The disk with {root} is full, so the report was not made. Make room and try again."
            ) from None
        raise
    return name


def _zip(files: Iterable[Path], dest: Path) -> None:
    with zipfile.ZipFile(dest, "w", zipfile.ZIP_DEFLATED) as out:
        for file in files:
            out.write(file, file.name)


def _free_name(root: Path, data: ReportData, now: datetime) -> str:
    slug = re.sub(r"[^a-z0-9]+", "-", data.title.lower().encode("ascii", "ignore").decode()).strip("-")[:40] or "report"
    head = f"{now:%Y-%m-%d}-{slug}"
    for number in range(1, 10_000):
        name = head if number == 1 else f"{head}-{number}"
        try:  # takes the name, so that two at once get two
            os.close(os.open(root / f"{name}.pdf", os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644))
        except FileExistsError:
            continue
        return name
    raise WrongInput("reports", got=f"10000 named {head}", needed="fewer; throw some away")


def made() -> list[Made]:
    """The made reports, newest first. A damaged note is left out."""
    out = []
    for note in home.reports_root().glob("*.json"):
        name = note.stem
        if not _NAME.fullmatch(name):
            continue
        try:
            sizes = {"pdf_bytes": _size(note.with_suffix(".pdf")), "zip_bytes": _size(note.with_suffix(".zip"))}
            told = {**json.loads(note.read_text("utf-8")), "name": name, **sizes}
            out.append(record(Made, told, what="report", needed="a note that Trod wrote"))
        except (OSError, ValueError, TypeError):
            continue
    return sorted(out, key=lambda m: (m.at, m.name), reverse=True)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def file_of(name: str, ending: str) -> Path | None:
    """A made report's file; None when there is none of that name."""
    if not _NAME.fullmatch(name) or ending not in ("pdf", "zip"):
        return None
    path = home.reports_root() / f"{name}.{ending}"
    return path if path.is_file() else None


def remove(name: str) -> bool:
    """Throw a made report away. Whether there was one."""
    if not _NAME.fullmatch(name):
        return False
    had = False
    for ending in ("json", "pdf", "zip"):
        path = home.reports_root() / f"{name}.{ending}"
        had = had or path.is_file()
        path.unlink(missing_ok=True)
    return had


def sweep() -> None:
    """Drop what a killed making left behind."""
    for folder in home.reports_root().glob(".making-*"):
        shutil.rmtree(folder, ignore_errors=True)

"""Identifications that stand in the archive and that the catalogue does not know."""

from __future__ import annotations

import uuid as uuids
from pathlib import Path

from trod.archive import papers, sidecar
from trod.catalogue.models import Catalogue, Identification

TOGETHER = 500  # uuids that are asked for at once


def words(root: Path) -> dict[str, int]:
    """How many identifications in the archive the catalogue lacks, by the path of their file below it.

    Only of files with any. Nothing is said of another archive's catalogue.
    """
    mine = Catalogue.objects.first()
    if mine is not None and mine.archive and mine.archive != papers.archive_id(root):
        return {}
    found: dict[str, int] = {}
    for site, _, folder in sidecar.folders_of_bags(root):
        if site is None:
            continue
        said = [u for line in sidecar.read_identifications(folder).lines if (u := _said(line)) is not None]
        known: set[uuids.UUID] = set()
        for start in range(0, len(said), TOGETHER):
            some = said[start : start + TOGETHER]
            known |= set(Identification.objects.filter(uuid__in=some).values_list("uuid", flat=True))
        lacking = set(said) - known
        if lacking:
            found[papers.path_of(root, folder / papers.IDENTIFICATIONS)] = len(lacking)
    return found


def _said(line: dict[str, object]) -> uuids.UUID | None:
    if line.get("act") != "say":
        return None
    try:
        return uuids.UUID(str(line["uuid"]))
    except (ValueError, KeyError):  # `rebuild` tells of such a line
        return None

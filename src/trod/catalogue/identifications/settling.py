"""At the start of a command: the catalogue held against the archive, and identifications it lacks taken up."""

from __future__ import annotations

from trod.archive import papers, sidecar
from trod.catalogue import home
from trod.catalogue.identifications import identifications
from trod.catalogue.papers import ledger, standing


def settle() -> standing.Standing:
    """Take up identifications, adopt papers that say the same. Raises OutOfStep."""
    standing.require_readable()
    found = standing.look()
    if found.how is standing.How.UNKNOWN and ledger.says_the_same():
        standing.adopt()
        found = standing.look()
    if not found.may_write:
        raise found.trouble()
    root = home.archive_root()
    for folder in found.identifications:
        path = papers.path_of(root, folder / papers.IDENTIFICATIONS)
        lines = int(standing.state_of(root, path) or 0)
        identifications.replay(sidecar.read_identifications(folder).lines)
        standing.set_state(path, lines=lines)
    return found

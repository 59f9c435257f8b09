"""A file that came home from a round: the packet's own, or the round's table filled in by hand."""

from __future__ import annotations

from datetime import datetime

from trod.errors import WrongInput
from trod.report.packet import read_packet
from trod.web import lists
from trod.web.catalogue import field_notes, field_table
from trod.web.catalogue.field_notes import Origin, Taken
from trod.web.models import Reserve


def take_file(data: bytes, name: str, *, by: str, now: datetime) -> tuple[Taken, tuple[str, ...]]:
    """Take a file in. Returns what became of its visits, and doubts for a person to look at.

    Raises WrongInput for what is neither a packet's file nor a round's table.
    """
    if data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"{":
        found = read_packet(data)
        return field_notes.take(found.visits, Origin(packet=found.packet_id, by=by[:80], at=now)), found.doubts
    reserve = Reserve.objects.order_by("id").first()
    if reserve is None:
        raise WrongInput("table", got="one without a reserve here", needed="a reserve; write it down first")
    notes = field_table.read_table(lists.decode(data), reserve)
    if not notes:
        raise WrongInput(name or "table", got="no line with a time under came_at", needed="at least one filled in")
    return field_notes.take(notes, Origin(packet="", by=by[:80], at=now)), ()

"""The packet: a round as one page for a phone without network, and the visits that come back from it."""

from __future__ import annotations

from trod.report.packet.data import PacketCamera, PacketData, PacketStop
from trod.report.packet.making import packet_html
from trod.report.packet.merging import CardPut, Conflict, KnownVisit, Merge, merge
from trod.report.packet.reading import PacketReturn, read_packet
from trod.report.packet.visit import VisitNote

__all__ = [
    "CardPut",
    "Conflict",
    "KnownVisit",
    "Merge",
    "PacketCamera",
    "PacketData",
    "PacketReturn",
    "PacketStop",
    "VisitNote",
    "merge",
    "packet_html",
    "read_packet",
]

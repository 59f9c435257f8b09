"""Waitress, with room kept for those who ask: connections that only sit there never keep a page from opening.

Waitress reads and writes all connections in one thread and answers whole requests in others. A caller that connects and
sends nothing, or half a request, or a byte now and then, holds a connection and no thread; but connections are counted,
and at its limit waitress takes no more until the idle ones time out. So here a new connection always finds room: the
one that has waited longest without a whole request goes, first of the same address if that holds many. One whose
request is being answered never goes; one that does not read its answer may.
"""

from __future__ import annotations

import ipaddress
import time
from typing import Any

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from trod import limits

# Connections in all, and of one address (a browser opens six, a proxy or a shared router stands for many people).
# Windows can watch 512 in one call; each may hold one more file, so this leaves room below the usual 1024 of Linux.
MOST = limits.CONNECTIONS
MOST_OF_ADDRESS = limits.CONNECTIONS_OF_ADDRESS
# A request must be whole after so long, its headers alone sooner. [s]
HEADERS_S = 30.0
WHOLE_S = 600.0
# An answer of which nothing was taken for so long may make room. [s]
STALLED_S = 10.0


class Channel(HTTPChannel):
    """One connection. waiting_since : when it connected, or had its last answer whole."""

    def __init__(self, server: Any, sock: Any, addr: Any, adj: Any, map: Any = None) -> None:
        self.waiting_since = time.time()
        self.place = place_of(addr)
        super().__init__(server, sock, addr, adj, map)

    def service(self) -> None:
        super().service()
        self.waiting_since = time.time()

    def is_waiting(self) -> bool:
        """No request of it is being answered, and no answer is on its way out."""
        return not self.requests and not self.total_outbufs_len

    def is_stalled(self, now: float) -> bool:
        """Its answer is ready and nobody takes it."""
        return bool(self.total_outbufs_len) and now - self.last_activity > STALLED_S

    def is_late(self, now: float) -> bool:
        """It has begun a request and does not bring it to its end."""
        if not self.is_waiting() or self.request is None:
            return False
        return now - self.waiting_since > (WHOLE_S if self.request.headers_finished else HEADERS_S)


def place_of(addr: Any) -> str:
    """An address, or for IPv6 the /64 that one household or company holds."""
    text = str(addr[0]) if isinstance(addr, tuple) and addr else ""
    try:
        found = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return text
    if isinstance(found, ipaddress.IPv6Address):
        return str(found.ipv4_mapped or ipaddress.ip_network((found, 64), strict=False))
    return str(found)


class Server(TcpWSGIServer):
    """Waitress on one listening socket, making room as told above."""

    channel_class = Channel

    def handle_accept(self) -> None:
        self.make_room()
        super().handle_accept()

    def make_room(self) -> None:
        """See that one more connection fits. Runs in the thread that holds all connections, so that it may end some."""
        while len(self.active_channels) >= MOST and self._let_go(list(self.active_channels.values())):
            pass
        by_place: dict[str, list[Channel]] = {}
        for channel in self.active_channels.values():
            by_place.setdefault(channel.place, []).append(channel)
        for held in by_place.values():
            if len(held) >= MOST_OF_ADDRESS:
                self._let_go(held)

    def _let_go(self, held: list[Channel]) -> bool:
        """End the one that has waited longest, or else one that does not read. False when all are being answered."""
        now = time.time()
        waiting = [channel for channel in held if channel.is_waiting()]
        stalled = [channel for channel in held if channel.is_stalled(now)]
        if waiting:
            min(waiting, key=lambda channel: channel.waiting_since).handle_close()
        elif stalled:
            min(stalled, key=lambda channel: channel.last_activity).handle_close()
        return bool(waiting or stalled)

    def maintenance(self, now: float) -> None:
        super().maintenance(now)
        for channel in list(self.active_channels.values()):
            if channel.is_late(now):
                channel.will_close = True
        coming = [c for c in self.active_channels.values() if c.request is not None and not c.will_close]
        total = sum(c.request.body_bytes_received for c in coming)
        for channel in sorted(coming, key=lambda c: c.waiting_since):
            if total <= limits.BODIES_BYTES:
                break
            total -= channel.request.body_bytes_received
            channel.will_close = True


def server(application: Any, sock: Any, **more: Any) -> Server:
    """A server on a listening socket. more : waitress's own adjustments."""
    adj = Adjustments(sockets=[sock], **more)
    dispatcher = ThreadedTaskDispatcher()
    dispatcher.set_thread_count(adj.threads)
    told = (sock.family, sock.type, sock.proto, sock.getsockname())
    return Server(application, None, True, sock, dispatcher=dispatcher, adj=adj, bind_socket=False, sockinfo=told)

"""The server behind `trod serve`: waitress for the pages, and one child process for the long work.

The child is tied to us by a pipe that we hold open and never write to. When we end in any way, also by a kill
that leaves no time for a word, the system closes the pipe, the child reads its end and goes too.
"""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import os
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import trod
from trod import limits
from trod.errors import TrodError

# Pages are answered by so many threads. A reserve's people are few; SQLite writes one at a time anyway.
THREADS = 8
# A worker that falls over is started again after 1, 2, 4 … s, at most this.
LONGEST_PAUSE_S = 60.0
# How long a worker may take to lay its work down before it is ended.
GRACE_S = 10.0


class PortTaken(TrodError):
    """Something already listens there. free : the next port that is free, or None."""

    def __init__(self, host: str, port: int, free: int | None) -> None:
        super().__init__(host, port, free)
        self.host, self.port, self.free = host, port, free

    def __str__(self) -> str:
        then = f"Say: trod serve --port {self.free}" if self.free else "End it, or name another port with --port."
        return f"Port {self.port} is taken by another program, perhaps by another Trod. {then}"


class NoSuchAddress(TrodError):
    """The host to listen on is none of this machine's."""

    def __init__(self, host: str, reason: str) -> None:
        super().__init__(host, reason)
        self.host, self.reason = host, reason

    def __str__(self) -> str:
        return (
            f"{self.host}: cannot listen there ({self.reason}). Needed: one of this machine's own addresses, "
            "127.0.0.1 for this machine alone, or 0.0.0.0 for all who can reach it."
        )


def is_loopback(host: str) -> bool:
    """True when only this machine can reach what listens on this host."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host == "localhost"


def names_of_this_machine(host: str) -> list[str]:
    """The names a browser may call a server by that listens on this host: for the host check."""
    names = {host.strip("[]")} - {"0.0.0.0", "::", ""}  # noqa: S104 - taken out, not bound
    if not is_loopback(host):
        own = socket.gethostname()
        names |= {own, f"{own}.local", socket.getfqdn()}
        with contextlib.suppress(OSError):
            names |= {str(found[4][0]).partition("%")[0] for found in socket.getaddrinfo(own, None)}
    return sorted(f"[{name}]" if ":" in name else name for name in names)


def _bind(host: str, port: int) -> socket.socket:
    family, kind, proto, _, address = socket.getaddrinfo(host.strip("[]"), port, type=socket.SOCK_STREAM)[0]
    sock = socket.socket(family, kind, proto)
    try:
        if sys.platform == "win32":  # there, REUSEADDR would let two programs share the port
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind(address)
        # Listening at once: on some systems two sockets may be bound to one port, but only one may listen.
        sock.listen(512)
    except OSError:
        sock.close()
        raise
    return sock


def listen(host: str, port: int) -> socket.socket:
    """A listening socket; port 0 takes any free one. Raises PortTaken, NoSuchAddress."""
    try:
        return _bind(host, port)
    except socket.gaierror as trouble:
        raise NoSuchAddress(host, trouble.strerror or str(trouble)) from trouble
    except OSError as trouble:
        if trouble.errno == errno.EADDRINUSE or getattr(trouble, "winerror", 0) in (10013, 10048):
            raise PortTaken(host, port, next_free_port(host, port + 1)) from trouble
        if trouble.errno == errno.EACCES:
            raise NoSuchAddress(host, f"port {port} is kept for the system; take one above 1023") from trouble
        raise NoSuchAddress(host, trouble.strerror or str(trouble)) from trouble


def next_free_port(host: str, first: int, *, tries: int = 50) -> int | None:
    """The first port from `first` upwards that is free now."""
    for port in range(first, min(first + tries, 65536)):
        with contextlib.suppress(OSError):
            _bind(host, port).close()
            return port
    return None


class WorkerKeeper:
    """Starts the worker's process, starts it again when it falls over, and ends it with us."""

    def __init__(self, command: list[str] | None = None, *, say: Callable[[str], None] = lambda text: None) -> None:
        self.command = command or [sys.executable, "-m", "trod.web.worker"]
        self.say = say
        self.starts = 0
        self.child: subprocess.Popen[bytes] | None = None
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._keep, name="worker-keeper", daemon=True)

    def start(self) -> None:
        self._thread.start()

    @staticmethod
    def _env() -> dict[str, str]:
        """Ours, with the folder Trod was imported from, so that it is found from a checkout too."""
        here = str(Path(trod.__file__).parents[1])
        return {
            **os.environ,
            "PYTHONPATH": os.pathsep.join(filter(None, (here, os.environ.get("PYTHONPATH")))),
        }

    def _keep(self) -> None:
        pause_s = 1.0
        while not self._stop.is_set():
            began = time.monotonic()
            self.starts += 1
            self.child = subprocess.Popen(self.command, stdin=subprocess.PIPE, env=self._env())
            while self.child.poll() is None and not self._stop.is_set():
                self._stop.wait(0.2)
            if self._stop.is_set():
                return
            pause_s = 1.0 if time.monotonic() - began > 60 else min(pause_s * 2, LONGEST_PAUSE_S)
            self.say(
                f"The worker ended by itself (status {self.child.returncode}); it is started again in "
                f"{pause_s:.0f} s. What it was at is kept and goes on."
            )
            self._stop.wait(pause_s)

    def stop(self) -> None:
        """End the worker: ask, wait for it to lay its work down, then insist."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=2)
        child = self.child
        if child is None or child.poll() is not None:
            return
        if child.stdin is not None:
            child.stdin.close()
        try:
            child.wait(timeout=GRACE_S + 2)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


def _end(signum: int, frame: object) -> None:
    raise SystemExit(0)


def run(
    sock: socket.socket,
    *,
    worker: bool = True,
    say: Callable[[str], None] = lambda text: None,
    when_ready: Iterable[Callable[[], None]] = (),
) -> None:
    """Serve on a listening socket until Ctrl-C or SIGTERM. Django must be ready (trod.catalogue.start)."""
    from trod.web import doors
    from trod.web.wsgi import application

    server = doors.server(
        application,
        sock,
        threads=THREADS,
        ident="trod",
        backlog=512,
        # Room is made in `doors`; waitress's own count only stops what lies beyond, its own three among them.
        connection_limit=doors.MOST + 50,
        channel_timeout=60,
        cleanup_interval=5,
        # select() takes no file past number 1023 and Windows has no poll().
        asyncore_use_poll=hasattr(select, "poll"),
        # A page that is ready waits in a file, and files are read as they are taken: a slow reader holds no thread.
        outbuf_high_watermark=128 * 1024 * 1024,
        max_request_header_size=limits.HEADERS_BYTES,
        max_request_body_size=limits.REQUEST_BYTES,
        # The door in trod.web.access treats a forwarded call as somebody else's, so it has to see
        # the headers.
        clear_untrusted_proxy_headers=False,
    )
    keeper = WorkerKeeper(say=say) if worker else None
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _end)
        # A shell that started us in the background has Ctrl-C switched off; being told to end must still work.
        signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        if keeper:
            keeper.start()
        for call in when_ready:
            call()
        server.run()
    except (KeyboardInterrupt, SystemExit):  # before or beside waitress's own loop, which catches them itself
        pass
    finally:
        # A second Ctrl-C must not break off the tidying up.
        with contextlib.suppress(ValueError):
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
        server.close()
        if keeper:
            keeper.stop()

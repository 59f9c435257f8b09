"""The process that does the long work: `python -m trod.web.worker`, started by trod.web.server.

It ends when its standard input ends, which happens when its parent does, however that came about. The job at
hand is put back into the queue: its results so far are kept, and the next worker goes on from there.
"""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import sys
import threading

from trod.web.server import GRACE_S


def lay_down(owner_head: str) -> int:
    """Put the running jobs of this process back into the queue; whoever is at one stops at its next step."""
    from trod.catalogue.models import Job

    mine = Job.objects.filter(state=Job.State.RUNNING, owner__startswith=owner_head)
    return mine.update(state=Job.State.WAITING, owner="", heartbeat=None)


def main() -> None:
    from trod.catalogue.start import ready

    # Ctrl-C reaches every process of the terminal; ending is the parent's to say.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    stop = threading.Event()
    signal.signal(signal.SIGTERM, lambda signum, frame: stop.set())

    def watch_parent() -> None:
        with contextlib.suppress(OSError, ValueError):
            while sys.stdin.buffer.read(1024):
                pass
        stop.set()

    threading.Thread(target=watch_parent, name="watch-parent", daemon=True).start()
    ready("the worker of trod serve", migrate=False)
    from django.db import connection

    from trod.catalogue import jobs
    from trod.catalogue.work import handlers  # registers the kinds of work

    worker = threading.Thread(
        target=jobs.work,
        kwargs={"stop": stop, "settle_in": handlers.settle_in, "look_round": handlers.look_round},
        name="jobs",
        daemon=True,
    )
    worker.start()
    while worker.is_alive() and not stop.wait(0.5):
        pass
    died = not stop.is_set()
    if worker.is_alive():
        with contextlib.suppress(Exception):  # a database that is gone cannot be told
            lay_down(f"{socket.gethostname()}-{os.getpid()}-")
        worker.join(timeout=GRACE_S)
    with contextlib.suppress(Exception):
        connection.close()
    # Not sys.exit: a job that is deep in a long step would hold it up, and whatever it has not kept is
    # done again.
    os._exit(1 if died else 0)


if __name__ == "__main__":
    main()

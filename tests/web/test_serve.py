"""`trod serve` as a process: its address, its doors, its worker, its end."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from types import SimpleNamespace

import pytest

from trod.web import doors, server

ROOT = Path(__file__).resolve().parents[2]


def environment(home: Path, **more: str) -> dict[str, str]:
    env = {name: value for name, value in os.environ.items() if not name.startswith("TROD_")}
    return {**env, "TROD_HOME": str(home), "PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1", **more}


def run(home: Path, *words: str, text: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trod", "serve", *words],
        env=environment(home),
        capture_output=True,
        text=True,
        input=text,
        timeout=60,
    )


@pytest.fixture
def started(tmp_path):
    running = []

    def start(*words: str) -> tuple[subprocess.Popen[str], str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "trod", "serve", "--port", "0", "--no-browser", "--json", *words],
            env=environment(tmp_path / "home"),
            stdout=subprocess.PIPE,
            text=True,
        )
        running.append(process)
        return process, json.loads(process.stdout.readline())["address"]

    yield start
    for process in running:
        if process.poll() is None:
            process.kill()
        process.wait()
        process.stdout.close()


def status(url: str, **headers: str) -> int:
    class Stay(urllib.request.HTTPRedirectHandler):
        def redirect_request(self, *args):
            return None

    try:
        return (
            urllib.request.build_opener(Stay)
            .open(
                urllib.request.Request(url, headers={k.replace("_", "-"): v for k, v in headers.items()}),
                timeout=20,
            )
            .status
        )
    except urllib.error.HTTPError as answer:
        return answer.code


def children(pid: int) -> list[int]:
    import psutil

    return [child.pid for child in psutil.Process(pid).children(recursive=True)]


def alive(pid: int) -> bool:
    import psutil

    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE


def wait_for(what, seconds: float = 25.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := what():
            return found
        time.sleep(0.1)
    raise AssertionError("waited in vain")


@pytest.mark.long
def test_it_serves_pages_on_loopback_alone_and_knows_forwarded_calls(started):
    _, url = started("--no-worker")

    assert url.startswith("http://127.0.0.1:")
    assert status(url) == 200
    assert status(f"{url}static/trod/trod.css") == 200
    assert status(url, Host="evil.example") == 400
    assert status(url, X_Forwarded_For="10.1.2.3") == 302
    with pytest.raises(OSError):
        socket.create_connection(
            (socket.gethostbyname(socket.gethostname()), int(url.split(":")[2][:-1])), timeout=2
        ).recv(1)
        if socket.gethostbyname(socket.gethostname()).startswith("127."):
            raise OSError  # this machine has no other address


@pytest.mark.long
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_asked_to_end_it_ends_with_its_worker(started, how):
    process, _ = started()
    (worker,) = wait_for(lambda: children(process.pid))
    process.send_signal(how)

    assert process.wait(timeout=25) == 0
    assert not alive(worker)


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_killed_outright_it_leaves_no_worker_behind(started):
    process, _ = started()
    (worker,) = wait_for(lambda: children(process.pid))
    process.kill()

    assert wait_for(lambda: not alive(worker))


@pytest.mark.long
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_a_worker_that_falls_over_is_started_again(started):
    process, url = started()
    (worker,) = wait_for(lambda: children(process.pid))
    os.kill(worker, signal.SIGKILL)
    again = wait_for(lambda: [pid for pid in children(process.pid) if pid != worker and alive(pid)])

    assert again
    assert status(url) == 200


def test_a_port_that_is_taken_is_told_with_the_next_free_one(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        answer = run(tmp_path, "--port", str(port), "--no-browser")

    assert answer.returncode == 3
    told = re.search(rf"Port {port} is taken by another program.* Say: trod serve --port (\d+)", answer.stderr)
    assert told and int(told[1]) > port


def test_without_an_account_it_does_not_listen_to_other_machines(tmp_path):
    answer = run(tmp_path, "--host", "0.0.0.0", "--port", "0", "--no-browser")

    assert answer.returncode == 3
    assert "No account exists yet" in answer.stderr
    assert "trod serve --make-account NAME" in answer.stderr


@pytest.mark.long
def test_with_an_account_it_listens_and_demands_it_of_the_machine_itself_too(tmp_path, started):
    made = run(tmp_path / "home", "--make-account", "suri", text="owl-in-the-larch\nowl-in-the-larch\n")
    assert made.returncode == 0, made.stderr
    _, url = started("--host", "0.0.0.0", "--no-worker")

    assert status(url) == 302
    assert status(f"{url}people/login/") == 200
    assert status(url, Host="evil.example") == 400


def test_a_weak_password_makes_no_account(tmp_path):
    answer = run(tmp_path, "--make-account", "suri", text="12345678\n12345678\n")

    assert answer.returncode == 3
    assert "password: got 'one that is too weak'" in answer.stderr


def test_an_address_of_another_machine_is_told():
    with pytest.raises(server.NoSuchAddress) as told:
        server.listen("192.0.2.1", 8000)  # TEST-NET-1, RFC 5737: nobody's

    assert "192.0.2.1: cannot listen there" in str(told.value)


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.1.2.3", True),
        ("::1", True),
        ("[::1]", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("::", False),
        ("192.168.1.4", False),
        ("localhost.evil.example", False),
    ],
)
def test_what_counts_as_this_machine_alone(host, loopback):
    assert server.is_loopback(host) is loopback


def test_the_host_check_never_takes_every_name():
    assert "*" not in server.names_of_this_machine("0.0.0.0")
    assert "0.0.0.0" not in server.names_of_this_machine("0.0.0.0")


@pytest.mark.django_db
def test_a_worker_that_ends_lays_its_job_back_into_the_queue(trod_home):
    from django.utils import timezone

    from trod.catalogue import jobs
    from trod.catalogue.models import Job
    from trod.web.worker import lay_down

    mine = Job.objects.create(
        kind="x", state="running", owner="here-17-abc", heartbeat=timezone.now(), created_at=timezone.now()
    )
    other = Job.objects.create(
        kind="x", state="running", owner="there-9-abc", heartbeat=timezone.now(), created_at=timezone.now()
    )

    assert lay_down("here-17-") == 1
    mine.refresh_from_db()
    other.refresh_from_db()
    assert (mine.state, other.state) == ("waiting", "running")
    with pytest.raises(jobs.Stopped):  # whoever is still at it stops at the next step
        jobs.Report(mine.pk, "here-17-abc").step(1, 2, force=True)


# Connections that only sit there ------------------------------------------------------------------------------


def seconds_to_open(url: str) -> float:
    began = time.monotonic()
    assert status(url) == 200
    return time.monotonic() - began


@pytest.mark.long
@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Long: ",
        b"POST /people/settings/ HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5000\r\n\r\nperson=",
    ],
    ids=["silent", "half a header", "half a body"],
)
def test_hundreds_of_half_open_connections_keep_no_page_from_opening(started, sent):
    _, url = started("--no-worker")
    port = int(url.rstrip("/").rpartition(":")[2])
    seconds_to_open(url)  # the first page of a process is slower
    held = []
    try:
        for _ in range(600):
            sock = socket.create_connection(("127.0.0.1", port), timeout=10)
            held.append(sock)
            if sent:
                with contextlib.suppress(OSError):  # the oldest are let go meanwhile
                    sock.sendall(sent)
        assert seconds_to_open(url) < 2
        assert seconds_to_open(f"{url}static/trod/trod.css") < 2
    finally:
        for sock in held:
            sock.close()


@pytest.mark.long
def test_slow_readers_of_long_answers_hold_no_page_up(started, tmp_path):
    (tmp_path / "home" / "reports").mkdir(parents=True)
    name = "2026-07-01-a-long-one"
    with (tmp_path / "home" / "reports" / f"{name}.zip").open("wb") as file:
        file.truncate(60_000_000)
    _, url = started("--no-worker")
    port = int(url.rstrip("/").rpartition(":")[2])
    assert status(f"{url}reports/{name}.zip") == 200
    held = []
    try:
        for _ in range(4 * server.THREADS):
            sock = socket.create_connection(("127.0.0.1", port), timeout=10)
            sock.sendall(f"GET /reports/{name}.zip HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
            held.append(sock)
        time.sleep(1)
        assert seconds_to_open(url) < 2
    finally:
        for sock in held:
            sock.close()


class Line:
    """A connection for the rules below, without a socket."""

    def __init__(self, place: str, since: float, *, busy: bool = False, sending_since: float | None = None) -> None:
        self.place, self.waiting_since, self.requests = place, since, [object()] if busy else []
        self.total_outbufs_len = 0 if sending_since is None else 9
        self.last_activity = sending_since or since
        self.request, self.closed = None, False

    is_waiting, is_stalled, is_late = doors.Channel.is_waiting, doors.Channel.is_stalled, doors.Channel.is_late

    def handle_close(self) -> None:
        self.closed = True


class Desk(doors.Server):
    """A server without a socket that holds such connections."""

    def __init__(self, lines: list[Line]) -> None:
        self.lines = lines

    @property
    def active_channels(self):
        return {n: line for n, line in enumerate(self.lines) if not line.closed}


def test_the_one_that_waited_longest_makes_room_and_none_that_is_being_answered():
    now = time.time()
    lines = [Line(f"198.51.100.{n % 200}", now - n, busy=n > doors.MOST // 2) for n in range(doors.MOST)]
    Desk(lines).make_room()

    assert [line.waiting_since for line in lines if line.closed] == [now - doors.MOST // 2]


def test_one_address_that_holds_many_makes_its_own_room():
    now = time.time()
    many = [Line("192.0.2.7", now - n) for n in range(doors.MOST_OF_ADDRESS)]
    other = Line("192.0.2.8", now - 900)
    Desk([*many, other]).make_room()

    assert [n for n, line in enumerate(many) if line.closed] == [doors.MOST_OF_ADDRESS - 1]
    assert not other.closed


def test_an_answer_that_nobody_reads_makes_room_and_one_that_is_read_does_not():
    now = time.time()
    lines = [Line("192.0.2.7", now, busy=True) for _ in range(doors.MOST - 2)]
    read = Line("192.0.2.8", now - 99, sending_since=now - 1)
    unread = Line("192.0.2.9", now - 99, sending_since=now - 60)
    Desk([*lines, read, unread]).make_room()

    assert unread.closed and not read.closed


def test_a_request_that_never_ends_is_ended():
    now = time.time()
    line = Line("192.0.2.7", now - doors.HEADERS_S - 1)
    line.request = SimpleNamespace(headers_finished=False)
    assert line.is_late(now)
    line.request = SimpleNamespace(headers_finished=True)
    assert not line.is_late(now)
    line.waiting_since = now - doors.WHOLE_S - 1
    assert line.is_late(now)


@pytest.mark.parametrize(
    ("address", "place"),
    [
        (("192.0.2.7", 80), "192.0.2.7"),
        (("2001:db8:1:2:3:4:5:6", 80, 0, 0), "2001:db8:1:2::/64"),
        (("::ffff:192.0.2.7", 80, 0, 0), "192.0.2.7"),
        (("fe80::1%eth0", 80, 0, 0), "fe80::/64"),
        ("/tmp/socket", ""),
    ],
)
def test_where_a_connection_comes_from(address, place):
    assert doors.place_of(address) == place

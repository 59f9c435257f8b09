"""`trod serve`: the pages in the browser, on this machine."""

from __future__ import annotations

import json
import os
import sys
import webbrowser
from datetime import UTC, datetime

import click

from trod.commands.bar import Bar
from trod.errors import TrodError


class NoAccount(TrodError):
    """Others could reach the pages and nobody would have to say who they are."""

    def __str__(self) -> str:
        return (
            "No account exists yet, and on an address that other machines can reach everybody has to log in. "
            "Say first: trod serve --make-account NAME"
        )


@click.command(short_help="Open the pages in the browser.")
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="0 takes any free port.")
@click.option("--host", default="127.0.0.1", show_default=True, help="The address to listen on.")
@click.option("--name", "names", multiple=True, help="A further name this server may be called by (with --host).")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
@click.option("--no-worker", is_flag=True, help="Serve pages alone; cards and thumbnails wait in the queue.")
@click.option("--make-account", metavar="NAME", help="Make an account (asks for a password), then end.")
@click.option("--json", "as_json", is_flag=True, help="Say the address as one JSON object.")
def serve(
    port: int,
    host: str,
    names: tuple[str, ...],
    no_browser: bool,
    no_worker: bool,
    make_account: str | None,
    as_json: bool,
) -> None:
    """Serve the pages of TROD_HOME and do the long work beside them, until Ctrl-C.

    Listens on this machine alone; whoever sits at it needs no account. On any other --host every page demands
    one. Nothing is encrypted on the way: use other hosts only in a network you trust.

    A catalogue that is missing, half made or older than the archive is made anew from it first, and an archive of
    an older format brought up to today's. A catalogue of another archive, papers that are missing or damaged, or an
    archive of a newer format are told, and nothing is served or written.

    \b
    Example:
      trod serve --port 8080 --no-browser
    \b
    Exit statuses:
      0  ended by Ctrl-C, or the account was made
      2  the command line was wrong
      3  could not start: port taken, no such address, no account yet, the catalogue does not fit the archive
    """
    from trod.web import server

    at_home = server.is_loopback(host)
    if not at_home:
        os.environ["TROD_DEMAND_ACCOUNTS"] = "1"
    asked = [*filter(None, os.environ.get("TROD_HOSTS", "").split(",")), *names]
    if not at_home:
        asked += server.names_of_this_machine(host)
    os.environ["TROD_HOSTS"] = ",".join(dict.fromkeys(asked))

    from trod.catalogue.home import home
    from trod.catalogue.start import ready

    ready("trod serve", settle=False)
    if make_account:
        _make_account(make_account)
        return
    _in_step()
    from trod.web.shared import accounts

    if (not at_home or os.environ.get("TROD_DEMAND_ACCOUNTS") == "1") and not accounts.any_exists():
        raise NoAccount
    sock = server.listen(host, port)
    shown = "127.0.0.1" if host in ("0.0.0.0", "::", "") else host  # noqa: S104 - told, not bound
    address = f"http://{f'[{shown}]' if ':' in shown else shown}:{sock.getsockname()[1]}/"
    if as_json:
        click.echo(json.dumps({"address": address, "home": str(home())}))
    else:
        click.echo(f"Trod is at {address}   (data in {home()}; end with Ctrl-C)")
    sys.stdout.flush()
    server.run(
        sock,
        worker=not no_worker,
        say=lambda text: click.echo(text, err=True),
        when_ready=() if no_browser or not _has_screen() else (lambda: _open(address),),
    )


def _in_step() -> None:
    """See that the catalogue is made from the archive that lies there; make it anew where nothing is lost by it."""
    from trod.catalogue.identifications import settling
    from trod.catalogue.papers import aside, standing
    from trod.catalogue.work import anew
    from trod.errors import OutOfStep

    try:
        settling.settle()
        return
    except OutOfStep as problem:
        if problem.how not in standing.MENDS_ITSELF:
            raise
        how = standing.How(problem.how)
        then = "It is brought up to date" if how is standing.How.OLDER else "It is made anew from the archive"
        click.echo(f"{standing.SAID[how]} {then} first.", err=True)
    with Bar() as bar:
        done = anew.make("trod serve", bar, now=datetime.now(UTC))
    if done.upgraded:
        click.echo(done.upgraded.sentence, err=True)
    click.echo(f"The catalogue is back: {done.made.sentence}.", err=True)
    for sentence in done.made.trouble:
        click.echo(f"  {sentence}", err=True)
    if done.before:
        click.echo(f"The old one is kept as {done.before}.", err=True)
        if lost := aside.told_of(done.before):
            click.echo(lost, err=True)


def _open(address: str) -> None:
    webbrowser.open(address)


def _has_screen() -> bool:
    """False on a machine without a screen, where a text browser would take the terminal away."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _make_account(name: str) -> None:
    from trod.web.shared import accounts

    password = click.prompt("Password", hide_input=True, confirmation_prompt=True)
    accounts.make(name, password)
    click.echo(f"The account {name} is made. Now: trod serve --host ADDRESS")

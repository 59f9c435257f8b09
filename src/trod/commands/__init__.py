"""The `trod` verbs, one file each.

demo            the invented reserve, built once and opened in the browser
serve           the pages in the browser
card            a card or a folder of pictures into the archive
records         `trod import`: records that are identified already
verify          the archive against its register and its manifests
rebuild         the catalogue again from the archive
backup restore  a second copy of the archive, and the way back
ask             the questions, answered by the same call as on the page
place           a placement worked out, with or without a catalogue
rounds          who is due, and a round planned
fieldform       a round's field form for a phone, and what comes back from it
power           how long cameras last, of the catalogue or as told on the command line
report          the report as a PDF and as a folder of tables
export          the records as a folder of tables
effort          when every camera watched, by deployment and by day
clock           camera clocks that cards show to be wrong, and putting them right
stops           how a command that cannot go on ends: one sentence and exit status 3
bar             a progress bar on stderr, silent when nobody looks

A verb's module is imported only when it is called or its help is shown: `VERBS` below is the list.
"""

from __future__ import annotations

import importlib
import os
import sys
from typing import Any

import click

from trod import __version__
from trod.commands import stops

# verb: the module below trod.commands that holds a click command of that name
VERBS = (
    "demo",
    "serve",
    "card",
    "import",
    "verify",
    "rebuild",
    "backup",
    "restore",
    "ask",
    "place",
    "rounds",
    "fieldform",
    "power",
    "report",
    "export",
    "effort",
    "clock",
)
# Where a verb's module cannot bear its name.
MODULES = {"import": "records"}


class House(click.Group):
    """Finds verbs late and ends each in a plain line and its exit status, never in a trace."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in VERBS:
            return None
        name = MODULES.get(cmd_name, cmd_name)
        module = importlib.import_module(f"trod.commands.{name}")
        command: click.Command = getattr(module, name)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        try:
            done = super().invoke(ctx)
            sys.stdout.flush()  # here, so that a full disk or a closed pipe behind it is told like any other
        except (click.ClickException, click.exceptions.Exit):
            raise
        except (Exception, KeyboardInterrupt) as problem:
            if os.environ.get("TROD_DEBUG") == "1":
                raise
            ctx.exit(stops.end(problem))
        return done


@click.group(cls=House, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="trod")
@click.option(
    "--home",
    type=click.Path(file_okay=False),
    envvar="TROD_HOME",
    help="The data folder (default: TROD_HOME, else ~/trod).",
)
def main(home: str | None) -> None:
    """For the keeper of a reserve's motion-triggered cameras.

    From the card to an answer: import a card, look through its sequences, ask what comes, when and whether it
    changes, and print a report. Everything lives in one data folder and works without a network.

    \b
    Exit statuses of every verb:
      0  done
      1  done, and something is wrong with what was looked at (the verb's help says what)
      2  the command line was wrong
      3  it could not be done; the message says why and what next

    Ctrl-C, a full disk, a folder that may not be written and a database that does not answer end with 3 too.
    """
    os.umask(0o077)  # whatever Trod writes is for its owner alone
    if home:
        os.environ["TROD_HOME"] = home


if __name__ == "__main__":
    sys.exit(main())

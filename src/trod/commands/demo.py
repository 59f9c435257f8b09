"""`trod demo`: the invented reserve, built once and opened in the browser."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from trod.commands.bar import Bar

DEFAULT_HOME = "~/trod-demo"


@click.command(short_help="Build an invented reserve and open it in the browser.")
@click.option(
    "--home",
    "demo_home",
    type=click.Path(file_okay=False),
    help=f"The demo's folder (default: TROD_HOME, else {DEFAULT_HOME}).",
)
@click.option("--no-browser", is_flag=True, help="Only build; do not serve.")
@click.option("--pictures", type=click.IntRange(400, 1_000_000), default=3200, show_default=True, metavar="N",
              help="About how many pictures to draw.")  # fmt: skip
@click.option("--seed", type=int, default=1, show_default=True, help="Another number, another year.")
@click.option(
    "--until",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DAY",
    help="The invented year's last day, like 2026-06-30 (default: today).",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8000,
    show_default=True,
    help="Where to serve; 0 takes any free port.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was built as one JSON object.")
@click.pass_context
def demo(
    ctx: click.Context,
    demo_home: str | None,
    no_browser: bool,
    pictures: int,
    seed: int,
    until: datetime | None,
    port: int,
    as_json: bool,
) -> None:
    """Draw a year of pictures of a reserve that does not exist, import its cards, and show the pages.

    The year ends today. All of it is invented: place, people, makers, pictures, and what the people said.
    Two cards were pulled on the last day: one is imported and waits to be looked through, one is still to be
    imported (under Cards). A demo that is there already is opened as it is; one that was broken off is built
    anew. A folder with real data is refused.

    \b
    Example:
      trod demo --home /tmp/trod-demo --no-browser
    \b
    Exit statuses:
      0  built (and, without --no-browser, served until Ctrl-C)
      2  the command line was wrong
      3  the folder holds real data, or it could not be built
    """
    os.environ["TROD_HOME"] = str(Path(demo_home or os.environ.get("TROD_HOME") or DEFAULT_HOME).expanduser())
    from trod.catalogue.start import ready

    Path(os.environ["TROD_HOME"]).mkdir(parents=True, exist_ok=True)
    ready("trod demo", settle=False)
    from trod_demo import rows as work

    marker = work.read_marker()
    if marker is not None and marker.get("built"):
        built: dict[str, Any] = {"home": os.environ["TROD_HOME"], "already_built": True, **marker}
        if not as_json:
            click.echo(f"The demo is there already, in {built['home']}.")
    else:
        if marker is not None:
            click.echo("An earlier building of the demo was broken off; it is built anew.", err=True)
            work.sweep()
        elif not work.is_free():
            raise work.RealData
        built = _build(work, pictures, seed, until)
        if not as_json:
            took = sum(built["took_s"].values())
            click.echo(
                f"Built in {took:.0f} s: {built['pictures']} pictures, {built['sequences']} sequences, "
                f"{built['words']} "
                f"words, all invented, in {built['home']}."
            )
    if as_json:
        click.echo(json.dumps(built, ensure_ascii=False, indent=2))
    if not no_browser:
        from trod.commands.serve import serve

        ctx.invoke(serve, port=port)


def _build(work: Any, pictures: int, seed: int, until: datetime | None) -> dict[str, Any]:
    from trod import engine

    # A day that was named ends at its noon, so that it is the same day in the reserve's own time.
    now = until.replace(hour=12, tzinfo=UTC) if until else datetime.now(UTC)
    with Bar() as bar:
        built: dict[str, Any] = work.build(bar, pictures=pictures, seed=seed, workers=engine.usual_workers(), now=now)
    return built

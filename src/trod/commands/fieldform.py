"""`trod fieldform`: a round's field form for a phone, and what comes back from it."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command(short_help="Make a round's field form for a phone; take its notes home.")
@click.option("--round", "name", metavar="NAME", help="The round, by its name; the newest of that name.")
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.html", help="Where the field form goes."
)
@click.option(
    "--address", "addresses", multiple=True, metavar="URL",
    help="Where the phone may find trod serve, like http://192.168.4.1:8000; may be given again.",
)  # fmt: skip
@click.option("--true-places", is_flag=True, help="Tell sensitive sites where they are; only if you may decide that.")
@click.option(
    "--take",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Import the file that a field form made, or the round's table with its columns filled in.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def fieldform(
    name: str | None, out: Path | None, addresses: tuple[str, ...], true_places: bool, take: Path | None, as_json: bool
) -> None:
    """Make the field form of a kept round, or take home what was noted.

    The field form is one HTML file: open it in a phone's browser, without a network. Where a sensitive site lies, and
    the times and ways that would tell it, are left out unless you say otherwise. Taking a file in twice does no harm;
    what two sides say differently is held until you decide, under Rounds.

    \b
    Examples:
      trod fieldform --round "West side" --out west-side.html
      trod fieldform --take visits.json
    \b
    Exit statuses:
      0  done
      1  imported, and something is held until you decide
      2  the command line was wrong
      3  not done: no such round, a file that cannot be read, a place that cannot be written to

    --json gives, with --take: new, changed, same, held (visit: why), told, doubts; else: out, bytes, stops.
    """
    if (take is None) == (name is None):
        raise click.UsageError("Give either --round with --out, or --take.")
    if name is not None and out is None:
        raise click.UsageError("Where does the field form go? Give --out FILE.html.")
    from trod.catalogue.start import ready

    ready("trod fieldform")
    from datetime import UTC, datetime

    from trod.catalogue.who import machine_person

    now = datetime.now(UTC)
    if take is not None:
        from trod.catalogue.rounds import upload
        from trod.errors import WrongInput
        from trod.field.form.reading import MOST_BYTES

        try:
            with take.open("rb") as file:
                data = file.read(MOST_BYTES + 1)
        except OSError as trouble:
            why = trouble.strerror or str(trouble)
            raise WrongInput(str(take), got=why, needed="a file that can be read") from trouble
        if len(data) > MOST_BYTES:
            raise WrongInput(take.name, got="more", needed=f"a file of at most {MOST_BYTES // 1_000_000} MB")
        taken, doubts = upload.take_file(data, take.name, by=machine_person(), now=now)
        if as_json:
            told = {
                "new": taken.new,
                "changed": taken.changed,
                "same": taken.same,
                "held": taken.held,
                "told": taken.told,
                "doubts": list(doubts),
            }
            click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        else:
            click.echo(taken.sentence())
            for words in (*taken.told, *doubts, *taken.held.values()):
                click.echo(f"  {words}")
            if taken.held:
                click.echo("Decide under Rounds, Bring notes home.")
        if taken.held:
            raise SystemExit(1)
        return
    assert name is not None and out is not None
    _make(name, out, addresses, true_places, as_json, now)


def _make(name: str, out: Path, addresses: tuple[str, ...], true_places: bool, as_json: bool, now: object) -> None:
    from datetime import datetime

    from trod.catalogue.models import Round
    from trod.catalogue.rounds import round_papers
    from trod.commands.rounds import write
    from trod.errors import WrongInput
    from trod.field.form import field_form_html

    assert isinstance(now, datetime)
    rows = Round.objects.select_related("reserve")
    row = rows.filter(name__iexact=name.strip()).order_by("-day", "-id").first()
    if row is None:
        known = ", ".join(rows.order_by("-day").values_list("name", flat=True)[:10])
        needed = f"one of: {known}" if known else "a round; plan one with: trod rounds"
        raise WrongInput("round", got=name[:60], needed=needed)
    data = round_papers.field_form_of(
        row, units=row.reserve.units, now=now, addresses=addresses, true_places=true_places
    )
    made = field_form_html(data).encode("utf-8")
    write(out, made)
    if as_json:
        told = {"out": str(out), "bytes": len(made), "stops": len(data.stops), "round": str(row.uuid)}
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    click.echo(f"The field form of {row.name}, {len(data.stops)} stops, is {out}.")
    click.echo("Copy it to the phone and open it there in a browser, not in a preview.")
    click.echo("Bring the notes home the same day.")

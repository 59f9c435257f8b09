"""`trod import`: records that are identified already, with or without their pictures."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from trod.commands.bar import Bar, is_terminal

SHOWN = 12  # skipped rows that are printed


def _pairs(context: click.Context, option: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    out = {}
    for text in given:
        name, sign, value = text.partition("=")
        if not sign or not name.strip():
            raise click.BadParameter(f"{text!r} is not of the form NAME=VALUE.")
        out[name.strip()] = value.strip()
    return out


@click.command("import", short_help="Import records that are identified already.")
@click.argument("path", type=click.Path(exists=True, path_type=Path))
@click.option("--column", "columns", multiple=True, callback=_pairs, metavar="MEANING=COLUMN",
              help="Which column of a CSV file means what, in place of the guess.")  # fmt: skip
@click.option("--species", "species", multiple=True, callback=_pairs, metavar="NAME=KEY",
              help="Which of your species a name in the records means; nothing after = makes a new one.")  # fmt: skip
@click.option("--effort", type=click.Choice(["stated", "shown"]), default="stated", show_default=True,
              help="Whether each camera watched from start to end as stated, or only as the records show.")  # fmt: skip
@click.option("--machine", is_flag=True, help="Count what a machine alone said as identified; else it is unreviewed.")
@click.option("--zone", default="", metavar="ZONE", help="Time zone of times that are written without one.")
@click.option("--preview", is_flag=True, help="Show what would be done, and write nothing.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def records(
    path: Path,
    columns: dict[str, str],
    species: dict[str, str],
    effort: str,
    machine: bool,
    zone: str,
    preview: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """Import identified records from PATH.

    PATH is the folder of a package of the open camera-data standard (Camtrap DP 1.0: deployments,
    media, observations), with or without its picture files; or one CSV file, a row for each
    observation.

    What would be done is shown first. The files are kept in the archive as they came. Rows that say too little
    are left out, each with its number and the reason. The same records a second time add nothing. A whole
    import can be undone on the page Cards.

    \b
    Examples:
      trod import valley-2019 --preview
      trod import valley-2019 --yes --json
      trod import notes.csv --column locationName=Post --column name=Animal --zone Europe/Vienna --yes
    \b
    Exit statuses:
      0  imported, or nothing in it was new
      1  imported, and some rows were left out
      2  the command line was wrong
      3  it could not be done, or nobody could be asked; the message says what is needed

    --json gives: import, deployments, sequences, observations, unreviewed, already_here, skipped (file, row,
    reason).
    """
    from trod.catalogue.start import ready

    ready("trod import")
    from django.utils import timezone

    from trod.catalogue.records import bring
    from trod.catalogue.records.plan import Choices
    from trod.catalogue.who import machine_person
    from trod.errors import WrongInput

    choices = Choices(columns=columns, species=species, effort=effort, machine=machine, zone=zone)
    if preview or not yes:
        with Bar() as bar:
            source, plan = bring.preview(path, choices, bar)
        if preview:
            _tell_plan(source, plan, as_json)
            return
        if as_json or not is_terminal():
            raise WrongInput("trod import", got="nobody to ask", needed="--yes, or --preview to look first")
        _tell_plan(source, plan, False)
        if not plan.adds:
            return
        click.confirm("Import this?", abort=True)
    with Bar() as bar:
        done = bring.bring(path, choices, by=machine_person(), now=timezone.now(), line=bar)
    if as_json:
        click.echo(json.dumps(done.as_json(), ensure_ascii=False, indent=2))
    else:
        click.echo(done.sentence)
        _tell_skipped(done.skipped)
    if done.skipped:
        click.get_current_context().exit(1)


def _tell_plan(source: Any, plan: Any, as_json: bool) -> None:
    new = plan.new_deployments
    told = {
        "title": source.title,
        "columns": dict(source.columns),
        "deployments": len(new),
        "sequences": plan.sequences,
        "observations": plan.observations,
        "unreviewed": plan.unreviewed,
        "said_by_a_machine": plan.machine,
        "already_here": plan.here,
        "sites": sorted({d.site.name if d.site else f"{d.stated.place} (new)" for d in plan.deployments}),
        "species": {k.called: k.row.slug if k.row else None for k in plan.kinds},
        "skipped": [{"file": s.file, "row": s.row, "reason": s.reason} for s in plan.skipped],
    }
    if as_json:
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    if source.title:
        click.echo(source.title)
    for meaning, column in source.columns.items():
        click.echo(f"  {column} is taken for {meaning}")
    click.echo(
        f"Would add {len(new)} deployments, {plan.sequences} sequences and {plan.observations} observations. "
        f"Nobody has reviewed {plan.unreviewed} of the sequences"
        + (f"; {plan.machine} were identified by a machine alone." if plan.machine else ".")
    )
    if plan.here:
        click.echo(f"{plan.here} sequences are here already.")
    for kind in plan.kinds:
        click.echo(f"  {kind.called}: {kind.row.name if kind.row else f'new, as {kind.name}'}")
    _tell_skipped(plan.skipped)


def _tell_skipped(skipped: list[Any]) -> None:
    if skipped:
        click.echo(f"Left out: {len(skipped)}.")
        for one in skipped[:SHOWN]:
            click.echo(f"  {one.sentence}")
        if len(skipped) > SHOWN:
            click.echo(f"  and {len(skipped) - SHOWN} more; --json lists all.")

"""`trod restore`: bring back from a backup what the archive lacks, or an earlier state of one of its papers."""

from __future__ import annotations

import json
from pathlib import Path

import click

from trod.commands.backup import tell
from trod.commands.bar import Bar
from trod.errors import WrongInput


@click.command(short_help="Bring back what the archive lacks, or an earlier state of a paper.")
@click.argument("src", required=False, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--papers", is_flag=True, help="List the earlier states that are kept of each paper.")
@click.option("--bring", metavar="STATE", help="With --papers: put this earlier state in place of the paper.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def restore(src: Path | None, papers: bool, bring: str | None, as_json: bool) -> None:
    """Copy from the backup SRC whatever bags and papers this TROD_HOME lacks, proving each copy.

    What is there and differs is told and left as it is. Afterwards say trod rebuild, so that the catalogue
    knows.

    With --papers no backup is needed: of each paper that was replaced the archive keeps the last twenty states,
    and the last of each day. --bring puts one of them back; the paper as it is now is kept in turn.

    \b
    Example:
      trod restore /media/ilka/trod-backup
      trod --home ~/trod-new restore /media/ilka/trod-backup
      trod restore --papers
      trod restore --papers --bring ledger.json.kept/2026-05-01T040506Z-000012-ab12cd34ef56ab12
    \b
    Exit statuses:
      0  the archive now holds all that the backup holds; or the state was brought back
      1  some files are damaged in the backup, or differ and were left, or came back
         older than they were (they are told)
      2  the command line was wrong
      3  it could not be done
    """
    from trod.archive import backup as work
    from trod.catalogue import holders, home

    if (papers or bring) and (src is not None or not papers):
        raise click.UsageError("--bring goes with --papers, and --papers goes without SRC.")
    if not papers and src is None:
        raise click.UsageError("Name the folder of the backup, or say --papers.")
    home.make()
    holders.sign_in("trod restore")
    if src is None:
        _papers(home.archive_root(), bring, as_json)
        return
    with Bar() as bar:
        report = work.restore(
            src, home.archive_root(), progress=lambda done, total: bar.step(done, total, "Bringing back")
        )
    tell(report.as_json(), as_json)
    if not as_json:
        click.echo("Now say: trod rebuild")


def _papers(root: Path, bring: str | None, as_json: bool) -> None:
    from trod.archive import papers as work

    if not root.is_dir():
        raise WrongInput("archive", got=str(root), needed="an archive; import a card first (trod card PATH)")
    if bring is not None:
        path, kept = work.bring_back(root, bring)
        if as_json:
            click.echo(json.dumps({"path": path, "brought": bring, "kept": kept}, ensure_ascii=False, indent=2))
        else:
            more = f" What was there is kept as {kept}." if kept else ""
            click.echo(f"{path} is again as it was in {bring}.{more}\nNow say: trod rebuild")
        return
    states = work.kept_states(root)
    if as_json:
        listed = {path: [{"state": k.name, "good": k.good} for k in kept] for path, kept in states.items()}
        click.echo(json.dumps({"papers": listed}, ensure_ascii=False, indent=2))
        return
    for path, earlier in states.items():
        click.echo(f"{path}: {len(earlier)} earlier states, the newest last")
        for state in earlier:
            click.echo(f"  {state.name}{'' if state.good else '  (was damaged when it was replaced)'}")
    if not states:
        click.echo("No earlier state of any paper is kept.")

"""`trod clock`: what cards show to be wrong with camera clocks, and putting it right."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import click


@click.command(short_help="Camera clocks that cards show to be wrong, and what would put them right.")
@click.argument("card_import", required=False, metavar="IMPORT")
@click.option("--correct", type=int, metavar="N", help="Correct the clock by proposal N of this import.")
@click.option("--right", type=int, metavar="N", help="Say that the clock was right where fault N stands.")
@click.option("--by", default="", metavar="NAME", help="Who says so; by default who is logged in.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def clock(card_import: str | None, correct: int | None, right: int | None, by: str, as_json: bool) -> None:
    """List what the times on cards show to be wrong with their cameras' clocks.

    Looked for are dates outside the time in which the card lay in the camera, clocks put back or ahead, another year,
    day and month swapped, half a day, an hour, summer time, drift.
    Nothing is corrected until somebody says so, and every correction can be undone on the deployment's page.

    Cards are held against their times anew where a visit, a place or an offset changed since.

    \b
    Examples:
      trod clock
      trod clock alder-ford-2026-05-26 --correct 0
      trod clock alder-ford-2026-05-26 --right 0
    \b
    Exit statuses:
      0  told, or done
      2  the command line was wrong
      3  no such import or fault, or one for which nothing is proposed

    --json gives: faults (card_import, number, deployment, kind, pictures, from_camera, to_camera, add_s, doubt_s,
    drift_s_per_day, rests_on, offered_s, sentence), corrected (how many pictures it touched, or null).
    """
    from trod.catalogue.start import ready

    ready("trod clock")
    from trod import clock as clocks
    from trod.catalogue.imports import clock_checks
    from trod.catalogue.models import Import
    from trod.catalogue.who import who
    from trod.errors import WrongInput
    from trod.telling import clock_faults

    if (correct is not None or right is not None) and card_import is None:
        raise click.UsageError("Name the import whose clock is meant; `trod clock` lists them.")
    if correct is not None and right is not None:
        raise click.UsageError("Either --correct or --right.")
    rows = Import.objects.filter(deployment__isnull=False, state=Import.State.WHOLE).order_by("started_at")
    rows = rows.select_related("deployment__camera", "deployment__site__reserve")
    if card_import is not None:
        rows = rows.filter(name=card_import)
        if not rows:
            raise WrongInput("IMPORT", got=card_import, needed="the name of an import, as `trod clock` lists them")
    touched: int | None = None
    told: list[dict[str, Any]] = []
    lines: list[str] = []
    for row in rows:
        stay, deployment = clock_checks.stay_of(row), row.deployment
        if stay is None or deployment is None:
            continue
        found = clock_checks.open_faults(row, clock_checks.look(row))
        wanted = correct if correct is not None else right
        if wanted is not None:
            fault = dict(found).get(wanted)
            if fault is None or (correct is not None and fault.add_s is None):
                needed = "the number of a fault that is still open" if fault is None else "a fault with a proposal"
                raise WrongInput("--correct" if right is None else "--right", got=wanted, needed=needed)
            add_s = 0.0 if fault.add_s is None or right is not None else fault.add_s
            reason = clock_faults.RIGHT if right is not None else clock_faults.reason(fault)
            clock_checks.put_right(
                deployment, fault, add_s=add_s, reason=reason, by=by or who(), now=datetime.now(UTC),
                plain=right is not None,
            )  # fmt: skip
            touched = fault.last - fault.first + 1
            found = clock_checks.open_faults(row, clock_checks.look(row))
        for number, fault in found:
            sentence = (
                f"{clock_faults.happened(fault, stay, deployment.site.reserve.zone)} {clock_faults.proposal(fault)}"
            )
            lines.append(f"{row.name} {number}  {deployment.camera} at {deployment.site}\n   {sentence}")
            told.append(
                {
                    "card_import": row.name,
                    "number": number,
                    "deployment": deployment.slug,
                    "kind": fault.kind,
                    "pictures": fault.last - fault.first + 1,
                    "from_camera": clocks.raw_from_seconds(fault.from_s).isoformat(),
                    "to_camera": clocks.raw_from_seconds(fault.to_s).isoformat(),
                    "add_s": fault.add_s,
                    "doubt_s": fault.doubt_s,
                    "drift_s_per_day": fault.drift_s_per_day,
                    "rests_on": list(fault.rests_on),
                    "offered_s": list(fault.others),
                    "sentence": sentence,
                }
            )
    if as_json:
        click.echo(json.dumps({"faults": told, "corrected": touched}, ensure_ascii=False, indent=2))
        return
    if touched is not None:
        click.echo(f"Kept; it speaks of {touched} pictures, and times and sequences follow.")
    click.echo(
        "\n".join(lines) if lines else "No card shows a fault of its camera's clock of which nothing is said yet."
    )

"""The kinds of long work. Importing this module registers them with `trod.catalogue.jobs`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.utils import timezone

from trod.catalogue.forecasts import forecasts, lasting
from trod.catalogue.imports import clocks, facts, import_card, moving
from trod.catalogue.jobs import Report, handles
from trod.catalogue.models import Deployment, Import, Job, RecordImport, Reserve
from trod.catalogue.records import bring
from trod.catalogue.records.plan import Choices
from trod.catalogue.rounds import rounds
from trod.catalogue.rows import rollups
from trod.plain import record


@handles("import")
def do_import_card(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: import (its name), accept_changes."""
    card_import = Import.objects.select_related("deployment__camera", "deployment__site", "card").get(
        name=args["card_import"]
    )
    return import_card.import_card(
        card_import, line=report, now=timezone.now(), accept_changes=bool(args.get("accept_changes"))
    )


@handles("place")
def do_place(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: import (its name), deployment (its slug; None lays it aside as unplaced)."""
    card_import = Import.objects.select_related("deployment__site", "deployment__camera", "card").get(
        name=args["card_import"]
    )
    deployment = None
    if args["deployment"] is not None:
        deployment = Deployment.objects.select_related("site", "camera").get(slug=args["deployment"])
    by = Job.objects.values_list("by", flat=True).get(pk=report.job_id)
    return moving.move(card_import, deployment, line=report, now=timezone.now(), by=by)


@handles("records")
def do_records(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: path, and the choices of trod.catalogue.records.plan."""
    choices = Choices(**{name: value for name, value in args.items() if name != "path"})
    by = Job.objects.values_list("by", flat=True).get(pk=report.job_id)
    done = bring.bring(Path(args["path"]), choices, by=by, now=timezone.now(), line=report)
    return {"ok": not done.skipped, "sentence": done.sentence}


@handles("records-undo")
def do_records_undo(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: uuid, of the import."""
    by = Job.objects.values_list("by", flat=True).get(pk=report.job_id)
    row = bring.undo(RecordImport.objects.get(uuid=args["uuid"]), by=by, now=timezone.now(), line=report)
    return {"sentence": f"The import “{row}” is undone. Its files stay in the archive, and that it was undone is kept."}


@handles("facts")
def do_facts(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """Finish imports whose pictures a death left half read."""
    return {"imports": import_card.read_the_rest(report)}


def settle_in() -> None:
    """Before a worker's first job: write what a death left unwritten, ask for what it left unread."""
    from trod.catalogue import jobs
    from trod.catalogue.identifications import settling
    from trod.catalogue.models import Job
    from trod.catalogue.papers import ledger

    settling.settle()
    ledger.catch_up()
    at_work = Job.objects.filter(kind__in=("import", "place", "facts"), state__in=["waiting", "running", "paused"])
    if not at_work.exists() and import_card.half_read():
        jobs.ask("facts", by="Trod")


def look_round() -> None:
    """Between jobs: sum up what nobody summed, ask for what has gone stale by itself, a new day's forecasts among it.

    Write what could not be written.
    """
    from trod.catalogue.papers import ledger, standing

    if standing.owes():
        ledger.catch_up()
    rollups.look_round()
    forecasts.look_round(timezone.now())


@handles("thumbnails")
def do_thumbnails(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """Make thumbnails that are missing, or all with args["remake"]."""
    return {"made": facts.remake(report, all_of_them=bool(args.get("remake")))}


@handles("verify")
def do_verify(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: quick."""
    from trod.archive import verify
    from trod.catalogue import home
    from trod.catalogue.line import teller

    found = verify.verify(
        home.archive_root(),
        quick=bool(args.get("quick")),
        progress=teller(report, "Reading every file again"),
        stop=report.stop,
    )
    return found.as_json()


@handles("backup")
def do_backup(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: to (a folder)."""
    from trod.catalogue.work import backup

    return backup.backup(args["to"], report, now=timezone.now())


@handles("report")
def do_report(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """args: the fields of trod.catalogue.answers.making.Wish."""
    from trod.catalogue.answers import making

    wish = record(making.Wish, args, what="report", needed="what was asked for")
    by = Job.objects.values_list("by", flat=True).get(pk=report.job_id)
    return {"name": making.make(wish, by=by, now=timezone.now(), line=report)}


@handles(forecasts.JOB)
def do_forecasts(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """Forecast all standing cameras anew. args: reserve (its slug)."""
    made = forecasts.make(Reserve.objects.get(slug=args["reserve"]), timezone.now(), report=report)
    return {"cameras": len(made.forecasts)}


@handles(lasting.JOB)
def do_lasting(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """Work one standing camera out in full. args: deployment (its slug), price and change as they were typed."""
    lasting.do_job(args, timezone.now())
    return {}


@handles(clocks.JOB)
def do_follow_clock(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """Bring times and sequences of a deployment up to its clock. args: deployment (its slug)."""
    deployment = Deployment.objects.select_related("site__reserve").get(slug=args["deployment"])
    return {"told": clocks.follow(deployment, report)}


@handles(rounds.JOB)
def do_round(args: dict[str, Any], report: Report) -> dict[str, Any]:
    """Plan a round of many cameras. args: wish, round (its uuid, to plan it anew)."""
    return rounds.do_job(args, report)

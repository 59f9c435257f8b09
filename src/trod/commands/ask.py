"""`trod ask`: the questions on the command line, answered by the same call as on the page."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import click

from trod.errors import NotEnoughEvidence


def _asked(command: Callable[..., None]) -> Callable[..., None]:
    """The options that every question takes."""
    for option in reversed(
        (
            click.option("--species", multiple=True, metavar="NAME", help="Only this species; may be given again."),
            click.option("--site", "sites", multiple=True, metavar="NAME", help="Only this site; may be given again."),
            click.option("--from", "first", default="", metavar="DAY", help="First day, like 2026-03-01."),
            click.option("--to", "last", default="", metavar="DAY", help="Last day, included."),
            click.option(
                "--every",
                "every_min",
                default=30.0,
                show_default=True,
                metavar="MINUTES",
                help="Observations closer together than this are one detection (the independence interval).",
            ),
            click.option(
                "--light",
                type=click.Choice(["any", "day", "night"]),
                default="any",
                show_default=True,
                help="Only between sunrise and sunset, or between sunset and sunrise.",
            ),
            click.option("--json", "as_json", is_flag=True, help="Print the finding as one JSON object."),
        )
    ):
        command = option(command)
    return command


@click.group(short_help="Ask what comes, when they come, and whether it is changing.")
def ask() -> None:
    """Ask what comes here, when they come, or whether it is changing; get a sentence, a table, an interval.

    \b
    Examples:
      trod ask what-comes
      trod ask when --species "Red deer" --from 2026-03-01 --to 2026-05-31
      trod ask change --species red-fox --json
      trod ask compare --site "Stone Ford" --against-site "Grey Lick"
      trod ask overlap --species "Red deer" --against-species people
      trod ask first-last --species "Red deer"
      trod ask side-by-side --species "Red deer"
    \b
    Exit statuses:
      0  answered
      2  the command line was wrong
      3  no answer: not enough evidence (the words say what it would take), or a name that is not known

    --json gives: value, interval, effort, filter, method, assumptions, pictures, and more. Without enough
    evidence it gives value null, with sentence and need.
    """


@ask.command("what-comes", short_help="Which species come here, and how often.")
@_asked
@click.option(
    "--equal-cameras",
    is_flag=True,
    help="Also the rate as if every camera were equally good; of one species.",
)
@click.option(
    "--unknown",
    type=click.Choice(["left-out", "kept"]),
    default="left-out",
    show_default=True,
    help="With --equal-cameras: what is done with sites whose camera's chance is not known.",
)
def what_comes(**given: Any) -> None:
    """Which species come here: detections, rate per 100 camera-days with its interval, first and last seen.

    With --equal-cameras also the rate as if every camera caught as many of those that pass as the average one here. The
    chances are modelled from placements on record. In JSON it is the key equal_cameras.

    \b
    Examples:
      trod ask what-comes --site "Stone Ford" --from 2026-01-01
      trod ask what-comes --species red-deer --equal-cameras
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    _answer("what-comes", given)


@ask.command("when", short_help="At what time of day they come.")
@_asked
def when(**given: Any) -> None:
    """At what time of day they come, by clock time and by sun time.

    \b
    Example:
      trod ask when --species red-deer
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    _answer("when", given)


@ask.command("change", short_help="Whether they come more or less often than before.")
@_asked
def change(**given: Any) -> None:
    """Whether the rate is changing: what happened in this record, what lasts beyond good and bad years, by month.

    Both are factors per year. Only the lasting one, which allows for years that differ by themselves (a setting of the
    reserve), says more or less often; value and interval are its own.

    \b
    Example:
      trod ask change --species red-deer --json
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    _answer("change", given)


@ask.command("compare", short_help="Two periods, or two sites, side by side.")
@_asked
@click.option("--against-site", "against_sites", multiple=True, metavar="NAME", help="The site to compare with.")
@click.option("--against-from", "against_first", default="", metavar="DAY", help="First day to compare with.")
@click.option("--against-to", "against_last", default="", metavar="DAY", help="Last day to compare with, included.")
def compare(**given: Any) -> None:
    """How often they came in one period over another, or at one site over another, with interval and test.

    Of two periods each site is compared with itself, of two sites each month with itself.

    \b
    Examples:
      trod ask compare --species red-deer --from 2026-04-01 --to 2026-06-30 \\
                       --against-from 2025-04-01 --against-to 2025-06-30
      trod ask compare --site "Stone Ford" --against-site "Grey Lick"
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    _of_two_sides("compare", given)


@ask.command("overlap", short_help="Whether two kinds share their hours; or two periods, or two sites.")
@_asked
@click.option(
    "--against-species",
    "against_species",
    multiple=True,
    metavar="NAME",
    help="The kind to compare with, or: people.",
)
@click.option("--against-site", "against_sites", multiple=True, metavar="NAME", help="The site to compare with.")
@click.option("--against-from", "against_first", default="", metavar="DAY", help="First day to compare with.")
@click.option("--against-to", "against_last", default="", metavar="DAY", help="Last day to compare with, included.")
def overlap(**given: Any) -> None:
    """How far two kinds share their hours of the day, or animals and people, or one kind in two periods or at two sites.

    The overlap goes from 0 (no hour shared) to 1 (the same hours), with its interval and a test of a difference.

    \b
    Examples:
      trod ask overlap --species red-deer --against-species red-fox
      trod ask overlap --species red-deer --against-species people
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    _of_two_sides("overlap", given)


@ask.command("first-last", short_help="What came first and last in each season.")
@_asked
@click.option(
    "--each",
    type=click.Choice(["season", "year"]),
    default="season",
    show_default=True,
    help="By seasons of three months, or by calendar years.",
)
def first_last(**given: Any) -> None:
    """The first and the last day on record of each species in each season, with what was watched beyond them.

    First on record is no arrival: beside each day stands how long cameras are known to have watched without the species,
    and what waits for review and may be it. --light takes no part.

    \b
    Example:
      trod ask first-last --species red-deer --each year
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    from trod.catalogue.start import ready

    ready("trod ask")
    from trod.catalogue.answers import answers, ends, evidence
    from trod.telling import first_last as told

    as_json, each = given.pop("as_json"), given.pop("each")
    account = evidence.gather(answers.the_reserve())
    found = ends.ask(account, answers.make_filter(account, **given), each)
    if found.finding is None:
        _no_answer("first-last", told.QUESTION, found.trouble, as_json=as_json)
    elif as_json:
        click.echo(found.finding.to_json())
    else:
        _print_ends(found.finding)


@ask.command("side-by-side", short_help="Sites, seasons or years side by side.")
@_asked
@click.option(
    "--each",
    type=click.Choice(["site", "season", "year"]),
    default="site",
    show_default=True,
    help="Which parts of the record are laid side by side.",
)
@click.option(
    "--show",
    type=click.Choice(["months", "hours"]),
    default="months",
    show_default=True,
    help="The rate by month, or the activity by hour of the day.",
)
def side_by_side(**given: Any) -> None:
    """Each site, season or year by itself, on one scale: detections and effort; those that say too little are told so.

    \b
    Examples:
      trod ask side-by-side --species red-deer
      trod ask side-by-side --species red-deer --each year --show hours --json
    \b
    Exit statuses: 0 answered; 2 the command line was wrong; 3 no answer, and why.
    """
    from trod.catalogue.start import ready

    ready("trod ask")
    from trod.catalogue.answers import answers, evidence, panels
    from trod.telling import panels as told

    as_json, each, show = (given.pop(name) for name in ("as_json", "each", "show"))
    account = evidence.gather(answers.the_reserve())
    found = panels.ask(account, answers.make_filter(account, **given), each, show)
    if found.finding is None:
        _no_answer("side-by-side", told.QUESTION, found.trouble, as_json=as_json)
    elif as_json:
        click.echo(found.finding.to_json())
    else:
        _print_parts(found.finding)


def _print_parts(finding: Any) -> None:
    """Sentence, then each part with what is known of it."""
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False)
    console.print(Text(finding.sentence, style="bold"))
    console.print(Text(f"Asked of: {finding.filter_sentence}.", style="dim"))
    for row in finding.rows:
        console.print(Text(f"{row['part']}: {row['told']}"))
    _print_cautions(console, finding)


def _no_answer(kind: str, title: str, trouble: NotEnoughEvidence | None, *, as_json: bool) -> None:
    """End with status 3: the reason as an error, or as JSON."""
    trouble = trouble or NotEnoughEvidence("nothing is known", need="import a card")
    if not as_json:
        raise trouble
    told: dict[str, Any] = {
        "kind": kind, "question": title, "sentence": f"No answer yet: {trouble.have}.",
        "need": trouble.need, "value": None, "interval": None, "pictures": [],
    }  # fmt: skip
    click.echo(json.dumps(told, ensure_ascii=False, indent=2))
    click.get_current_context().exit(3)


def _print_ends(finding: Any) -> None:
    """Sentence, then each season with its species, each end with what is known of the days beyond it."""
    from rich.console import Console
    from rich.padding import Padding
    from rich.text import Text

    from trod import wording

    console = Console(highlight=False)
    console.print(Text(finding.sentence, style="bold"))
    console.print(Text(f"Asked of: {finding.filter_sentence}.", style="dim"))
    stretch = None
    for row in finding.rows:
        if row["stretch"] != stretch:
            stretch = row["stretch"]
            console.print(Text(f"\n{stretch}"))
        console.print(Text(f"  {row['species']}: {wording.plural(row['detections'], 'detection')}"))
        for which in ("first", "last"):
            words = " ".join(row[f"told_{which}"])
            line = f"{which} {row[which]} at {row[f'{which}_site']}. {words}"
            console.print(Padding(Text(line), (0, 0, 0, 4)))
    _print_cautions(console, finding)


def _of_two_sides(kind: str, given: dict[str, Any]) -> None:
    from trod.catalogue.start import ready

    ready("trod ask")
    from trod.catalogue.answers import answers, evidence, side_by_side
    from trod.findings.shared_hours import PEOPLE
    from trod.telling import overlap as overlap_told

    as_json = given.pop("as_json")
    account = evidence.gather(answers.the_reserve())
    sides = side_by_side.make_filters(account, **given)
    if kind == "compare":
        title, found = side_by_side.TITLE, side_by_side.ask(account, *sides)
    else:
        people = PEOPLE in given["against_species"]
        title, found = overlap_told.QUESTION, side_by_side.ask_overlap(account, *sides, people=people)
    finding = found.finding
    if finding is None or (kind == "overlap" and finding.value is None):
        if finding is None:
            _no_answer(kind, title, found.trouble, as_json=as_json)
        elif as_json:
            click.echo(finding.to_json())
        else:
            _print_compared(finding)
        click.get_current_context().exit(3)
    elif as_json:
        click.echo(finding.to_json())
    else:
        _print_compared(finding)


def _print_compared(finding: Any) -> None:
    """Sentences, both sides, and its limitations."""
    from rich.console import Console
    from rich.text import Text

    from trod import wording

    console = Console(highlight=False)
    console.print(Text(finding.sentence, style="bold"))
    for line in finding.told:
        console.print(Text(line))
    for row in finding.rows:
        if finding.kind == "overlap":
            console.print(
                Text(
                    f"{row['side']}: {wording.plural(row['detections'], 'detection')} in "
                    f"{wording.camera_days(row['camera_days'])}"
                )
            )
            continue
        rate = "no rate" if row["rate"] is None else f"{wording.number(row['rate'])} per 100 site-days"
        console.print(
            Text(
                f"{row['side']}: {wording.plural(row['detections'], 'detection')} in "
                f"{wording.number(row['site_days'])} site-days, {rate}"
            )
        )
    _print_cautions(console, finding)


def _answer(kind: str, given: dict[str, Any]) -> None:
    from trod.catalogue.start import ready

    ready("trod ask")
    from trod.catalogue.answers import answers, equal_cameras, evidence

    as_json = given.pop("as_json")
    wants_equal, unknown = given.pop("equal_cameras", False), given.pop("unknown", "")
    account = evidence.gather(answers.the_reserve())
    answer = answers.answer(kind, answers.make_filter(account, **given), account)
    equal = None
    if wants_equal:
        equal = equal_cameras.ask(account, answer.filter, equal_cameras.unknown_of(unknown))
    if answer.finding is None:
        trouble = answer.trouble or NotEnoughEvidence("nothing is known", need="import a card")
        if not as_json:
            raise trouble
        told: dict[str, Any] = {
            "kind": kind,
            "question": answer.question,
            "sentence": f"No answer yet: {trouble.have}.",
            "need": trouble.need,
            "value": None,
            "interval": None,
            "filter": {"sentence": answer.filter_sentence, **answer.filter.to_dict()},
            "pictures": [],
        }
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        click.get_current_context().exit(3)
    if as_json and equal is not None:
        whole = {**answer.finding.to_dict(), "equal_cameras": _whole_or_why(equal)}
        click.echo(json.dumps(whole, ensure_ascii=False, indent=2, allow_nan=False))
    elif as_json:
        click.echo(answer.finding.to_json())
    else:
        _print(answer)
        if equal is not None:
            _print_equal(equal)


def _whole_or_why(equal: Any) -> dict[str, Any]:
    """The answer with equal cameras, or why there is none, as plain values."""
    if equal.finding is not None:
        told: dict[str, Any] = equal.finding.to_dict()
        return told
    why = equal.trouble
    return {"sentence": f"No answer yet: {why.have}.", "need": why.need, "value": None, "interval": None}


def _print_equal(equal: Any) -> None:
    """The answer with equal cameras beneath that as recorded: sentences, sites, limitations."""
    from rich.console import Console
    from rich.text import Text

    from trod import wording

    console = Console(highlight=False)
    if equal.finding is None:
        console.print(Text(f"\nNo rate with equal cameras: {equal.trouble.have}. It takes: {equal.trouble.need}."))
        return
    finding = equal.finding
    console.print(Text(f"\n{finding.sentence}", style="bold"))
    for line in finding.told:
        console.print(Text(line))
    for row in finding.rows:
        said = f"{row['site']}: {wording.plural(row['detections'], 'detection')}, chance {wording.share(row['chance'])}"
        if row["equal"] is not None:
            said += f", {wording.number(row['rate'])} as recorded, {wording.number(row['equal'])} with equal cameras"
        if row["low"] is not None:
            said += f" ({wording.between(row['low'], row['high'])})"
        console.print(Text(said))
    _print_cautions(console, finding)


def _print(answer: Any) -> None:
    """Sentence, table, what it rests on, and its limitations."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from trod.web.questions import pages

    console = Console(highlight=False)
    finding = answer.finding
    console.print(Text(finding.sentence, style="bold"))
    for line in finding.told:
        console.print(Text(line))
    console.print(Text(f"Asked of: {answer.filter_sentence}.", style="dim"))
    shown = pages.table_of(
        {
            "columns": [{"key": c.key, "title": c.title, "kind": c.kind, "unit": c.unit} for c in finding.columns],
            "rows": finding.rows,
        },
        answer.kind,
        None,
    )
    table = Table(box=None, pad_edge=False, header_style="dim")
    for heading in shown.headings:
        table.add_column(heading.title, justify="right" if heading.number else "left", overflow="fold")
    for row in shown.rows:
        table.add_row(*(Text(f"{cell.text} ({cell.small})" if cell.small else cell.text) for cell in row))
    console.print()
    console.print(table)
    console.print()
    for name, text in pages.rests(answer):
        console.print(Text(f"{name}: {text}"))
    _print_cautions(console, finding)


def _print_cautions(console: Any, finding: Any) -> None:
    from rich.padding import Padding
    from rich.text import Text

    if finding.cautions:
        console.print(Text("\nLimitations:"))
        for caution in finding.cautions:
            console.print(Padding(Text(caution), (0, 0, 0, 2)))

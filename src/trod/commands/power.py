"""`trod power`: how long cameras last, of the catalogue or as told on the command line."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from trod import wording
from trod.errors import WrongInput
from trod.units import system_of

if TYPE_CHECKING:
    from trod.catalogue.forecasts.forecasts import Forecast
    from trod.catalogue.forecasts.outfits import Assumed
    from trod.planning.equipment.camera import CameraSpec
    from trod.planning.ground.weather import Climate
    from trod.planning.last.endurance import Outfit, StopForecast

FREE = ("model", "idle", "triggers", "feature", "lat", "nights", "losses", "begin")


@click.command(short_help="How long cameras last, when each will probably stop, and why.")
@click.option("--site", "site_name", default="", metavar="NAME", help="Only the cameras that stand at this site.")
@click.option(
    "--what-if", "what_if", is_flag=True,
    help="Ask what would be: of a site's camera visited today, or without --site of a camera as told here.",
)  # fmt: skip
@click.option("--batteries", metavar="TEXT", help="What if: the batteries, like 8xFR6, “12 lithium”, “8 LR6”.")
@click.option("--card", metavar="SIZE", help="What if: the card, in GB, or like 0.5TB.")
@click.option("--delay", metavar="TIME", help="What if: between triggers, in seconds, or like 5min.")
@click.option("--burst", type=click.IntRange(0, 100), metavar="N", help="What if: pictures a trigger, 0 for none.")
@click.option("--clip", metavar="TIME", help="What if: length of a clip a trigger, in seconds; 0 for none.")
@click.option("--model", metavar="NAME", help="What if: kind of camera, by maker and model, of the catalogue.")
@click.option(
    "--triggers", type=click.FloatRange(0, 10_000, min_open=True), metavar="N", help="What if: triggers a day."
)
@click.option("--feature", metavar="KIND", help="What if: kind of site, like trail or feeding; it stands for triggers.")
@click.option(
    "--idle", type=click.FloatRange(0, 1000), metavar="MW", help="What if: drawn while waiting, measured, in milliwatts."
)
@click.option(
    "--lat", type=click.FloatRange(-90, 90), metavar="DEGREES", help="What if: latitude, for the season and the nights."
)
@click.option(
    "--nights", type=click.FloatRange(-60, 35), metavar="°C",
    help="What if: the mean of the nights' minima in the coldest month.",
)  # fmt: skip
@click.option("--losses", type=click.FloatRange(0, 50), metavar="N", help="What if: faults and thefts a year.")
@click.option("--from", "begin", metavar="DAY", help="What if: the day it is set up, like 2026-11-01 (default: today).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def power(site_name: str, what_if: bool, as_json: bool, **asked: Any) -> None:
    """How long cameras last: when each will probably stop, by batteries, card, fault or theft, and when to go there.

    Without --what-if every standing camera of the catalogue is forecast from what came home, first due first. Nothing
    is written. With --what-if no catalogue is needed: what is not given is assumed, and named.

    \b
    Examples:
      trod power
      trod power --site "Stone Ford" --json
      trod power --site "Stone Ford" --what-if --batteries 12xFR6 --card 64
      trod power --what-if --batteries 8xFR6 --triggers 20 --card 32 --burst 3 --from 2026-11-01
    \b
    Exit statuses:
      0  worked out
      2  the command line was wrong
      3  not worked out: a value or name that cannot be used, or no catalogue
    --json gives dates, chances of 0 to 1, MB, Wh and W; the curve is the chance stopped by day 0, 1, 2 …
    """
    given = {name: value for name, value in asked.items() if value is not None}
    for name, value in given.items():
        if isinstance(value, float) and value != value:  # click's ranges let nan pass
            raise click.BadParameter("nan: needed is a number", param_hint=f"--{_flag(name)}")
    if given and not what_if:
        raise click.UsageError(f"--{_flag(next(iter(given)))} goes with --what-if.")
    if what_if and site_name and (wrong := [name for name in FREE if name in given]):
        raise click.UsageError(f"--{_flag(wrong[0])} is known of a standing camera; leave it out beside --site.")
    if what_if and not site_name:
        told = _free(given)
    elif what_if:
        told = _changed(site_name, given)
    else:
        told = _standing(site_name)
    if as_json:
        click.echo(json.dumps(told, ensure_ascii=False, indent=2, allow_nan=False))
    else:
        _say(told)


def _flag(name: str) -> str:
    return {"begin": "from"}.get(name, name)


# --- values -------------------------------------------------------------------------------------


def measure(what: str, words: str, unit: str) -> float:
    """A number with or without its unit, in `unit` (GB or s). Raises WrongInput."""
    from trod.telling.measures import read

    return read(words, unit, what=f"--{what}", low=0)


def _change(given: dict[str, Any]) -> Any:
    from trod.planning.last.outfit_change import Change

    return Change(
        batteries=given.get("batteries"),
        card_gb=measure("card", given["card"], "GB") if "card" in given else None,
        delay_s=measure("delay", given["delay"], "s") if "delay" in given else None,
        burst=given.get("burst"),
        clip_s=measure("clip", given["clip"], "s") if "clip" in given else None,
    )


# --- a camera as told ---------------------------------------------------------------------------


def _free(given: dict[str, Any]) -> dict[str, Any]:
    """A camera of which only the command line tells."""
    from typing import get_args

    from trod.planning.equipment.batteries import BATTERIES, Pack
    from trod.planning.equipment.energy import Draw
    from trod.planning.ground.site import Feature
    from trod.planning.last import endurance
    from trod.planning.last.arrivals import Arrivals
    from trod.planning.last.stopping import Outfit

    feature = given.get("feature", "other")
    if feature not in get_args(Feature):
        raise WrongInput("--feature", got=feature, needed="one of " + ", ".join(get_args(Feature)))
    begin = _day(given["begin"]) if "begin" in given else date.today()
    spec = _model(given["model"]) if "model" in given else None
    number = round(spec.value("batteries")) if spec is not None and spec.figure("batteries").origin != "assumed" else 8
    kind = spec.battery if spec is not None and spec.battery in BATTERIES else "LR6"
    outfit = Outfit(draw=Draw.of(spec) if spec else Draw(), pack=Pack(battery=BATTERIES[kind], number=number or 8))
    assumed = []
    for name, words in (
        ("batteries", f"batteries, {outfit.pack.name}"),
        ("card", f"card, {outfit.card_gb:g} GB"),
        ("burst", f"{outfit.frames} pictures a trigger"),
        ("delay", f"{outfit.delay_s:g} s between triggers"),
    ):
        if name not in given and not (name == "batteries" and spec is not None and spec.battery):
            assumed.append(words)
    outfit = _apply(outfit, given)
    if "idle" in given:
        outfit = replace(outfit, draw=outfit.draw.measured(idle_w=given["idle"] / 1000))
    climate, latitude = _nights(given)
    arrivals = Arrivals.for_site(feature, latitude_deg=latitude, level_per_day=given.get("triggers"))
    assumed.append(
        "how far the guess of triggers is off" if "triggers" in given else f"triggers of a site of the kind {feature}"
    )
    if outfit.draw.assumed():
        words = "what the camera draws, by common practice"
        if spec is not None:
            words = "what the model does not state of its draw"
        assumed.append("what is not given of its draw" if "idle" in given else words)
    low = min(climate.minimum_c)
    cold = f"the nights' cold, {low:.0f} °C in the coldest month ({climate.source})"
    if climate.assumed:
        assumed.append(cold)
    hazard = given["losses"] / 365.25 if "losses" in given else 0.0
    told = endurance.forecast(outfit, arrivals, begin, climate=climate, faults_per_day=min(hazard, 0.5))
    more = {"per_day": arrivals.posterior.per_day, "assumed": assumed}
    more["nights"] = {
        "coldest_month_c": round(low, 1),
        "assumed": climate.assumed,
        "source": f"assumed {climate.source}" if climate.assumed else climate.source,
    }
    return {"what_if": _plain(outfit, told) | more}


def _nights(given: dict[str, Any]) -> tuple[Climate, float]:
    """The nights and the latitude: as told, else those of the catalogue's reserve if there is one, else assumed."""
    from trod.planning.ground.weather import Climate

    if "lat" not in given and _has_catalogue():
        _catalogue("trod power", "")
        from trod.catalogue.forecasts.outfits import climate_of
        from trod.catalogue.models import Reserve

        reserve = Reserve.objects.order_by("id").first()
        if reserve is not None:
            if "nights" in given:
                return Climate.at_latitude(reserve.latitude, coldest_c=given["nights"]), reserve.latitude
            return climate_of(reserve), reserve.latitude
    latitude = given.get("lat", 45.0)
    return Climate.at_latitude(latitude, coldest_c=given.get("nights")), latitude


def _apply(outfit: Outfit, given: dict[str, Any]) -> Outfit:
    """The outfit with what the command line says of it."""
    from trod.planning.last.outfit_change import changed

    return changed(outfit, _change(given))


def _day(words: str) -> date:
    try:
        return date.fromisoformat(words)
    except ValueError:
        raise WrongInput("--from", got=words[:40], needed="a day like 2026-11-01") from None


def _model(name: str) -> CameraSpec:
    _catalogue("--model", name)
    from trod.catalogue.models import CameraModel
    from trod.catalogue.rows.specs import spec_of

    specs = [spec_of(row) for row in CameraModel.objects.all()]
    wanted = name.strip().lower()
    fitting = [spec for spec in specs if wanted in (spec.name.lower(), spec.model.lower())]
    if len(fitting) != 1:
        known = ", ".join(sorted(spec.name for spec in specs)[:40]) or "none yet"
        raise WrongInput("--model", got=name[:60], needed=f"one of the kinds that are known: {known}")
    return fitting[0]


# --- the catalogue's --------------------------------------------------------------------------------


def _has_catalogue() -> bool:
    from trod.catalogue import home

    return bool(os.environ.get("TROD_DATABASE_URL") or (home.home() / "catalogue.sqlite3").is_file())


def _catalogue(what: str, got: str) -> None:
    """Makes the catalogue ready. Raises WrongInput where there is none; none is made."""
    if not _has_catalogue():
        needed = "a catalogue; make one with trod serve or trod demo, or ask with --what-if and without names"
        raise WrongInput(what, got=got or "no catalogue", needed=needed)
    from trod.catalogue.start import ready

    ready("trod power")


def _sites(name: str) -> Any:
    """The reserve, and the standing deployments at a site, or all."""
    _catalogue("--site" if name else "trod power", name)
    from trod.catalogue.answers.answers import the_reserve
    from trod.catalogue.models import Deployment, Site

    reserve = the_reserve()
    standing = Deployment.objects.filter(site__reserve=reserve, end__isnull=True)
    if not name:
        return reserve, list(standing)
    rows = Site.objects.filter(reserve=reserve)
    found = list(rows.filter(slug=name)[:1] or rows.filter(name__iexact=name)[:2])
    if len(found) != 1:
        known = ", ".join(rows.order_by("name").values_list("name", flat=True)[:40]) or "none yet"
        raise WrongInput("--site", got=name[:60], needed=f"one of the catalogue's sites: {known}")
    here = list(standing.filter(site=found[0]))
    if not here:
        raise WrongInput("--site", got=name[:60], needed="a site at which a camera stands now")
    return reserve, here


def _standing(name: str) -> dict[str, Any]:
    reserve, here = _sites(name)
    from django.utils import timezone

    from trod.catalogue.forecasts import forecasts
    from trod.telling import upkeep

    now = timezone.now()
    chosen = here if name else [None]
    told = [f for d in chosen for f in forecasts.work_out(reserve, now, only=d)]
    told.sort(key=lambda f: (f.go_by or date.max, -f.chance_now, f.site_name))
    return {
        "reserve": reserve.name,
        "cameras": [
            {
                "camera": f.camera,
                "site": f.site_name,
                "deployment": f.deployment,
                "sentence": f.sentence,
                "go_by": f.go_by and f.go_by.isoformat(),
                "why": upkeep.go(f.go),
                "early": f.early and f.early.isoformat(),
                "middle": f.middle and f.middle.isoformat(),
                "late": f.late and f.late.isoformat(),
                "chance_stopped_now": f.chance_now,
                "causes": f.causes,
                "batteries": f"{f.number} × {f.batteries}",
                "card": f.card,
                "used_wh": f.used_wh,
                "used_mb": f.used_mb,
                "triggers_per_day": f.per_day,
                "faults_per_day": f.faults_per_day,
                "from": f.start.isoformat(),
                "caveats": list(f.caveats),
                "assumed": [{"what": a.what, "value": a.value, "source": a.source} for a in _worded(f, reserve.units)],
                "stopped": list(f.stopped),
            }
            for f in told
        ],
    }


def _changed(name: str, given: dict[str, Any]) -> dict[str, Any]:
    reserve, here = _sites(name)
    from django.utils import timezone

    from trod import clock
    from trod.catalogue.forecasts import forecasts, outfits, what_if

    now = timezone.now()
    today, climate = clock.local(now, reserve.zone).date(), outfits.climate_of(reserve)
    change, out = _change(given), []
    for d in here:
        ((row, gear),) = forecasts.equipment(reserve, now, only=d)
        as_is, otherwise = (
            _plain(*what_if.visited(gear, today=today, climate=climate, change=c)) for c in (None, change)
        )
        out.append({"camera": str(row.camera), "site": row.site.name, "as_it_is": as_is, "set_otherwise": otherwise})
    return {"reserve": reserve.name, "visited": today.isoformat(), "cameras": out}


def _plain(outfit: Outfit, told: StopForecast) -> dict[str, Any]:
    from trod.telling import endurance

    return {
        "outfit": endurance.outfit(outfit),
        "sentence": endurance.sentence(told),
        "after_flash": endurance.after_flash(told),
        "from": told.start.isoformat(),
        "early": told.early and told.early.isoformat(),
        "middle": told.middle and told.middle.isoformat(),
        "late": told.late and told.late.isoformat(),
        "causes": dict(told.causes),
        "caveats": [endurance.caveat(one) for one in told.caveats],
        "stopped": [round(float(p), 4) for p in told.stopped],
    }


# --- what comes out ---------------------------------------------------------------------------------


def _say(told: dict[str, Any]) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False, markup=False, soft_wrap=False)
    if "what_if" in told:
        one = told["what_if"]
        console.print(Text(one["sentence"], style="bold"))
        if one["after_flash"]:
            console.print(Text(one["after_flash"]))
        console.print(Text(f"{one['outfit']}; {_causes(one['causes'])}."))
        if not one["nights"]["assumed"]:
            cold = one["nights"]["coldest_month_c"]
            console.print(Text(f"Nights: {cold:.0f} °C in the coldest month ({one['nights']['source']})."))
        console.print(Text(f"Assumed: {'; '.join(one['assumed'])}."))
        for caveat in one["caveats"]:
            console.print(Text(f"- {caveat}"))
        return
    if "visited" in told:
        for one in told["cameras"]:
            console.print(
                Text(f"{one['camera']} at {one['site']}, visited today with fresh batteries and an empty card")
            )
            for words, key in (("As it is", "as_it_is"), ("Set otherwise", "set_otherwise")):
                console.print(Text(f"{words}: {one[key]['outfit']}", style="dim"))
                console.print(Text(one[key]["sentence"], style="bold"))
        return
    if not told["cameras"]:
        console.print("No camera stands in the field now.")
        return
    if len(told["cameras"]) == 1:
        (one,) = told["cameras"]
        console.print(Text(f"{one['camera']} at {one['site']}: {one['sentence']}", style="bold"))
        console.print(Text(one["why"]))
        console.print(Text(f"\n{_causes(one['causes'])}; {one['triggers_per_day']:.2g} triggers a day.\n"))
        grid = Table(box=None, pad_edge=False, header_style="dim")
        for head in ("rests on", "value", "from"):
            grid.add_column(head, overflow="fold")
        for row in one["assumed"]:
            grid.add_row(*(Text(str(row[key])) for key in ("what", "value", "source")))
        console.print(grid)
        for caveat in one["caveats"]:
            console.print(Text(f"- {caveat}"))
        return
    table = Table(box=None, pad_edge=False, header_style="dim")
    for head, right in (
        ("site", False), ("camera", False), ("go by", True), ("stopped now", True), ("1 in 10 by", True),
        ("most likely", False),
    ):  # fmt: skip
        table.add_column(head, justify="right" if right else "left", overflow="fold", no_wrap=right)
    for one in told["cameras"]:
        batteries = (
            one["site"],
            one["camera"],
            one["go_by"] or "no open day",
            wording.share(one["chance_stopped_now"]),
            one["early"] or "later",
            _cause(one["causes"]),
        )
        table.add_row(*(Text(str(battery)) for battery in batteries))
    console.print(table)


def _worded(forecast: Forecast, units: str) -> list[Assumed]:
    """What a forecast rests on, in the reserve's units."""
    return [one.told(system_of(units)) for one in forecast.assumed]


WORDS = {"batteries": "batteries", "card": "card full", "fault": "fault or theft"}


def _cause(causes: dict[str, float]) -> str:
    return WORDS[max(causes, key=lambda c: causes[c])] if sum(causes.values()) >= 0.05 else "–"


def _causes(causes: dict[str, float]) -> str:
    told = [f"{WORDS[c]} {100 * p:.0f}" for c, p in sorted(causes.items(), key=lambda one: -one[1]) if p >= 0.005]
    return "what ends it, of 100: " + (", ".join(told) or "nothing within three years")

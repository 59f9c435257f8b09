"""Questions asked of the catalogue: names to filters, filters to answers, answers kept while nothing changes.

Pages and commands come through here, so that what the one prints the other prints too.
"""

from __future__ import annotations

import difflib
import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from urllib.parse import urlencode

from trod import wording
from trod.catalogue import models
from trod.catalogue.answers import evidence
from trod.catalogue.answers.evidence import Account
from trod.errors import CatalogueTrouble, NotEnoughEvidence, WrongInput
from trod.findings import Filter, Finding, localtime, observations, taxa
from trod.findings.observations import COMMON_INDEPENDENCE_MIN, Selection
from trod.telling import change, shared, what_comes, when

ASK = {"what-comes": what_comes.answer, "when": when.answer, "change": change.answer}
TITLES = dict(models.Question.Kind.choices)
ROW_KEY = {"what-comes": "species_key", "when": "light", "change": "month"}
MOST_KEPT = 48
_kept: OrderedDict[Any, Answer] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True, kw_only=True)
class Rests:
    """What an answer rests on, beside its effort. Days are camera-days.

    silences, silent_days : silences of a day or more of which nobody knows whether the camera watched, and the days
    of all such.
    not_home : cameras in the field, or gone, of which no picture has come home.
    """

    deployments: int = 0
    sequences_seen: int = 0
    unseen: int = 0
    gap_reasons: tuple[tuple[str, float], ...] = ()
    silences: int = 0
    silent_days: float = 0.0
    not_home: int = 0


@dataclass(kw_only=True)
class Answer:
    """A question with its finding, or with the reason why there is none.

    charts : drawn specs, as they are asked for.
    """

    kind: str
    filter: Filter
    filter_sentence: str
    finding: Finding | None
    trouble: NotEnoughEvidence | None
    rests: Rests
    first: date | None
    last: date | None
    charts: dict[str, Any] = field(default_factory=dict)

    @property
    def question(self) -> str:
        return TITLES[self.kind]


def the_reserve() -> models.Reserve:
    """The reserve of this catalogue. Raises CatalogueTrouble when there is none yet."""
    found = models.Reserve.objects.order_by("id").first()
    if found is None:
        raise CatalogueTrouble(
            "This data folder holds no reserve yet. Enter one on the page Map, or make the example: trod demo"
        )
    return found


def answer(kind: str, asked: Filter, account: Account) -> Answer:
    """Ask one question. The same question of the same evidence is answered from memory."""
    if kind not in ASK:
        raise WrongInput("question", got=kind, needed="what-comes, when or change")
    key = (account.stamp, kind, repr(asked.to_dict()), tuple(sorted(asked.species_names.items())))
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    evidence.leave_if_long(account, lambda: answer(kind, asked, account))
    selection = observations.select(account.evidence, asked)
    finding, trouble = None, None
    try:
        finding = ASK[kind](account.evidence, asked)
    except NotEnoughEvidence as why:
        trouble = why
    made = Answer(
        kind=kind,
        filter=asked,
        filter_sentence=shared.sentence(selection),
        finding=finding,
        trouble=trouble,
        rests=_rests(selection, account),
        first=selection.first,
        last=selection.last,
    )
    with _lock:
        _kept[key] = made
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return made


def forget() -> None:
    """Drop the answers held in memory."""
    with _lock:
        _kept.clear()


def _rests(selection: Selection, account: Account) -> Rests:
    reasons: dict[str, float] = {}
    for _, gap in selection.gaps:
        reasons[gap.reason] = reasons.get(gap.reason, 0.0) + (gap.end_s - gap.start_s) / 86_400
    asked, zone = selection.filter, selection.reserve.zone
    start_s = localtime.day_start_s(asked.first, zone) if asked.first else float("-inf")
    end_s = localtime.day_after_start_s(asked.last, zone) if asked.last else float("inf")
    silences, silent_days, not_home = 0, 0.0, 0
    for deployment in account.evidence.deployments:
        if asked.sites and deployment.site not in asked.sites:
            continue
        line = account.pieces[deployment.slug].line
        if line is None:
            not_home += 1
            continue
        for one in line.open:
            inside = min(one.to_s, end_s) - max(one.from_s, start_s)
            if inside > 0:
                silences += inside >= 86_400
                silent_days += inside / 86_400
    return Rests(
        deployments=len(selection.watched),
        sequences_seen=selection.sequences_seen,
        unseen=len(selection.unseen),
        gap_reasons=tuple(sorted(((r, d) for r, d in reasons.items() if d >= 0.05), key=lambda p: (-p[1], p[0]))),
        silences=silences,
        silent_days=silent_days,
        not_home=not_home,
    )


def behind(finding: Finding, row: str = "") -> tuple[tuple[str, ...], tuple[str, ...], Mapping[str, Any] | None]:
    """What is behind a number: (sequences' keys, first pictures of detections, the table's row).

    row : the key of one line of the table (a species, a light, a month); '' for the whole answer.
    Raises WrongInput when the answer has no such line.
    """
    if not row:
        return finding.sequences, finding.pictures, None
    for line in finding.rows:
        if line[ROW_KEY[finding.kind]] == row:
            return line["sequence_keys"], line["pictures"], line
    lines = [str(line[ROW_KEY[finding.kind]]) for line in finding.rows]
    raise WrongInput("row", got=row, needed=f"a line of the answer's table: {', '.join(lines) or 'it has none'}")


# --- from names to filters --------------------------------------------------------------------------


def pick(what: str, given: Iterable[str], known: Mapping[str, str]) -> tuple[str, ...]:
    """Keys of the named things. known : key to name; either may be given, in any case.

    Raises WrongInput with the nearest names when one is not known.
    """
    out = []
    by_name = {name.casefold(): key for key, name in known.items()}
    for text in given:
        wanted = text.strip()
        key = wanted if wanted in known else by_name.get(wanted.casefold())
        key = key or next((k for k in known if k.casefold() == wanted.casefold()), None)
        if key is None:
            near = _near(wanted, known)
            needed = (
                f"one that is known. Near: {', '.join(near)}"
                if near
                else f"one that is known: {_some(sorted(known.values()))}"
            )
            raise WrongInput(what, got=text, needed=needed)
        if key not in out:
            out.append(key)
    return tuple(out)


def _near(wanted: str, known: Mapping[str, str]) -> list[str]:
    """Up to three names that look alike, or hold the words that were given."""
    names = {name.casefold(): name for name in known.values()} | {key.casefold(): known[key] for key in known}
    folded = wanted.casefold()
    found = [names[n] for n in difflib.get_close_matches(folded, names, n=6, cutoff=0.6)]
    found += [name for fold, name in sorted(names.items()) if folded and folded in fold]
    return list(dict.fromkeys(found))[:3]


def _some(names: list[str]) -> str:
    if not names:
        return "none is entered yet"
    return wording.listed_at_most(names, 8, "more")


def day(what: str, text: str) -> date | None:
    """A day written like 2026-05-31, or None for nothing. Raises WrongInput."""
    if not text.strip():
        return None
    try:
        found = date.fromisoformat(text.strip())
    except ValueError:
        raise WrongInput(what, got=text[:40], needed="a day like 2026-05-31") from None
    if not 1970 <= found.year <= 2200:
        raise WrongInput(what, got=text[:40], needed="a day between 1970 and 2200")
    return found


def known_species() -> dict[str, str]:
    """Key to name of all kinds that are entered, by name; one above species stands for all kinds below it."""
    return {
        slug: name if rank == models.Species.Rank.SPECIES else taxa.all_kinds(name)
        for slug, name, rank in models.Species.objects.order_by("name").values_list("slug", "name", "rank")
    }


def known_sites(account: Account) -> dict[str, str]:
    """Key to name of the reserve's sites, by name."""
    return {site.slug: site.name for site in sorted(account.evidence.sites, key=lambda s: s.name.casefold())}


def make_filter(
    account: Account,
    *,
    species: Iterable[str] = (),
    sites: Iterable[str] = (),
    first: str = "",
    last: str = "",
    every_min: float | str = COMMON_INDEPENDENCE_MIN,
    light: str = "any",
) -> Filter:
    """A filter from what a person typed. Raises WrongInput with what is wrong and what would do."""
    names = known_species()
    try:
        minutes = float(every_min)
    except ValueError:
        raise WrongInput("every", got=str(every_min)[:40], needed="minutes from 0 to 10080 (a week)") from None
    chosen = pick("species", species, names)
    return Filter(
        species=chosen,
        sites=pick("site", sites, known_sites(account)),
        first=day("from", first),
        last=day("to", last),
        independence_min=minutes,
        light=light,  # type: ignore[arg-type]
        species_names={key: names[key] for key in chosen},
    )


def query(asked: Filter) -> str:
    """The filter as it stands in an address; nothing for what is left open."""
    pairs: list[tuple[str, str]] = [("species", key) for key in sorted(asked.species)]
    pairs += [("site", key) for key in sorted(asked.sites)]
    pairs += [("from", asked.first.isoformat())] if asked.first else []
    pairs += [("to", asked.last.isoformat())] if asked.last else []
    if asked.independence_min != COMMON_INDEPENDENCE_MIN:
        pairs.append(("every", f"{asked.independence_min:g}"))
    pairs += [("light", asked.light)] if asked.light != "any" else []
    return urlencode(pairs)


def from_kept(stored: Mapping[str, Any], names: Mapping[str, str] | None = None) -> Filter:
    """A filter from a kept question's record, as `Filter.to_dict` wrote it.

    names : of species; read when not given.
    """
    names = known_species() if names is None else names
    species = tuple(stored.get("species") or ())
    return Filter(
        species=species,
        sites=tuple(stored.get("sites") or ()),
        first=date.fromisoformat(stored["from"]) if stored.get("from") else None,
        last=date.fromisoformat(stored["to"]) if stored.get("to") else None,
        independence_min=float(stored.get("independence_min", COMMON_INDEPENDENCE_MIN)),
        light=stored.get("light", "any"),
        species_names={key: names.get(key, key) for key in species},
    )

"""Two sides of one question, from what a person typed to the answer, for the page and the command.

How often: two periods or two sites. Whether they share their hours: two kinds, people and a kind, periods or sites.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from trod.catalogue.answers import answers, remembered
from trod.catalogue.answers.evidence import Account
from trod.errors import NotEnoughEvidence
from trod.findings import Filter, Finding
from trod.findings.observations import COMMON_INDEPENDENCE_MIN
from trod.findings.shared_hours import PEOPLE, shared_hours
from trod.findings.two_sides import compare
from trod.telling import overlap as overlap_told
from trod.telling import two_sides as compare_told

TITLE = "Do they come more often?"


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Both sides with the finding, or with the reason why there is none."""

    first: Filter
    second: Filter
    finding: Finding | None
    trouble: NotEnoughEvidence | None


def make_filters(
    account: Account,
    *,
    species: Iterable[str] = (),
    sites: Iterable[str] = (),
    against_sites: Iterable[str] = (),
    against_species: Iterable[str] = (),
    first: str = "",
    last: str = "",
    against_first: str = "",
    against_last: str = "",
    every_min: float | str = COMMON_INDEPENDENCE_MIN,
    light: str = "any",
) -> tuple[Filter, Filter]:
    """Both filters from what a person typed; what the second side leaves open is as on the first.

    Raises WrongInput with what is wrong and what would do.
    """
    species, sites, against = list(species), list(sites), list(against_sites)
    kinds = [name for name in against_species if name != PEOPLE]
    other_period = bool(against_first or against_last)
    one = answers.make_filter(
        account, species=species, sites=sites, first=first, last=last, every_min=every_min, light=light
    )
    other = answers.make_filter(
        account,
        species=kinds or species,
        sites=against or sites,
        first=against_first if other_period else first,
        last=against_last if other_period else last,
        every_min=every_min,
        light=light,
    )
    return one, other


def ask(account: Account, first: Filter, second: Filter) -> Compared:
    """How often, on both sides. The same of the same evidence is answered from memory. Raises WrongInput."""

    def work() -> Finding:
        return compare_told.finding(account.evidence, compare(account.evidence, first, second))

    return _answered(account, "compare", first, second, work)


def ask_overlap(account: Account, first: Filter, second: Filter, *, people: bool = False) -> Compared:
    """Whether both sides share their hours; with `people`, the people of the second filter are that side.

    The same of the same evidence is answered from memory. Raises WrongInput.
    """

    def work() -> Finding:
        return overlap_told.finding(account.evidence, shared_hours(account.evidence, first, second, people=people))

    return _answered(account, f"overlap {people}", first, second, work)


def _answered(account: Account, kind: str, first: Filter, second: Filter, work: Callable[[], Finding]) -> Compared:
    finding, trouble = remembered.answered(account, (kind, *remembered.key_of(first, second)), work)
    return Compared(first=first, second=second, finding=finding, trouble=trouble)

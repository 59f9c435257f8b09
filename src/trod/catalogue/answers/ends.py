"""What came first and last in each season, from a filter to the answer, for the page and the command."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trod.catalogue.answers import remembered
from trod.catalogue.answers.evidence import Account
from trod.errors import NotEnoughEvidence, WrongInput
from trod.findings import Filter, Finding
from trod.findings.first_last import first_last
from trod.findings.seasons import Each
from trod.telling import first_last as told


@dataclass(frozen=True, kw_only=True)
class Ended:
    """The finding, or the reason why there is none."""

    filter: Filter
    each: Each
    finding: Finding | None
    trouble: NotEnoughEvidence | None


def each_of(text: str) -> Each:
    """Season or year, as typed; nothing is season. Raises WrongInput."""
    if text in ("", "season"):
        return "season"
    if text == "year":
        return "year"
    raise WrongInput("each", got=text[:40], needed="season or year")


def ask(account: Account, asked: Filter, each: Each) -> Ended:
    """First and last of every kind asked for. The same of the same evidence is answered from memory."""
    asked = replace(asked, light="any")
    finding, trouble = remembered.answered(
        account,
        ("first-last", each, *remembered.key_of(asked)),
        lambda: told.finding(first_last(account.evidence, asked, each)),
    )
    return Ended(filter=asked, each=each, finding=finding, trouble=trouble)

"""Who may see which picture: the one place that decides, for every address, page, list and export.

A picture that nobody has reviewed may show anybody, so it is for those alone who hold the right to see people; so is
one of which somebody said that a person or a vehicle is in it. Those who hold the right still see the latter only
after they chose to in this browser, and likewise what a machine takes for a person and nobody has reviewed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal, TypedDict

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.http import HttpRequest

from trod.catalogue.models import Observation, Picture, Sequence, Suggestion
from trod.web.shared import rights

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

RIGHT = "see_people"
SESSION = "show_people"
# From here on a guess of "person" hides. Ours: better one deer hidden than one walker shown.
SUGGESTION_SCORE = 0.3
SHOWS_PEOPLE = (Observation.What.PERSON, Observation.What.VEHICLE)

Verdict = Literal["open", "shown", "hidden", "not reviewed", "people"]
"""open : to every account. shown : to this caller. hidden : until this caller chooses to see people. The other two:
withheld from this caller, and why."""
WITHHELD: tuple[Verdict, ...] = ("not reviewed", "people")


def may_see(request: HttpRequest) -> bool:
    """Whether this caller holds the right to see people in pictures."""
    return rights.may(request, RIGHT)


def chose(request: HttpRequest) -> bool:
    """Whether somebody with the right chose to see people in this browser."""
    return bool(request.session.get(SESSION)) and may_see(request)


def verdict(*, reviewed: bool, people: bool, guessed: bool, may: bool, chosen: bool) -> Verdict:
    """Whether a picture is shown to a caller.

    people : somebody said that a person or a vehicle is in its sequence. guessed : a machine guesses a person.
    may : the caller holds the right. chosen : and wants to see people now.
    """
    if reviewed and not people:
        return "open"
    if not may:
        return "people" if reviewed else "not reviewed"
    hides = people if reviewed else guessed
    return "hidden" if hides and not chosen else "shown"


class PeopleToo(TypedDict):
    """What `with_people` adds to a picture."""

    person_said: bool
    person_guessed: bool
    person_alone: bool


def with_people(pictures: QuerySet[Picture]) -> QuerySet[WithAnnotations[Picture, PeopleToo]]:
    """Adds to each picture what decides: `person_said`, `person_guessed` and `person_alone` (of the file itself)."""
    said = Observation.objects.filter(identification=OuterRef("sequence__identification"), what__in=SHOWS_PEOPLE)
    guessed = Suggestion.objects.filter(
        picture__sequence=OuterRef("sequence"), what=Observation.What.PERSON, score__gte=SUGGESTION_SCORE
    )
    alone = Suggestion.objects.filter(picture=OuterRef("pk"), what=Observation.What.PERSON, score__gte=SUGGESTION_SCORE)
    return pictures.annotate(person_said=Exists(said), person_guessed=Exists(guessed), person_alone=Exists(alone))


def of_row(row: Mapping[str, Any], *, may: bool, chosen: bool) -> Verdict:
    """The verdict on a picture's values, taken after `with_people`: `sequence__identification` and what that adds."""
    return verdict(
        reviewed=row["sequence__identification"] is not None,
        people=row["person_said"],
        guessed=row["person_guessed"] or row["person_alone"],
        may=may,
        chosen=chosen,
    )


NOT_REVIEWED = Q(sequence__identification__isnull=True)
"""Of pictures that went through `with_people`: nobody has reviewed it."""
OPEN = Q(sequence__identification__isnull=False, person_said=False)
"""Of the same: open to every account."""


def sequence_verdict(sequence: Sequence, *, may: bool, chosen: bool = False) -> Verdict:
    """The verdict on one sequence's pictures."""
    said = (
        sequence.identification_id is not None
        and Observation.objects.filter(identification=sequence.identification_id, what__in=SHOWS_PEOPLE).exists()
    )
    guessed = Suggestion.objects.filter(
        picture__sequence=sequence, what=Observation.What.PERSON, score__gte=SUGGESTION_SCORE
    ).exists()
    return verdict(reviewed=sequence.identification_id is not None, people=said, guessed=guessed, may=may, chosen=chosen)

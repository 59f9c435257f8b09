"""People in pictures are hidden by default: which pictures those are, and who may see them."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, QuerySet
from django.http import HttpRequest

from trod.web.models import Hunch, Picture, Sighting

SESSION = "show_people"
HUNCH_SCORE = (
    0.3  # from here on a guess of "person" hides; ours: better one deer hidden than one walker shown
)


def with_people(pictures: QuerySet[Picture]) -> QuerySet[Picture]:
    """Adds `said` (somebody looked), `person_said` and `person_guessed` to each picture."""
    said = Sighting.objects.filter(word=OuterRef("event__word"), what=Sighting.What.PERSON)
    guessed = Hunch.objects.filter(
        picture__event=OuterRef("event"), what=Sighting.What.PERSON, score__gte=HUNCH_SCORE
    )
    alone = Hunch.objects.filter(picture=OuterRef("pk"), what=Sighting.What.PERSON, score__gte=HUNCH_SCORE)
    return pictures.annotate(
        person_said=Exists(said), person_guessed=Exists(guessed), person_alone=Exists(alone)
    )


def shown_here(request: HttpRequest) -> bool:
    """Whether somebody chose to see people in this browser."""
    return bool(request.session.get(SESSION))

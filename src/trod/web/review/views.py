"""The review's pages: choosing a queue, one sequence after another, and what is said of them."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from trod.catalogue.identifications import identification_lines, identifications
from trod.catalogue.models import Identification, Reserve, Sequence
from trod.errors import TrodError, WrongInput
from trod.pictures import sequences
from trod.web.access import person
from trod.web.review import pages, queue
from trod.web.shared import seeing as people

AHEAD = 12  # sequences the page holds before it asks for more
PLACE = "review"  # in the session: the queue this browser was last at
LONGEST_BODY = 200_000
NOT_FOR_YOU = (
    "This sequence's pictures are withheld from you, so nothing can be said of it: nobody has reviewed it yet, or people "  # noqa: E501
    "are in it. Whoever may see people can give you the right, under Settings."
)


@require_GET
def look(request: HttpRequest) -> HttpResponse:
    me = person(request)
    wish = queue.read(request.GET, Reserve.objects.order_by("id").first())
    left, whole = wish.counts(me)
    first = wish.rows(me).first()
    return render(
        request,
        "trod/review.html",
        {
            "wish": wish,
            "left": left,
            "whole": whole,
            "first": first,
            "resume": _resume(request, me),
            "choices": pages.choices(wish.site),
            "which": queue.WHICH,
            "lights": queue.LIGHTS,
            "sorts": queue.SORTS,
            "people_shown": people.chose(request),
            "may_see_people": people.may_see(request),
            "rule": sequences.sentence(),
        },
    )


def _next(request: HttpRequest, me: str) -> tuple[queue.Queue, Sequence] | None:
    """The sequence this person would come to next: after their latest word, in the queue they left."""
    last = (
        Identification.objects.filter(by=me, undone_at__isnull=True)
        .select_related("sequence")
        .order_by("-at", "-uuid")
        .first()
    )
    if last is None:
        return None
    wish = queue.read(QueryDict(request.session.get(PLACE, "")), Reserve.objects.order_by("id").first())
    following = wish.after(last.sequence, me).select_related("deployment__site__reserve").first()
    return None if following is None else (wish, following)


def _resume(request: HttpRequest, me: str) -> dict[str, Any] | None:
    """The same, as the page shows it."""
    found = _next(request, me)
    if found is None:
        return None
    wish, following = found
    card = pages.cards(Sequence.objects.filter(pk=following.pk), person=me, may=people.may_see(request), blind=True)[0]
    return {"sequence": following, "sentence": card.sentence, "wish": wish}


@require_GET
def sequence(request: HttpRequest, pk: int) -> HttpResponse:
    me = person(request)
    here = get_object_or_404(Sequence.objects.only("id", "start_at", "deployment_id", "identification_id"), pk=pk)
    wish = queue.read(request.GET, Reserve.objects.order_by("id").first())
    left, whole = wish.counts(me)
    animals, others = pages.keys()
    kinds = pages.kinds()
    may, blind = people.may_see(request), wish.which == "second"
    first = pages.cards(Sequence.objects.filter(pk=pk), person=me, may=may, blind=blind)
    chosen = here.identification_id is None and _is_chosen(request, wish, here, me)
    following = pages.cards(wish.after(here, me)[: AHEAD - 1], person=me, may=may, blind=blind)
    data = {
        "cards": [pages.as_json(c) for c in first + following],
        "ended": len(following) < AHEAD - 1,
        "animals": [asdict(k) for k in animals],
        "others": [asdict(k) for k in others],
        "kinds": [asdict(k) for k in kinds],
        "usual": pages.usual(),
        "own": pages.own_words(me),
        "me": me,
        "queue": wish.query(),
        "second": wish.which == "second",
        "chosen": pk if chosen else None,
        "left": left,
        "shown": people.chose(request),
        "unseen": wish.which == "unseen",
        "vocabulary": pages.vocabulary(),
        "classes": pages.class_keys(),
        "signs": pages.SIGNS,
        "longest_name": identification_lines.LONGEST_NAME,
        "not_for_you": NOT_FOR_YOU,
        "pictures": reverse("pictures:people").removesuffix("people/"),
        "urls": {name: reverse(f"review:{name}") for name in ("review", "more", "act")}
        | {"one": reverse("review:one", args=[0])[:-1]},
    }
    return render(
        request,
        "trod/review_sequence.html",
        {
            "card": first[0],
            "data": data,
            "wish": wish,
            "left": left,
            "whole": whole,
            "animals": animals,
            "others": others,
            "kinds": kinds,
            "sexes": pages.class_buttons("sex"),
            "life_stages": pages.class_buttons("life_stage"),
            "longest_note": identification_lines.LONGEST_NOTE,
            "people_shown": data["shown"],
            "may_see_people": may,
            "not_for_you": NOT_FOR_YOU,
        },
    )


def _is_chosen(request: HttpRequest, wish: queue.Queue, here: Sequence, me: str) -> bool:
    """Whether a person opened this very sequence.

    It is then neither the first of the queue nor the one they would come to next.
    """
    first = wish.rows(me).only("pk").first()
    if first is not None and first.pk == here.pk:
        return False
    after = _next(request, me)
    return after is None or after[1].pk != here.pk


@require_GET
def more(request: HttpRequest) -> JsonResponse:
    """The next sequences of a queue after one of its own."""
    me = person(request)
    try:
        here = Sequence.objects.only("id", "start_at", "deployment_id").get(pk=int(request.GET.get("after", "")))
    except (ValueError, OverflowError, Sequence.DoesNotExist):
        return _trouble("That sequence is no longer in the catalogue; open the review again.", 410)
    wish = queue.read(request.GET, Reserve.objects.order_by("id").first())
    back = request.GET.get("back") == "1"
    rows = wish.after(here, me, back=back)[: 1 if back else AHEAD]
    found = pages.cards(rows, person=me, may=people.may_see(request), blind=wish.which == "second")
    return JsonResponse({"cards": [pages.as_json(c) for c in found], "ended": len(found) < AHEAD})


@require_GET
def one(request: HttpRequest, pk: int) -> JsonResponse:
    """One sequence as it is now."""
    me = person(request)
    blind = request.GET.get("which") == "second"
    found = pages.cards(Sequence.objects.filter(pk=pk), person=me, may=people.may_see(request), blind=blind)
    if not found:
        raise Http404
    return JsonResponse({"card": pages.as_json(found[0])})


@require_POST
def act(request: HttpRequest) -> JsonResponse:
    """One act: say, undo or redo. Asking twice with the same uuid does it once."""
    me = person(request)
    try:
        asked = _body(request)
        if asked.get("act") == "say":
            return _say(request, asked, me)
        if asked.get("act") in ("undo", "redo"):
            turn = identifications.undo if asked["act"] == "undo" else identifications.redo
            identification = turn(
                by=me, at=timezone.now(), identification=asked.get("identification") or None, uuid=asked.get("uuid")
            )
            if identification is None:
                return JsonResponse({"done": False, "message": f"There is nothing to {asked['act']}."})
            return JsonResponse(
                {"done": True, "identification": str(identification.uuid), "sequence": identification.sequence_id}
            )
        raise WrongInput("act", got=asked.get("act"), needed="say, undo or redo")
    except identifications.SaidMeanwhile as meanwhile:
        their = meanwhile.identification
        return JsonResponse(
            {
                "message": str(meanwhile),
                "meanwhile": str(their.uuid),
                "by": their.by,
                "text": identifications.tell(their),
            },
            status=409,
        )
    except WrongInput as wrong:
        return _trouble(str(wrong), 400)
    except TrodError as trouble:
        return _trouble(str(trouble), 503)


def _body(request: HttpRequest) -> dict[str, Any]:
    try:
        if len(request.body) > LONGEST_BODY:
            raise ValueError("too long")
        asked = json.loads(request.body)
        if not isinstance(asked, dict):
            raise ValueError("not an object")
    except (ValueError, RecursionError) as problem:
        raise WrongInput("body", got=str(problem)[:80], needed="one JSON object") from problem
    return asked


def _say(request: HttpRequest, asked: dict[str, Any], me: str) -> JsonResponse:
    sequence = Sequence.objects.filter(key=str(asked.get("sequence", ""))[:100].replace("\0", "")).first()
    if sequence is None:
        return _trouble(
            "This sequence is no longer in the catalogue: its pictures may have been grouped anew. Open the "
            "review again and say it there.",
            410,
        )
    if people.sequence_verdict(sequence, may=people.may_see(request)) in people.WITHHELD:
        return _trouble(NOT_FOR_YOU, 422)  # else saying "blank" would open it
    lines = asked.get("lines")
    if not isinstance(lines, list):
        raise WrongInput("lines", got=type(lines).__name__, needed="a list of what was seen")
    before = (
        sequence.identifications.filter(undone_at__isnull=True).exclude(by=me).exists() if asked.get("second") else False
    )
    identification = identifications.say(
        sequence,
        [identifications.line_from(row) for row in lines],
        by=me,
        at=timezone.now(),
        note=str(asked.get("note") or ""),
        saw=str(asked.get("saw") or "") or None,
        uuid=asked.get("uuid") or None,
        reached=_reached(asked),
    )
    place = str(asked.get("queue") or "")[:500]
    if request.session.get(PLACE, "") != place:
        request.session[PLACE] = place
    answer: dict[str, Any] = {
        "done": True,
        "identification": str(identification.uuid),
        "sequence": sequence.pk,
        "text": identifications.tell(identification),
    }
    if before:
        card = pages.cards(Sequence.objects.filter(pk=sequence.pk), person=me, may=people.may_see(request))[0]
        answer["others"] = [
            {"by": said.by, "when": said.when, "text": said.text, "same": said.text == answer["text"]}
            for said in card.words
            if said.by != me and not said.undone
        ]
    return JsonResponse(answer)


def _reached(asked: dict[str, Any]) -> str:
    """How the sequence came up: in a queue by time, or picked."""
    how = Identification.Reached
    if asked.get("chosen"):
        return how.CONTENT
    wish = queue.read(QueryDict(str(asked.get("queue") or "")[:500]), Reserve.objects.order_by("id").first())
    return how.TIME if wish.which in queue.BY_TIME else how.CONTENT


def _trouble(message: str, status: int) -> JsonResponse:
    return JsonResponse({"message": message}, status=status)

"""Pages: which card is where, and one card's way."""

from __future__ import annotations

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from trod.catalogue.models import Card
from trod.web import seen
from trod.web.forms.common import offer_undo
from trod.web.forms.records import the_reserve
from trod.web.maintenance import cards

DOUBT = "doubt"


@require_GET
def chain(request: HttpRequest) -> HttpResponse:
    """Every card: where it is and since when; what does not go together first."""
    found = cards.lines(the_reserve())
    asked = request.GET.get("where", "")
    word = request.GET.get("label", "").strip()[:64]
    counts: dict[str, int] = {}
    for line in found:
        counts[line.place] = counts.get(line.place, 0) + 1
    doubted = sum(bool(line.doubts) for line in found)
    shown = found
    if asked == DOUBT:
        shown = [line for line in shown if line.doubts]
    elif asked in counts:
        shown = [line for line in shown if line.place == asked]
    else:
        asked = ""
    if word:
        shown = [line for line in shown if word.casefold() in line.card.label.casefold()]
    shown = sorted(shown, key=lambda line: not line.doubts)
    context = {
        "lines": shown,
        "choices": [(place, words, counts[place]) for place, words in cards.SHOWN.items() if place in counts],
        "doubted": doubted,
        "where": asked,
        "label": word,
        "total": len(found),
    }
    return render(request, "trod/maintenance/cards.html", context)


@require_GET
def card(request: HttpRequest, pk: int) -> HttpResponse:
    """One card's way, step by step."""
    row = get_object_or_404(Card, pk=pk)
    (line,) = cards.lines(the_reserve(), only=row)
    steps = []
    for step in reversed(line.story.steps):
        link = step.link
        if link.startswith("visit:"):
            link = reverse("cameras:visit_edit", args=[int(link.removeprefix("visit:"))])
        steps.append({"step": step, "words": cards.STEP_WORDS[step.what], "link": link})
    moves = [
        (state, words)
        for state, words in (
            (Card.State.READY, "Formatted, ready to go out"),
            (Card.State.LOST, "It is lost"),
            (Card.State.BAD, "It is worn out"),
            (Card.State.HOME, "Found again, at home"),
        )
        if _offered(state, row, line)
    ]
    context = {"line": line, "card": row, "steps": steps, "moves": moves}
    return render(request, "trod/maintenance/card.html", context)


def _offered(state: str, row: Card, line: cards.CardLine) -> bool:
    if state == Card.State.READY:
        return row.state == Card.State.KEPT or line.place == "safe"
    if state == Card.State.HOME:
        return row.state in (Card.State.LOST, Card.State.BAD)
    return row.state not in (Card.State.LOST, Card.State.BAD)


@require_POST
def card_state(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what a card is now. It can be put back."""
    row = get_object_or_404(Card, pk=pk)
    state = request.POST.get("state", "")
    back = reverse("maintenance:card", args=[pk])
    if state in Card.State.values and state != row.state:
        with transaction.atomic():
            seen.check(request, row, only=("state",), mine=str(Card.State(state).label))
            offer_undo(request, f"Put {row} back as it was", back, before=[Card.objects.get(pk=pk)])
            row.state = state
            row.save(update_fields=["state"])
        messages.success(request, f"{row}: {row.get_state_display()}.", extra_tags="undo")
    return redirect(back)

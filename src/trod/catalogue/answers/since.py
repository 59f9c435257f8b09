"""What came to the record after an answer was kept, so that the same question is answered otherwise now.

Each sequence that joined the answer, or left it, is told by what happened to it since: its card was imported, somebody
reviewed it, an identification was corrected. The rest is left to corrected clocks, decided silences and settings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db.models import Q

from trod.catalogue import models
from trod.catalogue.answers.answers import Answer
from trod.findings.since import Since


def basis(answer: Answer, reserve: models.Reserve) -> dict[str, Any]:
    """What is kept beside an answer: how much was reviewed, and the settings that it was worked out with."""
    return {
        "reviewed": answer.rests.sequences_seen,
        "waiting": answer.rests.unseen,
        "settings": {
            "how much good and bad years differ": f"{reserve.yearly_allowance:g}",
            "the reserve's time zone": reserve.zone,
            "the reserve's place": f"{reserve.latitude:.4f}, {reserve.longitude:.4f}",
        },
    }


def same(then: Mapping[str, Any], now: Mapping[str, Any]) -> bool:
    """Whether two kept answers say the same, whatever version of Trod made them."""
    return _bare(then) == _bare(now)


def _bare(result: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in result.items() if key not in ("made", "basis", "method", "assumptions")}


def since(then: Mapping[str, Any], at: datetime, now: Mapping[str, Any], reserve: models.Reserve) -> Since:
    """What happened between a kept answer, of this moment, and the answer of now; both as they are kept."""
    before, after = {*(then.get("sequences") or ())}, {*(now.get("sequences") or ())}
    joined, left = after - before, before - after
    asked = then.get("filter") or {}
    said, earlier = _said(at)
    new = _imported(at)
    there = _there(left)
    counts = Counter(_joined(key, new, said, earlier) for key in joined)
    counts.update("removed" if key not in there else "corrected" if key in said else "unexplained" for key in left)
    other = _within(asked, reserve, (said | new) - joined - left)
    counts["also_cards"] = len(other & new)
    counts["also_reviewed"] = len((other & said) - earlier - new)
    counts["also_corrected"] = len((other & said & earlier) - new)
    sites = asked.get("sites") or ()
    kept, today = (of.get("basis") or {} for of in (then, now))
    settings = kept.get("settings") or {}
    return Since(
        **counts,
        clocks=_of_cameras(models.ClockCorrection, at, reserve, sites),
        silences=_of_cameras(models.Silence, at, reserve, sites),
        settings=tuple(
            (name, settings[name], value)
            for name, value in (today.get("settings") or {}).items()
            if name in settings and settings[name] != value
        ),
        made=(then["made"], now["made"])
        if then.get("made") and now.get("made") and then["made"] != now["made"]
        else None,
    )


def _said(at: datetime) -> tuple[set[str], set[str]]:
    """Keys of sequences of which something was said or undone since; and of those, the ones identified before."""
    changed = models.Identification.objects.filter(Q(at__gt=at) | Q(undone_at__gt=at)).order_by()
    said = set(changed.values_list("sequence__key", flat=True))
    earlier = (
        models.Identification.objects.filter(at__lte=at, sequence__in=changed.values("sequence"))
        .filter(Q(undone_at__isnull=True) | Q(undone_at__gt=at))
        .order_by()
    )
    return said, set(earlier.values_list("sequence__key", flat=True))


def _imported(at: datetime) -> set[str]:
    """Keys of sequences whose card, or whose records, were imported since."""
    new = models.Sequence.objects.filter(
        Q(pictures__card_import__started_at__gt=at) | Q(record_import__at__gt=at)
    ).order_by()
    return set(new.values_list("key", flat=True).distinct())


def _joined(key: str, new: set[str], said: set[str], earlier: set[str]) -> str:
    """Why a sequence is in the answer that was not."""
    if key in new:
        return "cards"
    if key not in said:
        return "unexplained"
    return "corrected" if key in earlier else "reviewed"


def _there(keys: Iterable[str]) -> dict[str, tuple[str, datetime]]:
    """Which of these are in the catalogue: their site, and when they began. Time-lapse frames are no sequences."""
    listed = sorted(keys)
    found: dict[str, tuple[str, datetime]] = {}
    for n in range(0, len(listed), 500):
        rows = models.Sequence.objects.filter(key__in=listed[n : n + 500], time_lapse=False).order_by()
        found |= {key: (site, at) for key, site, at in rows.values_list("key", "deployment__site__slug", "start_at")}
    return found


def _within(asked: Mapping[str, Any], reserve: models.Reserve, keys: set[str]) -> set[str]:
    """Which of these lie at the sites and in the days that were asked of."""
    sites, first, last = asked.get("sites"), asked.get("from"), asked.get("to")
    out = set()
    for key, (site, at) in _there(keys).items():
        day = at.astimezone(reserve.zone_info).date().isoformat()
        if (not sites or site in sites) and (not first or day >= first) and (not last or day <= last):
            out.add(key)
    return out


def _of_cameras(model: Any, at: datetime, reserve: models.Reserve, sites: Iterable[str]) -> int:
    """How many of a deployment's corrections or decisions were made or undone since, at these sites or all."""
    rows = model.objects.filter(Q(at__gt=at) | Q(undone_at__gt=at), deployment__site__reserve=reserve)
    chosen = list(sites)
    return int((rows.filter(deployment__site__slug__in=chosen) if chosen else rows).count())

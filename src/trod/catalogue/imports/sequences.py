"""Pictures of a deployment parted into sequences, again and again, without anybody's word going astray.

The rule is `trod.pictures.sequences.group`. Three promises on top of it:

1. A sequence that has its key picture still, keeps its row, its key and its words.
2. Two sequences of which people have spoken are never thrown together: their words are about these very
   pictures.
3. When pictures of a spoken-of sequence fall apart (after a clock was corrected), the word stays with the part that has
   the key picture, and that is told.
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Q

from trod import wording
from trod.catalogue.imports import facts
from trod.catalogue.line import Line
from trod.catalogue.models import Deployment, Identification, Picture, Sequence
from trod.catalogue.models.sums import summing_up
from trod.catalogue.rows import rollups
from trod.pictures import sequences as rule

KEY_HEAD = 35  # of the deployment's slug; with the SHA-256 it fits the column


def key_of(deployment: Deployment, sha256: str) -> str:
    """A sequence's key: its deployment and its first picture."""
    return f"{deployment.slug[:KEY_HEAD]}.{sha256}"


def sentence() -> str:
    """The rule, to be printed wherever sequences are shown."""
    return rule.sentence()


# Rows as they are handled here: pk, sha256, taken_at, sequence_id, infrared, trigger
ROW = ("pk", "sha256", "taken_at", "sequence_id", "infrared", "trigger")


def regroup(deployment: Deployment, line: Line) -> list[str]:
    """Part the pictures of a deployment into sequences anew. Returns what is to be told of it, in sentences.

    Pictures whose time is not known, and those of another camera, are in no sequence. Doing it again changes
    nothing.
    """
    with transaction.atomic(), summing_up():
        rows = list(
            facts.pictures_of(deployment)
            .filter(taken_at__isnull=False, foreign=False)
            .order_by("taken_at", "file_order", "sha256")
            .values_list(*ROW)
        )
        mine = Sequence.objects.filter(deployment=deployment, record_import__isnull=True)
        old = dict(mine.values_list("pk", "key"))
        spoken = set(
            Identification.objects.filter(sequence__deployment=deployment).values_list("sequence_id", flat=True)
        )
        groups, apart = _groups(rows, spoken)
        owner, split = _owners(groups, old, spoken)
        told = _told(apart, split)
        _store(deployment, groups, owner, old, spoken)
        stray = facts.pictures_of(deployment).filter(sequence__isnull=False)
        stray.filter(Q(taken_at__isnull=True) | Q(foreign=True)).exclude(
            sequence__in=Sequence.objects.filter(deployment=deployment, identifications__isnull=False)
        ).update(sequence=None)
        gone = [pk for pk in old if pk not in spoken and pk not in set(owner.values())]
        for start in range(0, len(gone), 500):
            Sequence.objects.filter(pk__in=gone[start : start + 500]).delete()
        rollups.refresh(deployment)
    return told


def _groups(rows: list[Any], spoken: set[int]) -> tuple[list[list[Any]], int]:
    """The rule's groups, cut where a second spoken-of sequence begins; and how many cuts it took."""
    if not rows:
        return [], 0
    labels = rule.group(np.array([row[2].timestamp() for row in rows]))
    groups: list[list[Any]] = []
    apart, last, speaks = 0, -1, None
    for row, label in zip(rows, labels.tolist(), strict=True):
        mine = row[3] if row[3] in spoken else None
        if label != last:
            groups.append([])
            last, speaks = label, None
        elif mine is not None and speaks is not None and mine != speaks:
            groups.append([])
            apart += 1
            speaks = None
        groups[-1].append(row)
        speaks = mine if mine is not None else speaks
    return groups, apart


def _owners(groups: list[list[Any]], old: dict[int, str], spoken: set[int]) -> tuple[dict[int, int], int]:
    """Which old sequence each group carries on, {group's number: sequence}; how many spoken-of ones fell apart."""
    key_picture = {pk: key.rpartition(".")[2] for pk, key in old.items()}
    homes: dict[int, Counter[int]] = {}
    has_key: dict[int, int] = {}
    for number, group in enumerate(groups):
        for row in group:
            sequence = row[3]
            if sequence in old:
                homes.setdefault(sequence, Counter())[number] += 1
                if row[1] == key_picture[sequence]:
                    has_key[sequence] = number
    owner: dict[int, int] = {}
    split = 0
    for sequence in sorted(spoken & set(homes), key=lambda e: (has_key.get(e, len(groups)), e)):
        split += len(homes[sequence]) > 1
        wanted = [has_key[sequence]] if sequence in has_key else []
        wanted += [number for number, _ in homes[sequence].most_common()]
        for number in wanted:
            if number not in owner:
                owner[number] = sequence
                break
    first = {group[0][1]: number for number, group in enumerate(groups)}
    for sequence, sha256 in key_picture.items():
        begun = first.get(sha256)
        if sequence not in spoken and begun is not None and begun not in owner:
            owner[begun] = sequence
    return owner, split


def _told(apart: int, split: int) -> list[str]:
    told = []
    if apart:
        many = wording.plural(apart, "pair of sequences lies", "pairs of sequences lie")
        told.append(
            f"{many} within {wording.exactly(rule.BURST_GAP_S)} of each other and stay apart, since "
            "people have "
            "said a word about each."
        )
    if split:
        many = wording.plural(split, "sequence")
        told.append(
            f"The pictures of {many} that people spoke of have come apart; the word stays with the first "
            "part, the rest "
            "is to be looked through again."
        )
    return told


def _facts_of(group: list[Any]) -> dict[str, Any]:
    seen = Counter(row[4] for row in group if row[4] is not None)
    return {
        "start_at": group[0][2],
        "end_at": group[-1][2],
        "frames": len(group),
        "infrared": seen[True] >= seen[False] if seen else None,
        "time_lapse": all(row[5] == Picture.Trigger.TIME_LAPSE for row in group),
        "cover_id": group[len(group) // 2][0],
    }


FIELDS = ("start_at", "end_at", "frames", "infrared", "time_lapse", "cover_id")


def _store(
    deployment: Deployment,
    groups: list[list[Any]],
    owner: dict[int, int],
    old: dict[int, str],
    spoken: set[int],
) -> None:
    had = {row[0]: row[1:] for row in Sequence.objects.filter(pk__in=[]).values_list("pk", *FIELDS)}
    for start in range(0, len(old), 500):
        piece = list(old)[start : start + 500]
        had.update({row[0]: row[1:] for row in Sequence.objects.filter(pk__in=piece).values_list("pk", *FIELDS)})
    new, changed = [], []
    taken = {key for pk, key in old.items() if pk in spoken or pk in set(owner.values())}
    for number, group in enumerate(groups):
        values = _facts_of(group)
        if number in owner:
            pk = owner[number]
            row = tuple(values[name] for name in FIELDS)
            if had[pk] != row:
                changed.append((*row, pk))
        else:
            key = next(k for k in (key_of(deployment, r[1]) for r in group) if k not in taken)
            taken.add(key)
            new.append((number, Sequence(key=key, deployment=deployment, **values)))
    facts.write_many(Sequence, [name.removesuffix("_id") for name in FIELDS], changed)
    # An old sequence with a key that a new one bears is on its way out; make room for it.
    stale = [pk for pk, key in old.items() if pk not in spoken and pk not in set(owner.values())]
    keys = {sequence.key for _, sequence in new}
    clash = [pk for pk in stale if old[pk] in keys]
    for start in range(0, len(clash), 500):
        Sequence.objects.filter(pk__in=clash[start : start + 500]).delete()
    made = Sequence.objects.bulk_create([sequence for _, sequence in new], batch_size=500)
    numbers = dict(owner)
    numbers.update({number: sequence.pk for (number, _), sequence in zip(new, made, strict=True)})
    moves = [
        (numbers[number], row[0]) for number, group in enumerate(groups) for row in group if row[3] != numbers[number]
    ]
    facts.write_many(Picture, ("sequence",), moves)


def restore(deployment: Deployment, listed: list[dict[str, Any]], paths: dict[str, int]) -> int:
    """Make the sequences that a sidecar lists. paths: "<bag>/<path below data>" → picture's number.

    Returns how many pictures it placed. To be followed by `regroup` for pictures the list does not know.
    """
    rows = {
        row[0]: row for row in Picture.objects.filter(deployment=deployment, taken_at__isnull=False).values_list(*ROW)
    }
    made, groups = [], []
    for sequence in listed:
        group = [rows[paths[path]] for path in sequence.get("pictures", ()) if paths.get(path) in rows]
        if not group or not isinstance(sequence.get("key"), str):
            continue
        group.sort(key=lambda row: row[2])  # stable: the list's own order parts equal times
        groups.append(group)
        made.append(Sequence(key=sequence["key"][:100], deployment=deployment, **_facts_of(group)))
    with summing_up():
        made = Sequence.objects.bulk_create(made, batch_size=500, ignore_conflicts=False)
    moves = [(sequence.pk, row[0]) for sequence, group in zip(made, groups, strict=True) for row in group]
    facts.write_many(Picture, ("sequence",), moves)
    rollups.refresh(deployment)
    return len(moves)


# What set the camera off ------------------------------------------------------------------------------------

SAME_MINUTE_S = 90  # a time-lapse frame comes this close to its minute
LEAST_FRAMES = 3


def tell_triggers(deployment: Deployment) -> None:
    """Mark time-lapse frames: pictures that recur at one minute of the period that the deployment was set to.

    Without a time lapse in its settings every picture counts as set off by motion. With one, the first
    picture within 90 s of the recurring minute in each period is the frame; a detection at that very minute
    would be taken for one.
    """
    rows = list(
        facts.pictures_of(deployment)
        .filter(looked=True, taken_raw__isnull=False)
        .order_by("taken_raw", "file_order", "sha256")
        .values_list("pk", "taken_raw", "trigger", "kind")
    )
    lapse: set[int] = set()
    if deployment.time_lapse_h:
        lapse = _lapse_frames(
            [(pk, _seconds(raw)) for pk, raw, _, kind in rows if raw and kind == "picture"], deployment.time_lapse_h
        )
    changed = []
    for pk, _, trigger, _ in rows:
        should = Picture.Trigger.TIME_LAPSE if pk in lapse else Picture.Trigger.MOTION
        if trigger != should:
            changed.append((should, pk))
    facts.write_many(Picture, ("trigger",), changed)


def _seconds(raw: datetime) -> float:
    return raw.astimezone(UTC).timestamp()


def _lapse_frames(rows: list[tuple[int, float]], period_h: float) -> set[int]:
    period_s = period_h * 3600
    if not rows or period_s < 60:
        return set()
    times = np.array([second for _, second in rows])
    phases = np.mod(times, period_s)
    # In how many periods each minute has a picture at all: a burst counts once.
    seen = np.unique(np.column_stack([np.floor(times / period_s), np.floor(phases / 60)]), axis=0)
    count = np.bincount(seen[:, 1].astype(int))
    # A frame may fall on either side of a minute's turn.
    pairs = count + np.append(count[1:], 0)
    best = int(np.argmax(pairs))
    middle = (best + 1) * 60.0
    apart = np.abs((phases - middle + period_s / 2) % period_s - period_s / 2)
    frames: dict[int, int] = {}
    for (pk, second), near in zip(rows, (apart <= SAME_MINUTE_S).tolist(), strict=True):
        if near:
            frames.setdefault(int((second - middle + period_s / 2) // period_s), pk)
    periods = max(1.0, (times[-1] - times[0]) / period_s)
    if len(frames) < LEAST_FRAMES or len(frames) < 0.3 * min(periods, 10_000):
        return set()
    return set(frames.values())

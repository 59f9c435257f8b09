"""Pictures close in time → one sequence; sequences close in time → one detection.

Two groupings, each with its sentence. A *sequence* is for looking: the pictures of one deployment with no
long gap. A *detection* is for findings: the observations of one species at one site that are not independent of
each other. Both are chains: each picture is compared with the one before, so a long stay is one sequence
however long it lasts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trod import wording
from trod.errors import WrongInput

# Pictures of one deployment no further apart than this are one sequence, for looking. Ours, by reason: longer than the
# quiet time that cameras are mostly set to (none to one minute, common practice), so that an animal that stays makes one
# sequence and not one a trigger. It says what is looked at together and changes no count: INDEPENDENCE_S does that.
BURST_GAP_S = 120
# Observations closer than this count as one detection. Western Canada's Remote Camera Survey Guidelines v2 (2024),
# glossary: chosen by the user, commonly 30 minutes or 1 hour, and to be recorded.
INDEPENDENCE_S = 30 * 60

Ints = NDArray[np.int64]


def _check_gap(name: str, gap_s: float) -> None:
    if not gap_s >= 0:
        raise WrongInput(name, got=gap_s, needed="seconds, 0 or more")


def group(times_s: ArrayLike, gap_s: float = BURST_GAP_S) -> Ints:
    """Number the sequences of one deployment.

    times_s : (pictures,), Unix seconds in order of time. gap_s : a gap of at most this keeps the sequence going.
    Returns labels (pictures,), 0, 1, 2… in order of time.
    Raises WrongInput for times out of order, or a negative gap.
    """
    _check_gap("gap_s", gap_s)
    times = np.asarray(times_s)
    if times.ndim != 1:
        raise WrongInput("times_s", got=times.shape, needed="one row of times")
    if times.size == 0:
        return np.empty(0, dtype=np.int64)
    steps = np.diff(times)
    if not np.all(steps >= 0):  # nan fails too
        raise WrongInput("times_s", got="times out of order or unknown", needed="known times in order of time")
    labels = np.zeros(times.size, dtype=np.int64)
    np.cumsum(steps > gap_s, out=labels[1:])
    return labels


@dataclass(frozen=True, kw_only=True)
class Detections:
    """Observations merged into detections.

    label : (observations,), for each observation given, in the order given, the number of its detection.
    start_s, end_s, species, site, count : (detections,), sorted by site, species, time; count is the largest
    in it.
    """

    label: Ints
    start_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    species: Ints
    site: Ints
    count: Ints

    def __len__(self) -> int:
        return int(self.start_s.size)


def independent(
    start_s: ArrayLike,
    end_s: ArrayLike,
    *,
    species: ArrayLike,
    site: ArrayLike,
    count: ArrayLike,
    interval_s: float = INDEPENDENCE_S,
) -> Detections:
    """Merge the observations of one species at one site that lie closer together than the interval.

    start_s, end_s : (observations,), first and last picture of each sequence. [Unix s] Any order.
    species, site : (observations,), whole numbers that stand for them. count : (observations,), animals in the
    sequence.
    interval_s : from the last picture of what came before to the first picture of what comes next; closer
    than this is the same detection, this or more is another. 0 merges only what overlaps.
    Returns Detections. A sequence with several rows of one species (a stag and two hinds) must be summed
    before: here it would count as the largest row.
    Raises WrongInput for arrays of different lengths, an end before its start, unknown times, a count below
    0.
    """
    _check_gap("interval_s", interval_s)
    start, end = np.asarray(start_s, dtype=np.float64), np.asarray(end_s, dtype=np.float64)
    kind, place = np.asarray(species, dtype=np.int64), np.asarray(site, dtype=np.int64)
    number = np.asarray(count, dtype=np.int64)
    shapes = {a.shape for a in (start, end, kind, place, number)}
    if len(shapes) != 1 or start.ndim != 1:
        raise WrongInput("observations", got=sorted(shapes), needed="rows of one and the same length")
    if not np.all(end >= start):
        raise WrongInput("end_s", got="an end before its start, or unknown", needed="known times, end after start")
    if np.any(number < 0):
        raise WrongInput("count", got=int(number.min()), needed="0 or more")
    if start.size == 0:
        none = np.empty(0, dtype=np.int64)
        nowhen = np.empty(0)
        return Detections(label=none, start_s=nowhen, end_s=nowhen, species=none, site=none, count=none)
    order = np.lexsort((start, kind, place))
    s, e, k, p, n = start[order], end[order], kind[order], place[order], number[order]
    fresh = np.empty(s.size, dtype=bool)
    fresh[0] = True
    fresh[1:] = (k[1:] != k[:-1]) | (p[1:] != p[:-1])
    # The furthest end so far within each species and site: lift each stretch above all the one before it,
    # so that one running maximum serves them all.
    stretch = np.cumsum(fresh) - 1
    span = math.ceil(float(e.max() - s.min()) + interval_s) + 1.0  # whole, so that sums stay exact
    lifted_end = np.maximum.accumulate((e - s.min()) + stretch * span)
    gap = (s[1:] - s.min()) + stretch[1:] * span - lifted_end[:-1]
    fresh[1:] |= (gap > 0) & (gap >= interval_s)
    detection = np.cumsum(fresh) - 1
    first = np.flatnonzero(fresh)
    label = np.empty(s.size, dtype=np.int64)
    label[order] = detection
    return Detections(
        label=label,
        start_s=s[first],
        end_s=np.maximum.reduceat(e, first),
        species=k[first],
        site=p[first],
        count=np.maximum.reduceat(n, first),
    )


def sentence(gap_s: float = BURST_GAP_S) -> str:
    """The rule of `group`, to be printed wherever sequences are shown."""
    _check_gap("gap_s", gap_s)
    return f"Pictures of one deployment at most {wording.exactly(gap_s)} apart are one sequence."

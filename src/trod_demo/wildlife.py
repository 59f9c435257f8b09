"""The species that come to Eskerwold, with when and how they move. Real species; sizes are round, from memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Species:
    """One kind of animal, as the demo needs it.

    key : the demo's own short name. shoulder_m, length_m : adult withers height and head-to-rump length. [m]
    juvenile_scale : size of the young when they come, by the adult's. female_scale : the female's by the
    male's. hours : weight of each hour 0..23 of a day whose sun rises at 6 and sets at 18. months : weight
    of each month, January first. herd : (group size, weight) pairs. male_share, juvenile_share : of the
    animals that come. sexes_shown : whether a person can usually tell the sex from a picture.
    walk_mps, trot_mps, run_mps : usual speeds. [m/s]
    """

    key: str
    common: str
    scientific: str
    shoulder_m: float
    length_m: float
    hours: tuple[float, ...]
    months: tuple[float, ...]
    herd: tuple[tuple[int, float], ...]
    female_scale: float
    juvenile_scale: float
    male_share: float
    juvenile_share: float
    sexes_shown: bool
    walk_mps: float
    trot_mps: float
    run_mps: float
    gait_mix: tuple[float, float, float]
    sensitive: bool = False


def _hours(*peaks: tuple[float, float, float], floor: float = 0.03) -> tuple[float, ...]:
    """Weights of 24 hours from bumps on the circle: (hour, width in hours, height)."""
    h = np.arange(24) + 0.5
    w = np.full(24, floor)
    for at, width, height in peaks:
        apart = (h - at + 12) % 24 - 12
        w += height * np.exp(-0.5 * (apart / width) ** 2)
    return tuple(round(float(x), 4) for x in w / w.sum())


# Hours of a day whose sun rises at 6 and sets at 18; the story stretches them to the real day.
_DUSKY = _hours((6.0, 1.5, 1.0), (18.2, 1.6, 1.0), (1.0, 3.5, 0.35), (12.0, 3.0, 0.18))
_NIGHT = _hours((23.5, 3.0, 1.0), (3.5, 2.0, 0.6), floor=0.01)
_DAY = _hours((8.5, 2.0, 1.0), (15.0, 2.5, 0.7), floor=0.0)
_EVEN = (1.0,) * 12

SPECIES: tuple[Species, ...] = (
    Species(
        "red_deer",
        "Red deer",
        "Cervus elaphus",
        1.20,
        2.00,
        _DUSKY,
        (1.1, 1.1, 1.0, 0.9, 0.8, 0.8, 0.8, 1.0, 1.6, 1.5, 1.0, 1.1),
        ((1, 3), (2, 3), (3, 2.5), (4, 1.5), (6, 1)),
        0.88,
        0.66,
        0.32,
        0.22,
        True,
        1.2,
        3.2,
        7.5,
        (0.86, 0.10, 0.04),
    ),
    Species(
        "roe_deer",
        "Roe deer",
        "Capreolus capreolus",
        0.70,
        1.15,
        _DUSKY,
        (0.8, 0.8, 0.9, 1.1, 1.3, 1.2, 1.4, 1.2, 0.9, 0.8, 0.8, 0.8),
        ((1, 6), (2, 3), (3, 1)),
        0.97,
        0.68,
        0.42,
        0.18,
        True,
        1.1,
        3.0,
        7.0,
        (0.85, 0.10, 0.05),
    ),
    Species(
        "wild_boar",
        "Wild boar",
        "Sus scrofa",
        0.78,
        1.45,
        _NIGHT,
        (0.9, 0.9, 1.0, 1.1, 1.2, 1.1, 1.1, 1.2, 1.2, 1.2, 1.1, 0.9),
        ((1, 3), (2, 2), (4, 2), (6, 1.5), (8, 0.8)),
        0.88,
        0.50,
        0.35,
        0.40,
        True,
        1.1,
        3.0,
        6.0,
        (0.75, 0.20, 0.05),
    ),
    Species(
        "red_fox",
        "Red fox",
        "Vulpes vulpes",
        0.38,
        0.72,
        _hours((20.5, 2.6, 1.0), (4.5, 2.0, 0.8), (8.0, 1.8, 0.2)),
        (1.2, 1.2, 1.1, 1.0, 1.1, 1.2, 1.1, 1.0, 1.0, 1.0, 1.0, 1.1),
        ((1, 14), (2, 1)),
        0.94,
        0.62,
        0.5,
        0.10,
        False,
        1.0,
        2.6,
        6.0,
        (0.50, 0.45, 0.05),
    ),
    Species(
        "badger",
        "European badger",
        "Meles meles",
        0.30,
        0.75,
        _NIGHT,
        (0.1, 0.2, 0.8, 1.2, 1.4, 1.4, 1.4, 1.3, 1.2, 1.0, 0.5, 0.2),
        ((1, 7), (2, 2), (3, 1)),
        0.96,
        0.62,
        0.5,
        0.15,
        False,
        0.9,
        2.0,
        4.0,
        (0.80, 0.20, 0.0),
    ),
    Species(
        "brown_hare",
        "Brown hare",
        "Lepus europaeus",
        0.29,
        0.60,
        _hours((19.5, 2.0, 1.0), (5.0, 1.8, 1.0), (0.5, 3.0, 0.5)),
        (0.8, 1.1, 1.5, 1.4, 1.2, 1.1, 1.0, 0.9, 0.8, 0.8, 0.8, 0.8),
        ((1, 8), (2, 2)),
        1.0,
        0.65,
        0.5,
        0.08,
        False,
        0.7,
        2.5,
        8.0,
        (0.70, 0.15, 0.15),
    ),
    Species(
        "grey_wolf",
        "Grey wolf",
        "Canis lupus",
        0.75,
        1.25,
        _NIGHT,
        (1.4, 1.4, 1.3, 0.8, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3),
        ((1, 4), (2, 3), (4, 1)),
        0.92,
        0.70,
        0.5,
        0.08,
        False,
        1.4,
        2.8,
        7.0,
        (0.35, 0.60, 0.05),
        True,
    ),
    Species(
        "lynx",
        "Eurasian lynx",
        "Lynx lynx",
        0.62,
        1.00,
        _NIGHT,
        (1.3, 1.6, 1.7, 1.0, 0.8, 0.7, 0.7, 0.8, 0.9, 1.0, 1.0, 1.2),
        ((1, 9), (2, 1)),
        0.90,
        0.62,
        0.5,
        0.10,
        False,
        1.1,
        2.5,
        6.0,
        (0.92, 0.06, 0.02),
        True,
    ),
    Species(
        "pine_marten",
        "Pine marten",
        "Martes martes",
        0.17,
        0.48,
        _NIGHT,
        _EVEN,
        ((1, 1),),
        0.90,
        0.70,
        0.5,
        0.05,
        False,
        0.9,
        2.4,
        4.5,
        (0.45, 0.40, 0.15),
    ),
    Species(
        "jay",
        "Eurasian jay",
        "Garrulus glandarius",
        0.19,
        0.34,
        _DAY,
        (0.7, 0.7, 0.8, 0.9, 0.9, 0.8, 0.9, 1.1, 1.5, 1.6, 1.1, 0.8),
        ((1, 4), (2, 1)),
        1.0,
        0.9,
        0.5,
        0.0,
        False,
        0.4,
        1.0,
        3.0,
        (0.85, 0.15, 0.0),
    ),
)
SPECIES_BY_KEY = {s.key: s for s in SPECIES}

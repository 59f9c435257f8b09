"""Who comes by: a body, the ways it moves, and how warm it stands out.

Sizes and speeds of particular species stand with the reserve's species; those below are the round figures
that the models were tried with. They are assumed, not published.
"""

from __future__ import annotations

from dataclasses import dataclass

from trod.errors import WrongInput, positive


@dataclass(frozen=True, kw_only=True)
class Body:
    """An animal's trunk as a box: length along its way, width, height. [m]"""

    length_m: float
    width_m: float
    height_m: float

    def __post_init__(self) -> None:
        positive("length_m", self.length_m)
        positive("width_m", self.width_m, needed="a number of metres, 0 or more", zero=True)
        positive("height_m", self.height_m)

    @property
    def side_area_m2(self) -> float:
        """Length times height: what the sensor sees of an animal that crosses. [m²]"""
        return self.length_m * self.height_m


@dataclass(frozen=True, kw_only=True)
class Gait:
    """One way of going: its share of all passes and its lognormal speed.

    median_mps : half the passes are slower. [m/s] sigma_ln : standard deviation of ln(speed).
    """

    share: float
    median_mps: float
    sigma_ln: float = 0.25

    def __post_init__(self) -> None:
        positive("share", self.share, needed="a share, 0 or more", zero=True)
        positive("median_mps", self.median_mps)
        positive("sigma_ln", self.sigma_ln, needed="a number, 0 or more", zero=True)


@dataclass(frozen=True, kw_only=True)
class Passer:
    """One kind of animal (or a person) as it passes a camera.

    gaits : at least one; their shares are imported proportion. pause_chance : of standing still once while
    near the camera. pause_mean_s : of that pause, exponential. [s]
    """

    name: str
    body: Body
    gaits: tuple[Gait, ...]
    pause_chance: float = 0.0
    pause_mean_s: float = 5.0

    def __post_init__(self) -> None:
        if not self.gaits or not sum(gait.share for gait in self.gaits) > 0:
            raise WrongInput("gaits", got=self.gaits, needed="at least one way of going with a share above 0")
        if not 0 <= self.pause_chance <= 1:
            raise WrongInput("pause_chance", got=self.pause_chance, needed="a chance from 0 to 1")
        positive("pause_mean_s", self.pause_mean_s)


WALK = Gait(share=0.80, median_mps=1.2, sigma_ln=0.30)
TROT = Gait(share=0.15, median_mps=3.5, sigma_ln=0.25)
RUN = Gait(share=0.05, median_mps=7.0, sigma_ln=0.20)
MIXED = (WALK, TROT, RUN)

# All assumed. The trunk of a deer is chosen so that its side is the sensor's reference body, 0.83 m².
DEER = Passer(name="deer-sized", body=Body(length_m=1.5, width_m=0.4, height_m=0.5533), gaits=MIXED)
ELK = Passer(name="elk-sized", body=Body(length_m=2.1, width_m=0.6, height_m=0.75), gaits=MIXED)
FOX = Passer(
    name="fox-sized",
    body=Body(length_m=0.68, width_m=0.18, height_m=0.30),
    gaits=(
        Gait(share=0.5, median_mps=1.0, sigma_ln=0.3),
        Gait(share=0.45, median_mps=2.6, sigma_ln=0.25),
        Gait(share=0.05, median_mps=6.0, sigma_ln=0.2),
    ),
)
HARE = Passer(
    name="hare-sized",
    body=Body(length_m=0.45, width_m=0.15, height_m=0.136),
    gaits=(
        Gait(share=0.7, median_mps=0.7, sigma_ln=0.35),
        Gait(share=0.15, median_mps=2.5, sigma_ln=0.25),
        Gait(share=0.15, median_mps=8.0, sigma_ln=0.25),
    ),
)
PERSON = Passer(
    name="a person on foot",
    body=Body(length_m=0.35, width_m=0.5, height_m=1.7),
    gaits=(
        Gait(share=0.9, median_mps=1.3, sigma_ln=0.2),
        Gait(share=0.1, median_mps=3.0, sigma_ln=0.25),
    ),
)

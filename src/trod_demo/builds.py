"""How each four-footed kind is built: ours, drawn by eye in units of the shoulder height (see `bodies`)."""

from __future__ import annotations

from dataclasses import dataclass

from trod_demo.bodies import Colour


@dataclass(frozen=True)
class Build:
    """A four-legged species' shape in units of the shoulder height."""

    spine: tuple[tuple[float, float, float], ...]
    """(x, y of the centre, vertical radius) from rump to chest; the one marked by `withers` tops at y = 1."""
    withers: int
    width: float
    hip: tuple[float, float]
    shoulder: tuple[float, float]
    track: float
    thigh_r: float
    leg_r: float
    hoof_r: float
    hind_cannon: float
    fore_upper: float
    neck: tuple[float, float]
    """radius at the base and at the head"""
    neck_up: dict[str, tuple[float, float]]
    """where the head joins, by pose: offset from the chest's end"""
    head: tuple[float, float, float, float]
    """skull radius, muzzle length, muzzle radius, droop of the muzzle"""
    ear: tuple[float, float, float]
    """length, radius, backward lean"""
    tail: tuple[tuple[float, float, float], ...]
    """offsets from the rump's end with radii"""
    coat: dict[str, tuple[Colour, Colour, Colour, Colour, Colour]]
    """season -> back, belly, legs, head, tail"""
    hair: float = 0.10
    shine: Colour = (235, 245, 240)
    stripes: str = ""
    crouch: float = 0.0
    tail_tip: Colour | None = None
    ear_tip: Colour | None = None
    muzzle_tint: Colour | None = None
    throat: Colour | None = None
    rump: Colour | None = None


BUILDS: dict[str, Build] = {
    "red_deer": Build(
        spine=(
            (-0.56, 0.72, 0.19),
            (-0.42, 0.745, 0.235),
            (-0.12, 0.715, 0.235),
            (0.20, 0.715, 0.262),
            (0.42, 0.735, 0.265),
            (0.56, 0.73, 0.20),
        ),
        withers=4,
        width=0.62,
        hip=(-0.46, 0.72),
        shoulder=(0.42, 0.66),
        track=0.085,
        thigh_r=0.155,
        leg_r=0.058,
        hoof_r=0.030,
        hind_cannon=0.30,
        fore_upper=0.30,
        neck=(0.165, 0.085),
        neck_up={"walk": (0.30, 0.38), "alert": (0.20, 0.50), "feed": (0.40, -0.48), "run": (0.34, 0.34)},
        head=(0.088, 0.235, 0.043, 0.42),
        ear=(0.155, 0.040, -0.75),
        tail=((-0.05, 0.03, 0.035), (-0.09, -0.10, 0.028)),
        coat={
            "summer": ((134, 88, 56), (138, 108, 80), (112, 80, 56), (128, 90, 62), (180, 146, 104)),
            "winter": ((112, 92, 72), (92, 78, 64), (84, 68, 54), (112, 96, 78), (176, 150, 112)),
        },
        hair=0.10,
        muzzle_tint=(52, 44, 40),
        rump=(206, 176, 126),
    ),
    "roe_deer": Build(
        spine=(
            (-0.58, 0.76, 0.185),
            (-0.44, 0.795, 0.245),
            (-0.14, 0.745, 0.225),
            (0.16, 0.735, 0.235),
            (0.40, 0.765, 0.235),
            (0.54, 0.76, 0.175),
        ),
        withers=4,
        width=0.62,
        hip=(-0.47, 0.76),
        shoulder=(0.40, 0.68),
        track=0.085,
        thigh_r=0.150,
        leg_r=0.052,
        hoof_r=0.027,
        hind_cannon=0.33,
        fore_upper=0.30,
        neck=(0.125, 0.078),
        neck_up={"walk": (0.24, 0.40), "alert": (0.13, 0.50), "feed": (0.36, -0.50), "run": (0.28, 0.36)},
        head=(0.098, 0.185, 0.048, 0.46),
        ear=(0.20, 0.052, -0.45),
        tail=((-0.02, -0.01, 0.03), (-0.03, -0.05, 0.02)),
        coat={
            "summer": ((156, 94, 52), (166, 122, 82), (140, 88, 54), (140, 92, 60), (214, 192, 152)),
            "winter": ((112, 100, 86), (126, 114, 98), (98, 86, 72), (108, 94, 80), (240, 236, 226)),
        },
        hair=0.10,
        muzzle_tint=(30, 28, 28),
        rump=(238, 230, 214),
    ),
    "wild_boar": Build(
        spine=(
            (-0.72, 0.60, 0.24),
            (-0.54, 0.645, 0.29),
            (-0.18, 0.655, 0.315),
            (0.16, 0.665, 0.33),
            (0.42, 0.67, 0.33),
            (0.66, 0.63, 0.27),
        ),
        withers=4,
        width=0.66,
        hip=(-0.58, 0.56),
        shoulder=(0.46, 0.54),
        track=0.13,
        thigh_r=0.190,
        leg_r=0.072,
        hoof_r=0.044,
        hind_cannon=0.20,
        fore_upper=0.22,
        neck=(0.275, 0.185),
        neck_up={"walk": (0.27, -0.055), "alert": (0.27, 0.03), "feed": (0.25, -0.20), "run": (0.30, 0.02)},
        head=(0.165, 0.42, 0.062, 0.46),
        ear=(0.15, 0.055, -0.30),
        tail=((-0.06, 0.02, 0.03), (-0.10, -0.14, 0.018), (-0.09, -0.30, 0.026)),
        coat={
            "summer": ((66, 56, 48), (58, 50, 44), (36, 31, 28), (62, 53, 46), (40, 34, 30)),
            "winter": ((52, 46, 41), (46, 41, 37), (28, 25, 23), (54, 47, 42), (30, 27, 25)),
        },
        hair=0.22,
        shine=(225, 225, 215),
        muzzle_tint=(92, 76, 70),
    ),
    "red_fox": Build(
        spine=(
            (-0.66, 0.69, 0.165),
            (-0.50, 0.715, 0.20),
            (-0.14, 0.715, 0.195),
            (0.20, 0.735, 0.215),
            (0.44, 0.775, 0.225),
            (0.60, 0.785, 0.185),
        ),
        withers=4,
        width=0.66,
        hip=(-0.52, 0.66),
        shoulder=(0.44, 0.64),
        track=0.10,
        thigh_r=0.145,
        leg_r=0.062,
        hoof_r=0.042,
        hind_cannon=0.26,
        fore_upper=0.28,
        neck=(0.185, 0.130),
        neck_up={"walk": (0.21, 0.17), "alert": (0.14, 0.30), "feed": (0.26, -0.40), "run": (0.24, 0.12)},
        head=(0.150, 0.275, 0.045, 0.28),
        ear=(0.215, 0.070, -0.12),
        tail=((-0.16, -0.04, 0.075), (-0.48, -0.18, 0.135), (-0.82, -0.30, 0.130), (-1.06, -0.34, 0.055)),
        coat={
            "summer": ((176, 92, 40), (196, 168, 140), (58, 42, 36), (182, 98, 44), (164, 92, 48)),
            "winter": ((184, 100, 46), (204, 184, 160), (60, 44, 38), (188, 104, 50), (172, 100, 56)),
        },
        hair=0.14,
        tail_tip=(238, 232, 222),
        ear_tip=(40, 32, 30),
        throat=(232, 222, 208),
        muzzle_tint=(40, 34, 32),
    ),
    "grey_wolf": Build(
        spine=(
            (-0.56, 0.70, 0.165),
            (-0.42, 0.735, 0.205),
            (-0.12, 0.725, 0.200),
            (0.18, 0.725, 0.235),
            (0.40, 0.745, 0.255),
            (0.54, 0.755, 0.205),
        ),
        withers=4,
        width=0.60,
        hip=(-0.45, 0.68),
        shoulder=(0.40, 0.64),
        track=0.085,
        thigh_r=0.155,
        leg_r=0.068,
        hoof_r=0.048,
        hind_cannon=0.27,
        fore_upper=0.28,
        neck=(0.215, 0.150),
        neck_up={"walk": (0.27, 0.10), "alert": (0.18, 0.26), "feed": (0.30, -0.40), "run": (0.30, 0.06)},
        head=(0.150, 0.255, 0.065, 0.22),
        ear=(0.145, 0.055, -0.15),
        tail=((-0.08, -0.04, 0.06), (-0.22, -0.24, 0.085), (-0.30, -0.48, 0.06)),
        coat={
            "summer": ((116, 106, 92), (162, 150, 132), (150, 134, 112), (126, 112, 94), (96, 86, 76)),
            "winter": ((122, 116, 106), (176, 168, 154), (162, 148, 128), (134, 124, 110), (92, 86, 80)),
        },
        hair=0.18,
        throat=(206, 198, 184),
        ear_tip=(72, 64, 58),
        muzzle_tint=(38, 36, 36),
        tail_tip=(36, 34, 34),
    ),
    "lynx": Build(
        spine=(
            (-0.54, 0.76, 0.185),
            (-0.40, 0.795, 0.225),
            (-0.12, 0.745, 0.200),
            (0.18, 0.735, 0.215),
            (0.40, 0.765, 0.235),
            (0.54, 0.775, 0.190),
        ),
        withers=4,
        width=0.62,
        hip=(-0.44, 0.74),
        shoulder=(0.40, 0.66),
        track=0.095,
        thigh_r=0.175,
        leg_r=0.082,
        hoof_r=0.064,
        hind_cannon=0.27,
        fore_upper=0.28,
        neck=(0.185, 0.155),
        neck_up={"walk": (0.21, 0.10), "alert": (0.15, 0.24), "feed": (0.26, -0.36), "run": (0.25, 0.06)},
        head=(0.158, 0.105, 0.082, 0.30),
        ear=(0.150, 0.052, 0.02),
        tail=((-0.07, -0.04, 0.05), (-0.17, -0.14, 0.048)),
        coat={
            "summer": ((168, 128, 86), (214, 196, 168), (178, 146, 108), (170, 132, 92), (150, 112, 76)),
            "winter": ((166, 146, 120), (216, 206, 188), (176, 158, 132), (168, 148, 122), (150, 130, 106)),
        },
        hair=0.13,
        ear_tip=(28, 26, 26),
        throat=(224, 214, 196),
        tail_tip=(28, 26, 26),
        stripes="spots",
        shine=(255, 245, 205),
    ),
    "badger": Build(
        spine=(
            (-1.02, 0.56, 0.24),
            (-0.76, 0.62, 0.31),
            (-0.28, 0.655, 0.335),
            (0.20, 0.655, 0.335),
            (0.56, 0.665, 0.335),
            (0.86, 0.58, 0.24),
        ),
        withers=4,
        width=0.86,
        hip=(-0.78, 0.46),
        shoulder=(0.58, 0.46),
        track=0.22,
        thigh_r=0.180,
        leg_r=0.110,
        hoof_r=0.085,
        hind_cannon=0.14,
        fore_upper=0.16,
        neck=(0.235, 0.175),
        neck_up={"walk": (0.26, -0.10), "alert": (0.24, 0.04), "feed": (0.22, -0.22), "run": (0.28, -0.06)},
        head=(0.185, 0.36, 0.060, 0.34),
        ear=(0.085, 0.050, -0.35),
        tail=((-0.14, 0.0, 0.09), (-0.36, -0.08, 0.055)),
        coat={
            "summer": ((134, 130, 122), (44, 40, 38), (30, 28, 27), (232, 228, 218), (170, 164, 150)),
            "winter": ((140, 136, 128), (46, 42, 40), (30, 28, 27), (234, 230, 220), (176, 170, 156)),
        },
        hair=0.22,
        stripes="badger",
        ear_tip=(236, 232, 224),
        muzzle_tint=(40, 36, 34),
    ),
    "pine_marten": Build(
        spine=(
            (-1.06, 0.66, 0.20),
            (-0.84, 0.72, 0.245),
            (-0.30, 0.66, 0.225),
            (0.24, 0.665, 0.235),
            (0.72, 0.755, 0.245),
            (1.00, 0.755, 0.20),
        ),
        withers=4,
        width=0.80,
        hip=(-0.86, 0.58),
        shoulder=(0.72, 0.58),
        track=0.16,
        thigh_r=0.200,
        leg_r=0.100,
        hoof_r=0.078,
        hind_cannon=0.18,
        fore_upper=0.22,
        neck=(0.205, 0.165),
        neck_up={"walk": (0.36, 0.24), "alert": (0.24, 0.50), "feed": (0.36, -0.20), "run": (0.40, 0.14)},
        head=(0.190, 0.27, 0.070, 0.24),
        ear=(0.150, 0.095, -0.10),
        tail=((-0.22, 0.02, 0.11), (-0.80, -0.14, 0.165), (-1.36, -0.26, 0.14), (-1.56, -0.26, 0.06)),
        coat={
            "summer": ((92, 60, 40), (104, 74, 54), (58, 40, 30), (104, 70, 48), (72, 48, 34)),
            "winter": ((104, 72, 50), (120, 92, 70), (64, 46, 36), (118, 84, 60), (80, 56, 40)),
        },
        hair=0.16,
        throat=(230, 206, 146),
        ear_tip=(214, 196, 160),
        muzzle_tint=(40, 30, 28),
    ),
    "brown_hare": Build(
        spine=(
            (-0.72, 0.50, 0.25),
            (-0.52, 0.64, 0.34),
            (-0.18, 0.72, 0.305),
            (0.16, 0.70, 0.265),
            (0.42, 0.735, 0.265),
            (0.56, 0.76, 0.20),
        ),
        withers=4,
        width=0.72,
        hip=(-0.48, 0.56),
        shoulder=(0.42, 0.56),
        track=0.13,
        thigh_r=0.250,
        leg_r=0.068,
        hoof_r=0.055,
        hind_cannon=0.36,
        fore_upper=0.26,
        neck=(0.185, 0.150),
        neck_up={"walk": (0.20, 0.26), "alert": (0.14, 0.46), "feed": (0.26, -0.26), "run": (0.26, 0.16)},
        head=(0.165, 0.19, 0.092, 0.40),
        ear=(0.50, 0.056, -0.34),
        tail=((-0.06, 0.08, 0.08), (-0.14, 0.12, 0.07)),
        coat={
            "summer": ((146, 112, 74), (216, 204, 184), (164, 124, 80), (150, 118, 80), (228, 222, 212)),
            "winter": ((142, 118, 90), (220, 212, 196), (158, 128, 92), (148, 124, 94), (232, 228, 220)),
        },
        hair=0.18,
        ear_tip=(30, 27, 25),
        shine=(255, 214, 190),
        crouch=0.0,
        throat=(206, 184, 150),
    ),
}

"""How well the two ways of judging a camera's resolution do, on made pictures of which everything is known.

Run:  PYTHONPATH=src python benchmarks/resolution.py [--edges] [--target] [--native] [--enlarged] [--reduced]
      [--photos FOLDER] [--speed]

--edges   effective megapixels of an enlarged 5-megapixel picture, by lens, demosaic, kernel, sharpening
--target  half response of the printed target by distance, turn, noise, JPEG; with and without infrared
--native, --enlarged, --reduced  false alarms and hits of the resampling test; 200 native pictures take minutes
--photos  the same test on real photographs in a folder, as they are and enlarged
--speed   seconds a picture

The tables in docs/models/resolution.md come from here. Made pictures are not photographs: see there what that
leaves open.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests" / "support"), str(ROOT)]

import native_camera as made  # noqa: E402

from trod.pictures import edge, light, resampled, resolution  # noqa: E402

KERNELS = (Image.Resampling.BILINEAR, Image.Resampling.BICUBIC, Image.Resampling.LANCZOS)
DEMOSAICS: tuple[made.Demosaic, ...] = ("none", "gradient", "bilinear")
Levels = NDArray[np.uint8]


def edges() -> None:
    """Effective megapixels of 5 native ones, saved as they are and enlarged to 20."""
    rng = np.random.default_rng(2)
    print("lens px, demosaic: native | to 20 MP bilinear bicubic lanczos | the same sharpened (effective MP)")
    cells: list[float] = []
    against: list[float] = []
    for lens_px in (0.4, 0.5, 0.6, 0.8, 1.0):
        for demosaic in DEMOSAICS:
            native = _effective(lens_px, demosaic, None, 0.0, rng)
            plain = [_effective(lens_px, demosaic, k, 0.0, rng) for k in KERNELS]
            sharp = [_effective(lens_px, demosaic, k, 1.0, rng) for k in KERNELS]
            cells += plain
            against += [value / native for value in plain]
            print(
                f"{lens_px:.1f} {demosaic:9}: {native:.1f} | "
                + " ".join(f"{v:.1f}" for v in plain) + " | " + " ".join(f"{v:.1f}" for v in sharp)
            )  # fmt: skip
    near = sum(abs(v - 5) <= 1 for v in cells)
    same = sum(abs(v - 1) <= 0.2 for v in against)
    print(f"unsharpened: {near} of {len(cells)} within 20 % of 5; {same} of {len(cells)} within 20 % of the native")


def _effective(
    lens_px: float, demosaic: made.Demosaic, how: Image.Resampling | None, sharpen: float, rng: np.random.Generator
) -> float:
    responses = []
    for tilt_deg in (4, 5.5, 7, 8, 9.5, -5, -7, -9):
        piece = made.edge_piece(sigma_px=0.05, tilt_deg=tilt_deg, side=240, low=0.06, high=0.8, fine=4)
        scene = np.repeat(piece[..., None], 3, 2).astype(np.float32)
        levels: NDArray[np.generic] = made.native(scene, lens_px=lens_px, demosaic=demosaic, noise=2, rng=rng, fine=2)
        if how is not None:
            levels = made.enlarged(levels, (240, 240), how, sharpen=sharpen)
        luma = light.luma_of(made.through_jpeg(levels, 90))
        responses.append(edge.measure_edge(edge.linear_light(luma)))
    response = edge.median_response(responses)
    limit = edge.crossing_cpp(response.frequency_cpp, response.mtf, edge.VANISHING)
    return (20 if how is not None else 5) * min(1.0, 2 * (limit if limit is not None else 0.5)) ** 2


def target() -> None:
    """The printed target photographed: found, half response against its closed form, effective share."""
    from tests.pictures import test_resolution as shots

    print("distance turns lens noise JPEG light: found edges, MTF50 (closed), effective share, squares px")
    for distance_m in (2.0, 3.0, 4.0, 5.0, 6.0):
        for infrared in (False, True):
            for turns in ((0.0, 0.0, 0.0), (10.0, 5.0, 3.0)):
                pixels = shots.photograph(
                    distance_m=distance_m, turns_deg=turns, lens_px=0.7, demosaic="none", noise=3.0,
                    infrared=infrared, quality=85,
                )  # fmt: skip
                found = resolution.measure_target([pixels], distance_m=distance_m)
                f = edge.FREQUENCIES_CPP
                closed = edge.gaussian_mtf(f, sigma_px=math.hypot(0.7, 0.35 / 2)) * edge.pixel_mtf(f)
                wanted = edge.crossing_cpp(f, closed, 0.5) or 0.0
                print(
                    f"{distance_m:.0f} m {turns} {'infrared' if infrared else 'day'}: {found.edges} edges, "
                    f"{found.mtf50_cpp:.3f} ({wanted:.3f}), "
                    f"{found.effective_megapixels[1] / found.saved_megapixels:.2f}, "
                    f"{90 * max(found.found.px_per_mm):.0f} px, view {found.view_deg:.1f}"
                )


# --- traces ---------------------------------------------------------------------------------------

NATIVE_SIZE, SMALL_SIZE = (3264, 2448), (2592, 1944)  # 8.0 and 5.0 megapixels


def _scenes(size: tuple[int, int], count: int, seed: int) -> Iterator[NDArray[np.float32]]:
    for i in range(count):
        yield made.scene(size[1], size[0], np.random.default_rng(seed + i))


def native_traces(cameras: int) -> None:
    """False alarms: native pictures of 8 megapixels, five a camera, by picture and by the vote of five."""
    rng = np.random.default_rng(33)
    scenes = list(_scenes(NATIVE_SIZE, 5, 100))
    kinds: Counter[str] = Counter()
    votes: Counter[str] = Counter()
    strongest = []
    for camera in range(cameras):
        lens_px, noise = float(rng.uniform(0.4, 2.0)), float(rng.uniform(1, 12))
        demosaic, quality = DEMOSAICS[camera % 3], int(rng.choice([75, 85, 90, 95]))
        seen = []
        for scene in scenes:
            view = scene[:: rng.choice([1, -1]), :: rng.choice([1, -1])]
            levels = made.native(view, lens_px=lens_px, demosaic=demosaic, noise=noise, rng=rng)
            seen.append(resampled.trace_of(light.luma_of(made.through_jpeg(levels, quality))))
        kinds.update(t.trace for t in seen)
        strongest += [max(t.line1, t.line2) for t in seen]
        votes[resampled.vote(seen).verdict] += 1
        print(f"after {5 * camera + 5} native pictures: {dict(kinds)}", file=sys.stderr, flush=True)
    print(f"native {NATIVE_SIZE}, {5 * cameras} pictures: {dict(kinds)}; votes of {cameras}: {dict(votes)}")
    print(f"  strongest candidate line: median {np.median(strongest):.1f}, largest {max(strongest):.1f}", flush=True)


def enlarged_traces() -> None:
    """Hits: 5 megapixels enlarged, three cameras (one a kernel) of five pictures in each row."""
    rng = np.random.default_rng(34)
    scenes = list(_scenes(SMALL_SIZE, 5, 200))
    for name, size in {"12 MP": (4000, 3000), "twice": (5184, 3888), "20 MP": (5120, 3840)}.items():
        for demosaic in DEMOSAICS:
            kinds: Counter[str] = Counter()
            votes: Counter[str] = Counter()
            right = wrong = vote_right = vote_wrong = 0
            for how, quality, sharpen in zip(KERNELS, (95, 85, 90), (0.0, 0.0, 0.8), strict=True):
                seen = []
                lens_px = float(rng.uniform(0.4, 1.1))
                for scene in scenes:
                    levels = made.native(scene, lens_px=lens_px, demosaic=demosaic, noise=2.0, rng=rng)
                    big = made.enlarged(levels, size, how, sharpen=sharpen)
                    seen.append(resampled.trace_of(light.luma_of(made.through_jpeg(big, quality))))
                kinds.update(t.trace for t in seen)
                numbers = [t.native_megapixels for t in seen if t.native_megapixels is not None]
                right += sum(abs(v / 5.04 - 1) <= 0.2 for v in numbers)
                wrong += sum(abs(v / 5.04 - 1) > 0.2 for v in numbers)
                verdict = resampled.vote(seen)
                votes[verdict.verdict] += 1
                if verdict.native_megapixels is not None:
                    vote_right += abs(verdict.native_megapixels / 5.04 - 1) <= 0.2
                    vote_wrong += abs(verdict.native_megapixels / 5.04 - 1) > 0.2
            print(
                f"5 MP to {name}, {demosaic}: pictures {dict(kinds)}, number right {right} wrong {wrong}; "
                f"votes {dict(votes)}, number right {vote_right} wrong {vote_wrong}",
                flush=True,
            )


def reduced_traces() -> None:
    """A picture made smaller is resampled, too; the verdict may say so but must give no larger native size."""
    rng = np.random.default_rng(35)
    kinds: Counter[str] = Counter()
    votes: Counter[str] = Counter()
    numbers = 0
    scenes = list(_scenes((4000, 3000), 5, 300))
    for i, share in enumerate((0.65, 0.75, 0.8, 0.87)):
        seen = []
        for scene in scenes:
            levels = made.native(scene, lens_px=0.7, demosaic=DEMOSAICS[i % 3], noise=2.0, rng=rng)
            small = made.enlarged(levels, (round(4000 * share), round(3000 * share)), KERNELS[i % 3])
            seen.append(resampled.trace_of(light.luma_of(made.through_jpeg(small, 90))))
        kinds.update(t.trace for t in seen)
        votes[resampled.vote(seen).verdict] += 1
        numbers += sum(t.native_megapixels is not None for t in seen)
    print(f"12 MP reduced to .65 to .87, 20 pictures: {dict(kinds)}, numbers {numbers}; votes {dict(votes)}", flush=True)


def photos(folder: Path) -> None:
    """Real photographs as they are, and enlarged 1.55, 1.9, 2 and 2.7 times; those under 512 pixels left out."""
    kinds: Counter[str] = Counter()
    bigger: Counter[str] = Counter()
    right = wrong = n = 0
    for path in sorted(folder.iterdir()):
        try:
            pixels = resolution.read_levels(path)
        except Exception as why:
            print("left out:", path.name, why)
            continue
        luma = light.luma_of(pixels)
        if min(luma.shape) >= 512:
            found = resampled.trace_of(luma)
            kinds[found.trace] += 1
            print(f"{path.name} {luma.shape[1]} × {luma.shape[0]}: {found.trace}")
        n += 1
        for factor in (1.55, 1.9, 2.0, 2.7):
            size = round(luma.shape[1] * factor), round(luma.shape[0] * factor)
            if min(size) < 512:
                continue
            for how in KERNELS:
                big = made.through_jpeg(made.enlarged(pixels, size, how), 90)
                found = resampled.trace_of(light.luma_of(big))
                bigger[("twice: " if factor == 2.0 else "other: ") + found.trace] += 1
                if found.native_megapixels is not None:
                    good = abs(found.native_megapixels * 1e6 / luma.size - 1) <= 0.2
                    right, wrong = right + good, wrong + (not good)
    print(f"{n} photographs as they are: {dict(kinds)}; enlarged: {dict(bigger)}; number right {right}, wrong {wrong}")


def speed() -> None:
    """Seconds a picture, processor time."""
    rng = np.random.default_rng(1)
    for size in ((4000, 3000), (5184, 3888), (6400, 4800)):
        luma = light.luma_of(np.rint(255 * made.scene(size[1], size[0], rng, things=0.1)).astype(np.uint8))
        start = time.process_time()
        resampled.trace_of(luma)
        print(f"{size}: resampling test {time.process_time() - start:.2f} s")


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("edges", "target", "native", "enlarged", "reduced", "speed"):
        parser.add_argument(f"--{name}", action="store_true")
    parser.add_argument("--photos", type=Path)
    parser.add_argument("--cameras", type=int, default=40, help="native cameras, five pictures each")
    asked = parser.parse_args()
    if asked.edges:
        edges()
    if asked.target:
        target()
    if asked.native:
        native_traces(asked.cameras)
    if asked.enlarged:
        enlarged_traces()
    if asked.reduced:
        reduced_traces()
    if asked.photos:
        photos(asked.photos)
    if asked.speed:
        speed()


if __name__ == "__main__":
    main()

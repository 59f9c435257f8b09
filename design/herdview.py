"""Makes src/trod/planning/catch/herdview.csv: shares of a herd seen by view, patch, threshold, herd and height.

    python design/herdview.py [ANIMALS]

ANIMALS (40000 unless told otherwise) is how many animals are looked at for each herd and patch.
On one core 40000, as shipped, took about eight minutes on a busy machine. The seed is fixed, so the same
numbers come again.
"""

from __future__ import annotations

import sys
from pathlib import Path

from trod.planning.catch import herdview as hv

OUT = Path(__file__).resolve().parents[1] / "src" / "trod" / "planning" / "catch" / "herdview.csv"


def main(animals: int) -> None:
    """Run all herds on all patches and write the table."""
    lines: list[str] = []
    worst = 0.0
    for p, (width, depth) in enumerate(hv.PATCHES_M):
        for n, herd in enumerate(hv.HERDS):
            if not hv.fits(herd, width_m=width, depth_m=depth):
                continue
            scenes = max(150, round(animals / herd))
            if herd == 1:
                scenes = 150  # nobody hides one animal
            found = hv.simulate(herd, width_m=width, depth_m=depth, scenes=scenes, seed=1000 * p + n)
            worst = max(worst, float(found.standard_error.max()))
            for v, view in enumerate(hv.VIEWS_DEG):
                for t, threshold in enumerate(hv.SEEN):
                    shares = ",".join(f"{x:.4f}" for x in found.share[v, t])
                    lines.append(f"{view:g},{width:g},{depth:g},{threshold:g},{herd},{shares}")
            print(width, depth, herd, scenes, found.share[0, 1].round(3), flush=True)
    heads = ",".join(f"share_at_{h:g}_m" for h in hv.HEIGHTS_M)
    head = [
        "# Share of the animals in view of which at least seen_share of the trunk's silhouette is free.",
        "# Made by design/herdview.py; the model stands in herdview.py. Simulated, not observed.",
        f"# About {animals} animals for each herd and patch; largest standard error {worst:.4f}.",
        f"view_deg,width_m,depth_m,seen_share,herd,{heads}",
    ]
    lines.sort(key=lambda line: [float(x) for x in line.split(",")[:5]])
    OUT.write_text("\n".join(head + lines) + "\n", "utf-8")
    print("largest standard error", worst)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40_000)

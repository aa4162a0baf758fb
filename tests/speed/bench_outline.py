"""How fast and how right outlines are proposed: run `python tests/speed/bench_outline.py [COUNT]`; it asserts nothing.

Drawn photographs by chance, each with a box 10 % larger than the colony. The floor is one bare GrabCut of OpenCV on the
same boxes at the same scale, on the same core; its overlap with the truth stands beside.
"""

import os
import sys
import time
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import cv2  # noqa: E402
import numpy as np  # noqa: E402

from propagation.imaging import open_picture, read_labels  # noqa: E402
from propagation.imaging.drawn import draw_sample  # noqa: E402
from propagation.imaging.errors import ImagingError  # noqa: E402
from propagation.imaging.outline import propose  # noqa: E402
from propagation.imaging.polygons import box_around, outline_mask  # noqa: E402

LARGER = 0.1
GRABCUT_SIDE = 480  # pixels along the box's longer side
ROUNDS_OF_GRABCUT = 5


def grabcut(pixels, box):
    """The mask of the colony by OpenCV alone."""
    height, width = pixels.shape[:2]
    x0, y0, x1, y1 = box
    margin = 0.2 * max(x1 - x0, y1 - y0)
    left, top = int(max(0, x0 - margin)), int(max(0, y0 - margin))
    right, bottom = int(min(width, x1 + margin)), int(min(height, y1 + margin))
    scale = min(1.0, GRABCUT_SIDE / max(x1 - x0, y1 - y0))
    part = cv2.resize(pixels[top:bottom, left:right], None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    place = [round(each * scale) for each in (x0 - left, y0 - top, x1 - x0, y1 - y0)]
    mask = np.zeros(part.shape[:2], np.uint8)
    cv2.grabCut(part, mask, place, None, None, ROUNDS_OF_GRABCUT, cv2.GC_INIT_WITH_RECT)
    whole = np.zeros((height, width), bool)
    found = cv2.resize((mask & 1).astype(np.uint8), (right - left, bottom - top), interpolation=cv2.INTER_NEAREST)
    whole[top:bottom, left:right] = found.astype(bool)
    return whole


def overlap(one, other):
    return (one & other).sum() / (one | other).sum()


def told(name, seconds, shares, floor=None):
    times = f"  {np.median(seconds) / floor:5.2f} × the floor" if floor else "  (the floor)"
    print(
        f"  {name:10} {np.median(seconds):6.3f} s{times}   overlap: median {np.median(shares):.3f}, "
        f"5th percentile {np.percentile(shares, 5):.3f}, least {np.min(shares):.3f}"
    )


def main(count=60):
    """Print the figures."""
    cv2.setNumThreads(1)
    ours, theirs, areas, unsure = [], [], [], 0
    for seed in range(count):
        photo = draw_sample(seed)
        opened = open_picture(photo.jpeg)
        pixels, box = opened.pixels, box_around(photo.outline_px, larger=LARGER)
        truth = outline_mask(photo.outline_px, opened.size_px)
        try:
            labels = [label.corners_px for label in read_labels(opened)]
        except ImagingError:
            labels = []
        start = time.process_time()
        found = propose(pixels, box=box, labels_px=labels)
        taken = time.process_time() - start
        mask = outline_mask(found.points, opened.size_px)
        ours.append((taken, overlap(mask, truth)))
        areas.append(abs(mask.sum() / truth.sum() - 1))
        unsure += not found.is_sure
        start = time.process_time()
        bare = grabcut(pixels, box)
        theirs.append((time.process_time() - start, overlap(bare, truth)))
    floor = np.median([seconds for seconds, _ in theirs])
    print(f"{count} drawn photographs, a box {LARGER:.0%} larger than the colony, one core:")
    told("GrabCut", *zip(*theirs, strict=True))
    told("proposed", *zip(*ours, strict=True), floor=floor)
    print(
        f"  area wrong by {np.median(areas):.2%} in the median, {np.percentile(areas, 95):.2%} at the 95th percentile"
    )
    print(f"  called unsure: {unsure}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)

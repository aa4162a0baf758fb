"""How fast a month's photos are looked into, and how much memory fifty of them need.

    python tests/speed/bench_photos.py [how many]

Drawn photos of 12 megapixels are opened, copied, read, outlined and measured one after the other in one process, as a
worker does. The floor is decoding the same files with Pillow and reading their codes with zxing-cpp. The largest
memory of the process (ru_maxrss) is told after the first photo and after the last: it must not grow with their number.
"""

import io
import multiprocessing
import os
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import zxingcpp
from PIL import Image

from propagation.imaging.drawn import Circumstances, DrawnColony, draw_photo

MOST_MB = 1024
DRAWN = 4  # different ones; more take long to draw and tell nothing more


def photos():
    """Files of 12 megapixels."""
    made = []
    for seed in range(DRAWN):
        drawn = draw_photo(
            text=f"HTTPS://RAMET.EXAMPLE/Q/K7M42QX{seed}",
            label_mm=12.0,
            level="M",
            colony=DrawnColony(longest_mm=60.0, at_mm=(45.0, 8.0), seed=seed),
            circumstances=Circumstances(px_per_module=16.0, tilt_deg=8.0, least_px=(4000, 3000)),
            seed=seed,
        )
        pixels = np.asarray(Image.fromarray(drawn.pixels).resize((4000, 3000)))
        written = io.BytesIO()
        Image.fromarray(pixels).save(written, "JPEG", quality=92)
        made.append(written.getvalue())
    return made


def look_into(data):
    from propagation.actions.measure_photo import propose_outline_in
    from propagation.imaging.measuring import measure, read_labels
    from propagation.imaging.opening import open_picture
    from propagation.picture_copies import SCREEN_SIDE, THUMBNAIL_SIDE, bare_jpeg

    opened = open_picture(data)
    picture = Image.fromarray(opened.pixels)
    for side in (SCREEN_SIDE, THUMBNAIL_SIDE):
        bare_jpeg(picture, longest_side=side)
    read = read_labels(opened)
    proposal = propose_outline_in(opened.pixels, read)
    if proposal is not None:
        measure(opened, outline_px=proposal.points, label_mm=12.0, symbol=read[0])
    return proposal is not None


def floor(data):
    zxingcpp.read_barcodes(np.asarray(Image.open(io.BytesIO(data)).convert("L")))


def timed(act, files):
    began = time.process_time()
    answers = [act(data) for data in files]
    return (time.process_time() - began) / len(files), answers


def most_memory():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(number):
    import django

    django.setup()
    # Drawing needs more memory than looking, so another process does it.
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as drawer:
        drawn = drawer.submit(photos).result()
    files = [drawn[each % DRAWN] for each in range(number)]
    before = most_memory()
    look_into(files[0])
    first = most_memory()
    each, outlined = timed(look_into, files)
    last = most_memory()
    least, _ = timed(floor, files[:8])
    print(f"{number} photos of 12 megapixels, {sum(outlined)} of them outlined without a hand")
    print(f"looked into: {each:.2f} s of processor time each, {each / least:.1f} × decoding and reading alone")
    print(f"memory: {before:.0f} MB before, {first:.0f} MB after one, {last:.0f} MB after {number}")
    if last > MOST_MB:
        raise SystemExit(f"{last:.0f} MB are more than the {MOST_MB} MB that are allowed.")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)

"""How fast photos are measured: run `python tests/speed/bench_imaging.py`; it prints figures and asserts nothing.

A photo of 12 million pixels is measured on one core, beside unpacking its JPEG and one pass of the zxing-cpp decoder
over it, without which no measuring can do; and the memory that a photo of 40 million pixels takes, opened and measured.
"""

import io
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import cv2  # noqa: E402
import numpy as np  # noqa: E402
import zxingcpp  # noqa: E402
from PIL import Image  # noqa: E402

from propagation.imaging import measure, open_picture, read_labels  # noqa: E402
from propagation.imaging.drawn import Circumstances, DrawnColony, draw_photo  # noqa: E402


def take_photo(width, height, px_per_module):
    """A photograph of a size, and its true outline."""
    return draw_photo(
        text="HTTPS://RAMET.EXAMPLE/P/K7M42QXP",
        label_mm=14.0,
        colony=DrawnColony(form="branching", longest_mm=45, at_mm=(50, 8)),
        circumstances=Circumstances(px_per_module=px_per_module, tilt_deg=20, least_px=(width, height)),
    )


def best_of(function, times=3):
    taken = []
    for _ in range(times):
        start = time.process_time()
        function()
        taken.append(time.process_time() - start)
    return min(taken)


def main():
    """Print the figures."""
    cv2.setNumThreads(1)
    photo = take_photo(4000, 3000, 11.0)
    opened = open_picture(photo.jpeg)
    labels = read_labels(opened)

    def measure_all():
        measure(opened, outline_px=photo.outline_px, label_mm=photo.label_mm)

    def measure_again():
        measure(opened, outline_px=photo.outline_px, label_mm=photo.label_mm, symbol=labels[0])

    def floor():
        grey = np.asarray(Image.open(io.BytesIO(photo.jpeg)).convert("L"))
        zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode)

    bare, opening = best_of(floor), best_of(lambda: open_picture(photo.jpeg))
    whole, again = best_of(measure_all), best_of(measure_again)
    print(f"{opened.size_px[0]} × {opened.size_px[1]} pixels, seconds of one core:")
    print(f"  bare JPEG and one pass of the decoder {bare:6.3f}  (the floor)")
    print(f"  opening                               {opening:6.3f}  {opening / bare:5.2f} × the floor")
    print(f"  reading, matching, measuring, colour  {whole:6.3f}  {whole / bare:5.2f} × the floor")
    print(f"  another outline of the same photo     {again:6.3f}  {again / bare:5.2f} × the floor")

    print(f"40 million pixels: {_peak_mb(take_photo(7300, 5475, 14.0).jpeg):.0f} MB at most, opened and measured")


def _peak_mb(data):
    """The largest resident size of a fresh process that opens and measures a photo."""
    code = (
        "import sys; sys.path.insert(0, '.');"
        "import numpy as np; from propagation.imaging import measure, open_picture;"
        "opened = open_picture(open(sys.argv[1], 'rb').read());"
        "width, height = opened.size_px;"
        "outline = np.array([[0.3, 0.3], [0.6, 0.3], [0.6, 0.6], [0.3, 0.6]]) * [width, height];"
        "measure(opened, outline_px=outline, label_mm=14.0);"
        "print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))"
    )
    with tempfile.NamedTemporaryFile(suffix=".jpg") as kept:
        kept.write(data)
        kept.flush()
        root = Path(__file__).resolve().parents[2]
        done = subprocess.run([sys.executable, "-c", code, kept.name], cwd=root, check=True, capture_output=True)
    return int(done.stdout) / 1024


if __name__ == "__main__":
    main()

"""Times our measuring against sep on the same plane, one thread, turn by turn in one run.

Times are processor time of the thread or process, so that other work on the machine does not count
as ours or theirs; what it takes of the caches and the memory it still takes from both.

    python3 -m venv env && env/bin/pip install sep==1.4.1 numpy astropy
    cargo bench --bench against_sep --no-run      # prints the path of the program
    env/bin/python tests/bench/against_sep.py PATH_OF_THE_PROGRAM

sep (LGPL-3.0, BSD-3-Clause and MIT parts) and astropy (BSD-3-Clause) run here only. What sep is
asked for: the background mesh (64 px tiles, 3 x 3 median, as ours) and its subtraction, objects,
their windowed centroids and half-light radii. Windowed second moments, which ours also measures,
sep does not have: they would only add to its time. At the threshold of 1.5 sigma it finds as many of
the stars as we do; at 5 sigma it finds half of them in four fifths of the time.
"""

import argparse
import os
import statistics
import subprocess
import tempfile
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
import sep
from astropy.io import fits

SKY, NOISE = 0.05, 0.002
THRESHOLD = 1.5  # sigma of a pixel


def plane(width, height, stars, mosaic, seed=2024):
    """A sky with a slope and stars of a short trail, in fractions of full scale."""
    random = np.random.default_rng(seed)
    data = random.standard_normal((height, width), dtype=np.float32) * np.float32(NOISE)
    data += np.float32(SKY) + np.linspace(0, 0.02, width, dtype=np.float32)
    reach, sigma, steps = 12, 1.2, 9
    for _ in range(stars):
        x, y = random.uniform(0, width), random.uniform(0, height)
        # Signal-to-noise of 15 to 1,500, most of them faint.
        peak = NOISE * 5.0 * 100.0 ** (random.uniform() ** 2)
        x0, x1 = max(int(x) - reach, 0), min(int(x) + reach + 1, width)
        y0, y1 = max(int(y) - reach, 0), min(int(y) + reach + 1, height)
        xx, yy = np.arange(x0, x1), np.arange(y0, y1)[:, None]
        for along in np.linspace(-2.0, 2.0, steps):
            dx, dy = xx - x - 0.8 * along, yy - y - 0.6 * along
            data[y0:y1, x0:x1] += (peak / steps * np.exp(-0.5 * (dx**2 + dy**2) / sigma**2)).astype(np.float32)
    np.minimum(data, np.float32(1.0), out=data)
    if mosaic:
        # Red and blue places of the pattern RGGB hold half the light.
        data[0::2, 0::2] *= np.float32(0.5)
        data[1::2, 1::2] *= np.float32(0.5)
    return data


def write(path, data, mosaic):
    header = fits.Header()
    if mosaic:
        header["BAYERPAT"] = "RGGB"
    fits.PrimaryHDU(data, header).writeto(path)


def run_sep(data, above):
    """Seconds by step; `above` is work space, as a caller with many frames would keep it."""
    np.copyto(above, data)
    marks = [time.thread_time()]
    background = sep.Background(data, bw=64, bh=64, fw=3, fh=3)
    marks.append(time.thread_time())
    background.subfrom(above)
    marks.append(time.thread_time())
    objects = sep.extract(above, THRESHOLD, err=background.globalrms)
    marks.append(time.thread_time())
    radius, _ = sep.flux_radius(above, objects["x"], objects["y"], 6.0 * objects["a"], 0.5)
    sep.winpos(above, objects["x"], objects["y"], radius * 2.0 / 2.35)
    marks.append(time.thread_time())
    parts = dict(zip(("sep background", "sep subtract", "sep extract", "sep windowed"), np.diff(marks)))
    return {"sep": marks[-1] - marks[0], **parts, "sep_stars": len(objects)}


class Ours:
    def __init__(self, program, path):
        self.process = subprocess.Popen([program, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        # The processor clock of another process, as pthread_getcpuclockid makes it on Linux.
        self.clock = ~self.process.pid << 3 | 2
        self.ask("copy")

    def ask(self, what):
        """Seconds of processor time, and stars where it measured."""
        start = time.clock_gettime(self.clock)
        self.process.stdin.write(what + "\n")
        self.process.stdin.flush()
        stars = int(self.process.stdout.readline())
        seconds = time.clock_gettime(self.clock) - start
        return {what: seconds, "stars": stars}


def one_case(program, name, repeats, width, height, stars, mosaic):
    data = plane(width, height, stars, mosaic)
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "plane.fits")
        write(path, data, mosaic)
        ours = Ours(program, path)
        above = np.empty_like(data)
        rounds = []
        for _ in range(repeats + 1):
            rounds.append(ours.ask("copy") | ours.ask("measure") | run_sep(data, above))
        ours.process.stdin.close()
        ours.process.wait()
    rounds = rounds[1:]  # the first warms up
    print(f"\n{name}: {width} x {height}, {stars} stars drawn, {rounds[0]['stars']:.0f} counted by us, "
          f"{rounds[0]['sep_stars']} objects by sep; {repeats} rounds")
    print("| | min ms | median ms | max ms | min / copy |\n| --- | --- | --- | --- | --- |")
    copy = min(r["copy"] for r in rounds)
    for key in rounds[0]:
        if key.endswith("stars"):
            continue
        values = [r[key] for r in rounds]
        low, middle, high = (1e3 * f(values) for f in (min, statistics.median, max))
        print(f"| {key} | {low:.1f} | {middle:.1f} | {high:.1f} | {low / 1e3 / copy:.1f} |")
    ratios = [r["sep"] / r["measure"] for r in rounds]
    least = min(r["sep"] for r in rounds) / min(r["measure"] for r in rounds)
    print(f"sep / ours: {least:.2f} of the minima; by round {min(ratios):.2f} to {max(ratios):.2f}, "
          f"median {statistics.median(ratios):.2f}")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--repeats", type=int, default=9)
    parser.add_argument("--quick", action="store_true", help="the 24 MP plane of 2,000 stars only")
    args = parser.parse_args()
    cases = [("full plane", 6000, 4000, 2000, False)]
    if not args.quick:
        cases += [
            ("mosaic", 6000, 4000, 2000, True),
            ("a quarter of the pixels and stars", 3000, 2000, 500, False),
            ("few stars", 6000, 4000, 200, False),
            ("60,000 stars", 6000, 4000, 60_000, False),
        ]
    for name, *case in cases:
        one_case(args.program, name, args.repeats, *case)


if __name__ == "__main__":
    main()

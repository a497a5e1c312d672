"""Measures a made frame with sep and photutils, for src/measure/reference.rs to compare with.

    python -m venv env && env/bin/pip install sep==1.4.1 photutils==3.0.0 astropy==8.0.2
    env/bin/python make.py > table.csv

sep (LGPL-3.0, BSD-3-Clause and MIT parts) and photutils (BSD-3-Clause) run here only; the table
holds numbers. The frame is made by the same arithmetic here and in the Rust test, so no image is
kept.
"""

import warnings

import astropy
import numpy as np
import photutils
import sep
from photutils.background import Background2D, MedianBackground
from photutils.centroids import centroid_2dg
from astropy.modeling import fitting, models

warnings.simplefilter("ignore")
WIDTH, HEIGHT = 480, 320
NOISE = 0.0008
SIGMA_A, SIGMA_B, ANGLE = 2.0, 1.3, 30.0  # anticlockwise as seen, y down


class Lcg:
    """Knuth's 64-bit linear congruential generator (MMIX)."""

    def __init__(self, seed):
        self.state = seed

    def uniform(self):
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (self.state >> 11) / 2**53


def frame():
    random = Lcg(2024)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    data = 0.02 + 4e-6 * x + 2e-6 * y
    angle = np.radians(ANGLE)
    c, s = np.cos(angle), -np.sin(angle)
    truth = []
    for row in range(4):
        for col in range(6):
            x0 = 40 + 80 * col + 4 * random.uniform()
            y0 = 40 + 80 * row + 4 * random.uniform()
            peak = 0.02 + 0.03 * random.uniform()
            u, v = (x - x0) * c + (y - y0) * s, -(x - x0) * s + (y - y0) * c
            data += peak * np.exp(-0.5 * ((u / SIGMA_A) ** 2 + (v / SIGMA_B) ** 2))
            truth.append((x0, y0, peak))
    for j in range(HEIGHT):
        for i in range(WIDTH):
            data[j, i] += NOISE * (sum(random.uniform() for _ in range(12)) - 6)
    return data, truth


def main():
    data, _ = frame()
    print(f"# sep {sep.__version__}, photutils {photutils.__version__}, astropy {astropy.__version__}")
    background = sep.Background(data, bw=64, bh=64)
    level = Background2D(data, (32, 32), filter_size=3, bkg_estimator=MedianBackground())
    print("# sep_back,sep_rms,photutils_back,photutils_rms")
    print(f"sky,{background.globalback:.7f},{background.globalrms:.7f},"
          f"{level.background_median:.7f},{level.background_rms_median:.7f}")
    above = data - background
    objects = sep.extract(above, 5.0, err=background.globalrms)
    objects = objects[np.lexsort((objects["x"], np.round(objects["y"] / 80)))]
    print("# sep windowed x,y; sep flux in r = 10 px; sep isophotal a/b; least-squares Gaussian "
          "(astropy) FWHM across, a/b; photutils centroid_2dg x,y")
    for o in objects:
        wx, wy = (w[0] for w in sep.winpos(above, o["x"][None], o["y"][None], 1.6)[:2])
        flux = sep.sum_circle(above, o["x"][None], o["y"][None], 10.0)[0][0]
        cx, cy = int(round(o["x"])), int(round(o["y"]))
        cut = np.s_[cy - 12: cy + 13, cx - 12: cx + 13]
        px, py = centroid_2dg(above[cut])
        yy, xx = np.mgrid[cut]
        start = models.Gaussian2D(above[cy, cx], cx, cy, 2.0, 1.4, 0.0)
        fit = fitting.LMLSQFitter()(start, xx, yy, above[cut])
        wide, narrow = sorted((abs(fit.x_stddev.value), abs(fit.y_stddev.value)), reverse=True)
        print(f"star,{wx:.4f},{wy:.4f},{flux:.6f},{o['a'] / o['b']:.4f},"
              f"{2.354820045 * narrow:.4f},{wide / narrow:.4f},{px + cx - 12:.4f},{py + cy - 12:.4f}")


main()

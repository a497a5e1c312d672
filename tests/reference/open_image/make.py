"""Measures an open real image with sep, photutils and scipy, for mod.rs beside this to compare with.

    python3 -m venv env && env/bin/pip install sep==1.4.1 photutils==3.0.0 astropy==8.0.2 scipy==1.17.1
    env/bin/python make.py > table.csv

sky.fits is data/image.fits of sep's source package 1.4.1 (PyPI), unchanged: a part of a CCD frame
of the EMMI camera, La Silla, 26 October 1992 (its header says so). sep as a whole is under the
LGPL 3.0, which is beside it. sep (LGPL-3.0), photutils, astropy and scipy (BSD-3-Clause) run here
only; the table holds numbers.
"""

import warnings

import astropy
import numpy as np
import photutils
import scipy
import sep
from astropy.io import fits
from photutils.centroids import centroid_2dg
from scipy.optimize import curve_fit

warnings.simplefilter("ignore")
RADIUS = 8.0  # of the aperture, px: holds all but one or two hundredths of a star


def gaussian_2d(at, peak, x0, y0, xx, xy, yy, sky):
    """An elliptical Gaussian by its covariance."""
    x, y = at
    det = xx * yy - xy * xy
    dx, dy = x - x0, y - y0
    return peak * np.exp(-0.5 * (yy * dx * dx - 2 * xy * dx * dy + xx * dy * dy) / det) + sky


def moffat_2d(at, peak, x0, y0, xx, xy, yy, beta):
    """An elliptical Moffat profile; xx, xy, yy are the inverse of its squared radii."""
    x, y = at
    dx, dy = x - x0, y - y0
    return peak * (1 + xx * dx * dx + 2 * xy * dx * dy + yy * dy * dy) ** -beta


def radial_fwhm(above, x, y):
    """FWHM of a Moffat curve through the radial profile."""
    yy, xx = np.mgrid[0:above.shape[0], 0:above.shape[1]]
    r = np.hypot(xx - x, yy - y)
    near = r < 7
    profile = lambda r, peak, sigma, beta: peak * (1 + (r / sigma) ** 2) ** -beta
    (_, sigma, beta), _ = curve_fit(profile, r[near], above[near], (above.max(), 2.0, 3.0), maxfev=9999)
    return 2 * abs(sigma) * np.sqrt(2 ** (1 / beta) - 1)


def main():
    data = fits.getdata("sky.fits").astype(np.float64)
    # Rows of a FITS file run upwards; ours run downwards.
    data = np.ascontiguousarray(data[::-1])
    print(f"# sep {sep.__version__}, photutils {photutils.__version__}, astropy {astropy.__version__}, "
          f"scipy {scipy.__version__}")
    background = sep.Background(data, bw=32, bh=32)
    above = data - background
    print("# two pixels, to tell the scale: x,y,value")
    for x, y in [(0, 0), (232, 73)]:
        print(f"pixel,{x},{y},{data[y, x]:.4f}")
    print("# sep mean level and rms of the sky")
    print(f"sky,{background.globalback:.3f},{background.globalrms:.3f}")
    objects = sep.extract(above, 5.0, err=background.globalrms)
    print("# x,y of every object that sep finds above 5 sigma, and its flag")
    for o in objects:
        print(f"object,{o['x']:.3f},{o['y']:.3f},{o['flag']}")
    print("# stars alone in their surroundings: sep windowed x,y; flux in r = 8 px; photutils "
          "centroid_2dg x,y; least-squares elliptical Gaussian (scipy) xx,xy,yy")
    h, w = data.shape
    for o in objects:
        cx, cy = int(round(o["x"])), int(round(o["y"]))
        alone = np.hypot(objects["x"] - o["x"], objects["y"] - o["y"]) < 12
        inside = 10 <= cx < w - 10 and 10 <= cy < h - 10
        if not inside or alone.sum() > 1 or o["flag"] or o["flux"] < 7e3 or o["a"] > 1.85:
            continue
        wx, wy, _ = sep.winpos(above, [o["x"]], [o["y"]], [1.3])
        flux = sep.sum_circle(above, [o["x"]], [o["y"]], RADIUS)[0][0]
        cut = np.s_[cy - 7:cy + 8, cx - 7:cx + 8]
        px, py = centroid_2dg(above[cut])
        yy, xx = np.mgrid[cut]
        start = (above[cy, cx], o["x"], o["y"], 2.0, 0.0, 2.0, 0.0)
        fit, _ = curve_fit(gaussian_2d, (xx.ravel(), yy.ravel()), above[cut].ravel(), start)
        print(f"star,{wx[0]:.3f},{wy[0]:.3f},{flux:.1f},{px + cx - 7:.3f},{py + cy - 7:.3f},"
              f"{fit[3]:.4f},{fit[4]:.4f},{fit[5]:.4f}")
    print("# the brightest points of light: x,y; FWHM across of an elliptical Moffat fit in the plane, "
          "and of a Moffat fit to the radial profile, its mean over angles brought to across (scipy)")
    for x, y in [(148.20, 222.50), (80.43, 243.76)]:
        cx, cy = int(round(x)), int(round(y))
        cut = np.s_[cy - 7:cy + 8, cx - 7:cx + 8]
        yy, xx = np.mgrid[cut]
        start = (above[cy, cx], x, y, 0.3, 0.0, 0.3, 3.0)
        fit, _ = curve_fit(moffat_2d, (xx.ravel(), yy.ravel()), above[cut].ravel(), start, maxfev=9999)
        narrow, wide = np.linalg.eigvalsh([[fit[3], fit[4]], [fit[4], fit[5]]])[::-1]
        across = 2 * np.sqrt((2 ** (1 / fit[6]) - 1) / narrow)
        radial = radial_fwhm(above, fit[1], fit[2]) * (wide / narrow) ** 0.25
        print(f"width,{x:.2f},{y:.2f},{across:.4f},{radial:.4f}")


main()

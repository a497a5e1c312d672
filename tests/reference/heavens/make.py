"""Writes positions.csv: where Sun and Moon stood at random places and moments, by astropy 8.0.2 with
its built-in ephemeris (ERFA epv00 and moon98), without refraction. Run it in this folder."""

import numpy as np
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, get_body
from astropy.time import Time
from astropy.utils import iers

iers.conf.auto_download = False
iers.conf.auto_max_age = None
rng = np.random.default_rng(20261125)
COUNT = 60
# 2000 to 2025, all over the globe but for its last degree.
time = Time(rng.uniform(946684800, 1767225600, COUNT).round(), format="unix")
latitude = (0.99 * np.degrees(np.arcsin(rng.uniform(-1, 1, COUNT)))).round(3)
longitude = rng.uniform(-180, 180, COUNT).round(3)
place = EarthLocation(lat=latitude * u.deg, lon=longitude * u.deg, height=0 * u.m)
frame = AltAz(obstime=time, location=place)
sun = get_body("sun", time, place).transform_to(frame)
moon = get_body("moon", time, place).transform_to(frame)
with open("positions.csv", "w") as out:
    out.write("utc_s,latitude_deg,longitude_deg,sun_alt,sun_az,moon_alt,moon_az\n")
    for i in range(COUNT):
        angles = (sun.alt.deg[i], sun.az.deg[i], moon.alt.deg[i], moon.az.deg[i])
        told = ",".join(f"{angle:.4f}" for angle in angles)
        out.write(f"{time.unix[i]:.0f},{latitude[i]:.3f},{longitude[i]:.3f},{told}\n")

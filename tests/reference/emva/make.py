"""Photon transfer of made frames by the package emva1288, for tests/reference/emva.rs to compare with.

    python -m venv env && env/bin/pip install emva1288==1.0.2
    env/bin/python make.py > table.csv

emva1288 (GPL-3.0) runs here only; the table holds numbers. The frames are made by the same integer
arithmetic here and in the Rust test, so no image is kept: an even field of E electrons, K = 0.80
DN/e-, dark noise 4 e-, black 64, 12 bits.
"""

import logging

import numpy as np

np.asfarray = lambda a: np.asarray(a, dtype=float)  # gone from numpy 2, used by emva1288 1.0.2

from emva1288.process.results import Results1288

WIDTH, HEIGHT = 320, 200
GAIN, DARK_E, BLACK = 0.80, 4.0, 64
LEVELS = [200 * k for k in range(24)]
ONE = np.uint64(1)


def mixed(x):
    """Steele, Lea & Flood 2014: the finaliser of SplitMix64."""
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


def noise(seed):
    """Near to Gaussian, variance 1: the sum of twelve uniform numbers of 16 bits (Irwin-Hall)."""
    index = np.arange(WIDTH * HEIGHT, dtype=np.uint64) * np.uint64(3)
    total = np.zeros(WIDTH * HEIGHT, dtype=np.int64)
    for part in range(3):
        word = mixed((np.uint64(seed) << np.uint64(32)) + index + np.uint64(part) + ONE)
        for shift in (0, 16, 32, 48):
            total += ((word >> np.uint64(shift)) & np.uint64(0xFFFF)).astype(np.int64)
    return (total - 12 * 65535 // 2) / 65536.0


def frame(electrons, seed):
    counted = electrons + np.sqrt(electrons + DARK_E * DARK_E) * noise(seed)
    return np.floor(BLACK + GAIN * counted + 0.5)


def mean_and_variance(electrons, seed):
    a, b = frame(electrons, seed), frame(electrons, seed + 1)
    difference = a - b
    variance = 0.5 * (np.mean(difference**2) - np.mean(difference) ** 2)
    return 0.5 * (a.mean() + b.mean()), variance


logging.disable(logging.CRITICAL)
rows = [mean_and_variance(e, 2 * k) for k, e in enumerate(LEVELS)]
dark, bright = rows[0], np.array(rows[1:])
count = len(bright)
temporal = {
    "texp": np.ones(count),
    "u_p": np.array(LEVELS[1:], dtype=float),
    "u_y": bright[:, 0],
    "s2_y": bright[:, 1],
    "u_ydark": np.full(count, dark[0]),
    "s2_ydark": np.full(count, dark[1]),
}
results = Results1288({"temporal": temporal, "spatial": {}}, index_u_ysat=count - 1)
print("electrons,mean_dn,variance_dn2")
for electrons, (mean, variance) in zip(LEVELS, rows):
    print(f"{electrons},{mean:.4f},{variance:.4f}")
print(f"# emva1288 1.0.2: K {results.K:.6f} DN/e-, sigma_d {results.sigma_d:.4f} e-")

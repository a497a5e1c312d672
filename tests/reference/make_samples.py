"""Small pictures of known samples in every format, written by Pillow, tifffile and astropy.

The sample at (x, y) follows the formulas below, which the test in src/frame/tests/samples.rs
repeats.
"""

import struct
import subprocess
import zlib

import numpy as np
import tifffile
from astropy.io import fits
from PIL import Image

WIDTH, HEIGHT = 64, 48
y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
deep = ((x * 997 + y * 1303) % 65536).astype(np.uint16)
shallow = ((x * 7 + y * 11) % 256).astype(np.uint8)
rgb8 = np.stack([shallow, 255 - shallow, shallow // 2], 2)
rgb16 = np.stack([deep, 65535 - deep, deep // 2], 2)
smooth = np.stack([x * 3, x * 2 + y * 2, y * 4], 2).astype(np.uint8)

OUT = "samples/"


def icc(name, curve):
    """A profile of one tone curve: enough of ICC.1 for a reader of curves."""
    head = bytearray(128)
    head[36:40] = b"acsp"
    body = struct.pack(">I", 1) + name + struct.pack(">II", 144, len(curve)) + curve
    head[0:4] = struct.pack(">I", 128 + len(body))
    return bytes(head) + body


LINEAR = icc(b"kTRC", b"curv" + bytes(4) + struct.pack(">I", 0))
GAMMA22 = icc(b"kTRC", b"curv" + bytes(4) + struct.pack(">IHH", 1, 563, 0))

# JPEG; beside each the green that Pillow (libjpeg) decodes, row by row.
for name, picture, extra in [
    ("full-chroma", smooth, dict(subsampling=0)),
    ("half-chroma", smooth, dict(subsampling=2)),
    ("progressive", smooth, dict(progressive=True)),
    ("grey", smooth[..., 1], dict()),
]:
    Image.fromarray(picture).save(OUT + name + ".jpg", quality=92, **extra)
    decoded = np.asarray(Image.open(OUT + name + ".jpg"))
    (decoded if decoded.ndim == 2 else decoded[..., 1]).tofile(OUT + name + ".green")
Image.fromarray(smooth).convert("CMYK").save(OUT + "cmyk.jpg")


# PNG; 16-bit colour and gAMA are beyond Pillow, so those are packed by hand.
def png(path, samples, color, *chunks):
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    depth = samples.dtype.itemsize * 8
    rows = samples.astype(samples.dtype.newbyteorder(">")).reshape(HEIGHT, -1)
    data = b"".join(b"\0" + row.tobytes() for row in rows)
    with open(path, "wb") as file:
        file.write(b"\x89PNG\r\n\x1a\n")
        file.write(chunk(b"IHDR", struct.pack(">IIBBBBB", WIDTH, HEIGHT, depth, color, 0, 0, 0)))
        for name, body in chunks:
            file.write(chunk(name, body))
        file.write(chunk(b"IDAT", zlib.compress(data)) + chunk(b"IEND", b""))


Image.fromarray(rgb8).save(OUT + "rgb8.png")
Image.fromarray(shallow).save(OUT + "grey8.png")
Image.fromarray(deep).save(OUT + "grey16.png")
png(OUT + "rgb16.png", rgb16, 2)
png(OUT + "rgb16-linear.png", rgb16, 2, (b"gAMA", struct.pack(">I", 100000)))
png(OUT + "grey16-srgb.png", deep, 0, (b"sRGB", b"\0"))
png(OUT + "grey16-gamma22.png", deep, 0, (b"iCCP", b"x\0\0" + zlib.compress(GAMMA22)))


# TIFF
def tiff(name, data, photometric, **extra):
    tifffile.imwrite(OUT + name + ".tif", data, photometric=photometric, metadata=None, **extra)


tiff("rgb8", rgb8, "rgb", compression="zlib")
tiff("grey16", deep, "minisblack")
tiff("grey16-big-endian", deep, "minisblack", byteorder=">", compression="zlib", predictor=True)
tiff("grey16-gamma22", deep, "minisblack", iccprofile=GAMMA22)
tiff("grey16-white-is-zero", 65535 - deep, "miniswhite")
tiff("rgb16", rgb16, "rgb")
tiff("rgb16-linear", rgb16, "rgb", iccprofile=LINEAR)
tiff("rgb16-planes", np.moveaxis(rgb16, 2, 0), "rgb", planarconfig="separate", iccprofile=LINEAR)
tiff("rgb16-tiles", rgb16, "rgb", tile=(16, 32), iccprofile=LINEAR)
tiff("grey32", deep.astype(np.uint32) * 65537, "minisblack")
tiff("float", (deep / 65535).astype(np.float32), "minisblack")
tiff("float-16-bit-numbers", deep.astype(np.float32), "minisblack")
tiff("bigtiff", deep, "minisblack", bigtiff=True)

# FITS

def write(name, data, cards=(), extension=False):
    image = fits.ImageHDU(data) if extension else fits.PrimaryHDU(data)
    for key, value in cards:
        image.header[key] = value
    units = [fits.PrimaryHDU(), image] if extension else [image]
    fits.HDUList(units).writeto(OUT + name + ".fits", overwrite=True)


FACTS = [
    ("DATE-OBS", "2026-03-01T21:04:05.25"), ("EXPTIME", 30.0), ("FOCALLEN", 135.0),
    ("APTDIA", 67.5), ("XPIXSZ", 3.76), ("INSTRUME", "A camera"), ("TELESCOP", "A lens"),
    ("SITELAT", "47 15 00"), ("SITELONG", "12.5"),
]
TOP = [("ROWORDER", "TOP-DOWN")]
write("u16", deep, FACTS + TOP)
write("u16-bottom-up", deep)
write("i16", (deep // 2).astype(np.int16), TOP)
write("u8", shallow, TOP)
write("i32", deep.astype(np.int32) * 32768, TOP)
write("f32", (deep / 65535).astype(np.float32), TOP)
gaps = (deep / 65535).astype(np.float64)
gaps[5, 7] = np.nan
write("f64-gaps", gaps, TOP)
write("planes", np.moveaxis(rgb16, 2, 0), TOP)
write("extension", deep, TOP, extension=True)
write("bayer", deep, TOP + [("BAYERPAT", "RGGB")])
write("bayer-bottom-up", deep, [("BAYERPAT", "RGGB")])

# DNG: a mosaic of 12 bits with borders on all sides and a black level for each of its places.
ASCII, SHORT, LONG, RATIONAL, BYTE = 2, 3, 4, 5, 1
LEFT, TOP_ROWS, RIGHT, BOTTOM = 5, 3, 2, 1
full = np.zeros((HEIGHT + TOP_ROWS + BOTTOM, WIDTH + LEFT + RIGHT), np.uint16)
fy, fx = np.mgrid[0:full.shape[0], 0:full.shape[1]]
full[:] = (fx * 13 + fy * 17 + 3900) % 4096


def dng(name, data, photometric, *tags, **extra):
    common = [
        (50706, BYTE, 4, bytes([1, 4, 0, 0]), True),  # DNGVersion
        (50708, ASCII, 0, "Nightloupe Test", True),  # UniqueCameraModel
        (271, ASCII, 0, "Example", True),
        (272, ASCII, 0, "One", True),
    ]
    tifffile.imwrite(
        OUT + name + ".dng", data, photometric=photometric, metadata=None, software=False,
        extratags=common + list(tags), **extra,
    )


mosaic = [
    (33421, SHORT, 2, (2, 2), True),  # CFARepeatPatternDim
    (33422, BYTE, 4, bytes([0, 1, 1, 2]), True),  # CFAPattern RGGB, from the active area
    (50713, SHORT, 2, (2, 2), True),  # BlackLevelRepeatDim
    (50714, SHORT, 4, (100, 110, 120, 130), True),  # BlackLevel
    (50717, LONG, 1, 4000, True),  # WhiteLevel
    (50728, RATIONAL, 3, (1, 2, 1, 1, 2, 3), True),  # AsShotNeutral
    (50829, LONG, 4, (TOP_ROWS, LEFT, TOP_ROWS + HEIGHT, LEFT + WIDTH), True),  # ActiveArea
]
crop = [(50719, LONG, 2, (3, 1), True), (50720, LONG, 2, (WIDTH - 6, HEIGHT - 3), True)]
dng("active-area", full, 32803, *mosaic)
dng("crop", full, 32803, *mosaic, *crop)
dng("mono", deep, "minisblack", (50714, SHORT, 1, 1000, True), (50717, LONG, 1, 60000, True))
with tifffile.TiffFile(OUT + "mono.dng", mode="r+") as file:  # which refuses it when writing
    file.pages[0].tags["PhotometricInterpretation"].overwrite(34892)
dng("linear", rgb16, 34892, (50717, LONG, 3, (65535, 65535, 65535), True))
subprocess.run(
    ["exiftool", "-q", "-overwrite_original", "-ExposureTime=30", "-FNumber=2.8", "-ISO=1600",
     "-FocalLength=24", "-DateTimeOriginal=2026:03:01 21:04:05", "-SubSecTimeOriginal=25",
     "-FocalPlaneXResolution=2500", "-FocalPlaneResolutionUnit=cm", OUT + "crop.dng"],
    check=True,
)

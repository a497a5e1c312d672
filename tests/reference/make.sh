#!/bin/sh
# Makes the small files that the tests of src/frame read. They are written by other programs than
# the ones that read them: Pillow, tifffile, astropy (pip install numpy pillow tifffile astropy)
# and exiftool. The files are committed; run this only to change them.
set -eu
cd "$(dirname "$0")"

python3 make_samples.py

cd exif
python3 - <<'PY'
import numpy as np
from PIL import Image
y, x = np.mgrid[0:48, 0:64]
picture = np.stack([x * 3, x * 2 + y * 2, y * 4], 2).astype(np.uint8)
for name in ["full", "twice-named", "unknown-lens", "apex", "high-iso", "nonsense", "resized",
             "wrong-unit", "south-west", "millimetres"]:
    Image.fromarray(picture).save(f"{name}.jpg", quality=90)
Image.fromarray(picture).save("full.png")
PY

write() { exiftool -q -overwrite_original "$@"; }
full() {
    write -Make=Canon "-Model=Canon EOS 6D" -ExposureTime=30 -FNumber=2.8 -ISO=1600 \
        -FocalLength=24 -FocalLengthIn35mmFormat=24 "-DateTimeOriginal=2026:03:01 21:04:05" \
        -SubSecTimeOriginal=07 -OffsetTimeOriginal=+01:00 -SerialNumber=012345678 \
        "-LensModel=EF24mm f/1.4L II USM" -FocalPlaneXResolution=3810.584958 \
        -FocalPlaneYResolution=3815.899582 -FocalPlaneResolutionUnit=inches \
        -GPSLatitude=47.25 -GPSLatitudeRef=N -GPSLongitude=12.5 -GPSLongitudeRef=E \
        -Orientation#=6 "$1"
}
# The focal plane of 36 mm on 64 px is 562.5 um a pixel, so the 35 mm equivalent is left to others.
full full.jpg
write -FocalLengthIn35mmFormat= full.jpg
full full.png
write -FocalLengthIn35mmFormat= full.png
write "-Make=NIKON CORPORATION" "-Model=NIKON D750" -ExposureTime=1/250 -FNumber=4 -ISO=6400 \
    -FocalLength=16 -FocalLengthIn35mmFormat=24 "-DateTimeOriginal=2026:03:01 21:04:05" \
    twice-named.jpg
write -Make=SONY -Model=ILCE-7M3 -ExposureTime=20 -FNumber=0 -FocalLength=0 \
    -FocalLengthIn35mmFormat=0 "-LensModel=----" "-DateTimeOriginal#=0000:00:00 00:00:00" \
    unknown-lens.jpg
write -ShutterSpeedValue=16 -ApertureValue=2.8 "-CreateDate=2026:03:01 21:04:05" apex.jpg
write -ISO=65535 -RecommendedExposureIndex=102400 -SensitivityType#=2 high-iso.jpg
write -ExposureTime=undef -FNumber=inf -FocalLength=undef "-DateTimeOriginal#=2026:02:31 25:00:00" \
    -OffsetTimeOriginal=+99:99 -GPSLatitude=0 -GPSLatitudeRef=N -GPSLongitude=0 \
    -GPSLongitudeRef=E -FocalPlaneXResolution=1 -Orientation#=77 nonsense.jpg
# Twice as many pixels when it was taken, 4 um each.
write -ExifImageWidth=128 -ExifImageHeight=96 -FocalPlaneXResolution=2500 \
    -FocalPlaneResolutionUnit=cm resized.jpg
# 4 um stated as if per centimetre, and contradicted by the 35 mm equivalent.
write -FocalLength=24 -FocalLengthIn35mmFormat=24 -FocalPlaneXResolution=6350 \
    -FocalPlaneResolutionUnit=cm wrong-unit.jpg
write -GPSLatitude=23.7 -GPSLatitudeRef=S -GPSLongitude=68.2 -GPSLongitudeRef=W south-west.jpg
write -FocalPlaneXResolution=250 -FocalPlaneResolutionUnit#=4 millimetres.jpg

# What exiftool itself reads, for the test to compare with.
exiftool -json -n -ExifIFD:all -IFD0:all -GPS:all -Composite:GPSLatitude -Composite:GPSLongitude \
    ./*.jpg ./*.png > exiftool.json

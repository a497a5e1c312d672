#!/bin/sh
# Makes the rating files that tests/reference/rating_files.rs starts from, with exiftool, and the table
# of what exiftool reads in them before and after the rating was changed. The files in `after` are
# written by the test itself:
#   ./make.sh && NIGHTLOUPE_WRITE_REFERENCE=1 cargo test --test all rating_files && ./make.sh
set -eu
cd "$(dirname "$0")"
rm -f before/*.xmp

write() { out=$1; shift; exiftool -q "$@" "before/$out.xmp"; }
write plain -xmp:Label=Blue
write rated -xmp:Rating=3 -xmp:Label=Green -xmp-dc:Subject=meadow -xmp-dc:Subject=night \
    "-xmp-dc:Title=Fell & moor" "-xmp-dc:Title-de=Berg <und> Tal"
write many -xmp:Rating=5 -xmp-photoshop:City=Nowhere -xmp-tiff:Orientation#=6 \
    -xmp-exif:ExposureTime=30 -xmp-aux:Lens=none -xmp-dc:Creator=somebody \
    "-xmp-xmpMM:HistoryAction=saved" "-xmp-xmpMM:HistoryParameters=none"
write rejected -xmp:Rating=-1
# The compact form, with attributes, and without padding.
exiftool -q -api Compact=Shorthand,NoPadding,OneDesc -xmp:Rating=2 -xmp:Label=Red before/short.xmp
# With a byte order mark and other line ends, as editors leave them.
printf '\357\273\277' > before/marked.xmp
sed 's/$/\r/' before/rated.xmp >> before/marked.xmp

exiftool -j -G1 -struct --System:all --ExifTool:all --File:all before/*.xmp after/*.xmp > exiftool.json

#!/usr/bin/env bash
# Runs the real program in a real window under Xvfb, as a person with a keyboard would:
# the sample night; a folder opened with the Open button; next doubtful, reject, undo; the list of
# used frames saved and compared; a screenshot of each page that is neither blank nor an error.
#
#   tests/window/real.sh PROGRAM [FOLDER FOR SCREENSHOTS]
set -euo pipefail
program=$(readlink -f "$1")
work=$(mktemp -d)
pictures=${2:-$work/pictures}
mkdir -p "$pictures" "$work/bin" "$work/home"

export HOME=$work/home
export XDG_CACHE_HOME=$work/cache XDG_DATA_HOME=$work/data XDG_CONFIG_HOME=$work/config \
  XDG_STATE_HOME=$work/state
mkdir -p "$XDG_CACHE_HOME" "$XDG_DATA_HOME" "$XDG_CONFIG_HOME" "$XDG_STATE_HOME"
unset WAYLAND_DISPLAY DBUS_SESSION_BUS_ADDRESS

fail() {
  printf 'real window: %s\n' "$1" >&2
  [ -z "${DISPLAY:-}" ] || import -window root "$pictures/failed.png" 2>/dev/null || true
  printf 'pictures are in %s\n' "$pictures" >&2
  exit 1
}

# A stand-in for the file chooser: it answers whatever $work/answer says.
cat >"$work/bin/zenity" <<STANDIN
#!/bin/sh
cat "$work/answer"
STANDIN
chmod +x "$work/bin/zenity"
export PATH="$work/bin:$PATH"

# The server picks a free display and tells its number.
exec 3<>"$work/display"
Xvfb -displayfd 3 -screen 0 1440x900x24 -nolisten tcp >"$work/xvfb.log" 2>&1 &
server=$!
window_process=
stop() {
  [ -z "$window_process" ] || kill "$window_process" 2>/dev/null || true
  kill "$server" 2>/dev/null || true
}
trap stop EXIT
for _ in $(seq 100); do
  [ -s "$work/display" ] && break
  sleep 0.1
done
[ -s "$work/display" ] || fail 'no display'
DISPLAY=:$(tr -d '\n' <"$work/display")
export DISPLAY

window=
start() {
  "$program" "$@" 2>"$work/stderr" &
  window_process=$!
  for _ in $(seq 100); do
    window=$(xdotool search --onlyvisible --name nightloupe 2>/dev/null | head -n 1 || true)
    [ -n "$window" ] && break
    sleep 0.2
  done
  [ -n "$window" ] || fail "no window: $(cat "$work/stderr")"
  xdotool windowsize "$window" 1440 900 windowmove "$window" 0 0 windowfocus "$window"
}

# Waits until the title is exactly this: "NIGHT · nightloupe" once a night is measured.
title_becomes() {
  for _ in $(seq 1200); do
    kill -0 "$window_process" 2>/dev/null || fail "the program ended: $(cat "$work/stderr")"
    [ "$(xdotool getwindowname "$window")" = "$1" ] && return
    sleep 0.25
  done
  fail "the title is \"$(xdotool getwindowname "$window")\", not \"$1\""
}

press() {
  for key in "$@"; do
    xdotool key --clearmodifiers "$key"
    sleep 0.4
  done
}

# A page of text, pictures and lanes has far more colours than a blank or an error page.
picture() {
  sleep 1
  import -window root "$pictures/$1.png"
  local colours
  colours=$(identify -format '%k' "$pictures/$1.png")
  [ "$colours" -ge "$2" ] || fail "$1 shows $colours colours, expected $2 or more"
  printf '%s: %s colours\n' "$1" "$colours"
}

quit() {
  kill "$window_process" 2>/dev/null || true
  wait "$window_process" 2>/dev/null || true
  window_process=
}

printf 'the sample night\n'
start --sample
title_becomes 'Yarrowick Fell · nightloupe'
press n n
picture sample-night 2000
press 4
picture sample-frames 500
quit

printf 'a folder, by the Open button\n'
folder="$work/Quarry Lane"
"$program" sample "$folder" --frames 30 --size 900x600 --seed 7 2>/dev/null
printf '%s\n' "$folder" >"$work/answer"
start
picture first-run 200
press o
title_becomes 'Quarry Lane · nightloupe'

printf 'next doubtful, reject, list; undo, list\n'
press n r
printf '%s\n' "$work/rejected-one.txt" >"$work/answer"
press l
for _ in $(seq 40); do [ -s "$work/rejected-one.txt" ] && break; sleep 0.25; done
[ -s "$work/rejected-one.txt" ] || fail 'no list was saved'
press z
printf '%s\n' "$work/undone.txt" >"$work/answer"
press l
for _ in $(seq 40); do [ -s "$work/undone.txt" ] && break; sleep 0.25; done
[ -s "$work/undone.txt" ] || fail 'no list was saved after undo'
picture folder-night 2000
quit

with=$(wc -l <"$work/undone.txt")
without=$(wc -l <"$work/rejected-one.txt")
[ "$with" = $((without + 1)) ] ||
  fail "rejecting one frame left $without names, undoing it $with"
left=$(comm -13 <(sort "$work/rejected-one.txt") <(sort "$work/undone.txt"))
[ -f "$folder/$left" ] || fail "\"$left\" is no frame of the folder"
printf 'rejecting left out %s and undo brought it back\n' "$left"

if [ -s "$work/stderr" ] && grep -qi 'panic' "$work/stderr"; then
  fail "the program panicked: $(cat "$work/stderr")"
fi
printf 'the window works: 4 passed, 0 failed\n'

#!/bin/bash
# The practice bench sets itself up and leaves nothing behind; the meter command tells what it meets.
set -eu
program=$1
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT

TMPDIR=$folder "$program" practice wren-hollow --seed 3 --pty --once | grep -q "Simulated meter: tcp:127.0.0.1:"
[ -z "$(ls -A "$folder")" ] || { echo "something is left behind"; exit 1; }
TMPDIR=$folder "$program" practice wren-hollow --seed 3 --faults 2 --once --json | grep -q '"meter": "tcp:'
"$program" practice wren-hollow --worked --seeds 1 --seed 3 --json | grep -q '"found": 1'
"$program" practice wren-hollow --faults 3 --once 2>&1 | grep -q "1 to 2" && :
"$program" practice no-such-amp --once 2>&1 | grep -q "no file and no amp"
"$program" meter --json | grep -q '"profiles"'
"$program" meter nonsense 2>&1 | grep -q "no address of a meter"
"$program" meter tcp:127.0.0.1:1 2>&1 | grep -q "no connection"

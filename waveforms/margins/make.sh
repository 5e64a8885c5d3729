#!/bin/sh
# Makes every table and figure of this folder again with the commands in README.md.
#
#   sh waveforms/margins/make.sh              all of them
#   sh waveforms/margins/make.sh 300          with 300 captures a value, which README.md then says, too
#   sh waveforms/margins/make.sh "" tilt      those whose command holds a word
#
# FIELDRIPPLE is the program to use, RAYON_NUM_THREADS the number of threads.
set -e
cd "$(dirname "$0")"
program=${FIELDRIPPLE:-../../target/release/fieldripple}
[ -x "$program" ] || { echo "no $program: cargo build --release, or set FIELDRIPPLE"; exit 2; }
[ -z "$1" ] || sed -i "/^|/s/--trials [0-9]*/--trials $1/" README.md
grep '^|' README.md | grep -o '`fieldripple margin [^`]*`' | tr -d '`' | grep -e "${2:-.}" |
while read -r _ arguments; do
    echo "fieldripple $arguments"
    # The arguments hold no blanks of their own.
    "$program" $arguments > /dev/null
done

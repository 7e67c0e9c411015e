# Sourced: PILOTHOLE, the program under test, and SCANS, what makes small cases.
# PILOTHOLE_BIN names a program with the interface of `pilothole cohort`; without it the stand-in is
# built, and its cases sleep SLEEP_MS each and one in 40 goes wrong the first time.
root=$(cd "$here/../.." && pwd)
standin=${STANDIN_BIN:-}
if [ -z "$standin" ]; then
  (cd "$root" && cargo build -q -p pilothole-tests --bin pilothole-standin)
  standin=${CARGO_TARGET_DIR:-$root/target}/debug/pilothole-standin
fi
# A name without the folder's own faults: the wrapper adds flags that the recipe scripts do not know.
wrapper() {
  printf '#!/bin/sh\ncase " $* " in *" --gather "*) exec "%s" "$@";; *) exec "%s" "$@" %s;; esac\n' \
    "$standin" "$standin" "$2" > "$1"
  chmod +x "$1"
}
skip() { echo "skipped: $1"; echo "0 passed, 0 failed, 1 skipped"; exit 0; }
expect() { want=$1; shift; got=0; "$@" || got=$?; [ "$got" -eq "$want" ] || { echo "status $got where $want was due: $*"; exit 1; }; }

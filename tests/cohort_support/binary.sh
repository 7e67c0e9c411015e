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
# The program itself on small real cases, beside the stand-in on many made-up ones. REAL_BIN names it; else it is
# the release build, which .ci/run makes before; where there is none, it is said aloud.
real=${REAL_BIN:-${CARGO_TARGET_DIR:-$root/target}/release/pilothole}
if [ ! -x "$real" ]; then
  echo "skipped: the program on real cases; there is no release build"
  real=
fi
# real_cases COUNT: phantoms and real.csv, one scan with a gap and one plan that is none among them.
real_cases() {
  cat > real.toml <<RECIPE
name = "small"
scene = "ball"
grid = { spacing_mm = [1.2, 1.2, 1.2], extent_mm = [38, 38, 94] }
bone = { depth_mm = 26 }
vary = { cortex_mm = [1, 3], turn_s_deg = [-180, 180] }
sample = { count = $1, seed = 3 }
scanner = { cells = 1, blur_mm = 0.6, noise_hu = 10 }
RECIPE
  "$real" phantom real.toml --vary --out real 2>/dev/null
  for file in $(ls real/00003/scan | sed -n 20,24p); do rm "real/00003/scan/$file"; done
  echo 'side = "neither"' > real/00007/plan.toml
}

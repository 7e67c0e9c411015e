# Sourced: `venv NAME PACKAGE==VERSION…` makes a Python environment once and sets `python`; skips aloud where it cannot.
venv() {
  name=$1; shift
  home=${COHORT_VENVS:-${XDG_CACHE_HOME:-$HOME/.cache}/pilothole-tests}/$name
  python=$home/bin/python
  installed=$("$python" -m pip freeze 2>/dev/null || true)
  for package in "$@"; do
    case $installed in *"$package"*) continue;; esac
    command -v python3 >/dev/null || skip "there is no Python here"
    { python3 -m venv "$home" && "$python" -m pip install -q "$@"; } >/dev/null 2>&1 \
      || skip "$* cannot be installed here"
    return
  done
}

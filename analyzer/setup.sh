# Sourced by ./analyzer/run and ./tests/run: installs what is missing on Debian 12 and builds.

say() { printf '%s\n' "$*" >&2; }

build_packages="g++ cmake ninja-build pkg-config ca-certificates portaudio19-dev libfftw3-dev libimgui-dev libglfw3-dev libgl-dev
libfreetype-dev libsndfile1-dev nettle-dev libeigen3-dev libceres-dev libboost-dev libboost-math-dev libcli11-dev nlohmann-json3-dev libfmt-dev libpng-dev
fonts-open-sans"
test_packages="libgtest-dev libgmock-dev libbenchmark-dev jackd2 libjack-jackd2-dev xvfb libgl1-mesa-dri xdotool
imagemagick ngspice python3-numpy python3-scipy python3-scikit-rf python3-jsonschema procps
mandoc desktop-file-utils dpkg-dev file"

# install PACKAGE...: only what dpkg does not know yet; as root, or through sudo.
install() {
    local missing="" package
    for package in "$@"; do
        [ "$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null)" = installed ] || missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    command -v apt-get >/dev/null || { say "This script installs Debian packages; install these by hand:$missing"; return 1; }
    local sudo=""
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null || { say "Run this as root once, or install these packages:$missing"; return 1; }
        sudo="sudo"
    fi
    say "Installing:$missing"
    # A slow or unlucky mirror is tried again before giving up.
    local try log
    log=$(mktemp)
    for try in 1 2 3; do
        $sudo apt-get update -qq >/dev/null 2>&1 || true
        # shellcheck disable=SC2086
        if $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >"$log" 2>&1; then
            rm -f "$log"
            return 0
        fi
        sleep $((try * 3))
    done
    tail -n 20 "$log" >&2
    rm -f "$log"
    say "Could not install:$missing"
    return 1
}

# build DIRECTORY [CMAKE-OPTION...]: configures once, builds all (or the targets named in build_targets), shows Ninja's own progress.
# Eight files at a time are read as one, which halves the time of a first build; `cmake -B build` by hand makes the build for
# working on single files.
build() {
    local directory="$1" log
    shift
    log=$(mktemp)
    if ! cmake -S "$root" -B "$directory" -G Ninja -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=8 "$@" >"$log" 2>&1; then
        cat "$log" >&2
        rm -f "$log"
        return 1
    fi
    rm -f "$log"
    # shellcheck disable=SC2086
    cmake --build "$directory" ${build_targets:+--target $build_targets} >&2
}

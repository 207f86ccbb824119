// What a full disk does to a writer, without filling one: no file may grow beyond some bytes while this lives.
#pragma once

#include <sys/resource.h>

#include <csignal>

namespace coldtune::testing {

class SmallDisk {
public:
    explicit SmallDisk(rlim_t bytes) : before_signal_(std::signal(SIGXFSZ, SIG_IGN)) {
        ::getrlimit(RLIMIT_FSIZE, &before_);
        const rlimit small{bytes, before_.rlim_max};
        ::setrlimit(RLIMIT_FSIZE, &small);
    }
    ~SmallDisk() {
        ::setrlimit(RLIMIT_FSIZE, &before_);
        std::signal(SIGXFSZ, before_signal_);
    }
    SmallDisk(const SmallDisk&) = delete;
    SmallDisk& operator=(const SmallDisk&) = delete;

private:
    rlimit before_{};
    void (*before_signal_)(int);
};

}  // namespace coldtune::testing

// Independent elements shared out among the processors.
#pragma once

#include <algorithm>
#include <cstddef>
#include <thread>
#include <vector>

namespace coldtune::bench {

// work(first, last) over 0 .. count in equal parts. Every element must be independent, so that the result does not
// depend on how many processors there are. `work` may not throw.
template <typename Work>
void in_parallel(std::size_t count, const Work& work) {
    const std::size_t threads = std::clamp<std::size_t>(std::thread::hardware_concurrency(), 1, 16);
    if (count < 4096 || threads == 1) {
        work(std::size_t{0}, count);
        return;
    }
    std::vector<std::jthread> pool;
    for (std::size_t i = 0; i < threads; ++i) {
        pool.emplace_back(
            [&work, first = count * i / threads, last = count * (i + 1) / threads] { work(first, last); });
    }
}

}  // namespace coldtune::bench

#include "analyzer/bench/bench_file.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_bench(std::string_view bytes) {
    const auto bench = bench::parse_bench(bytes, "bench.json");
    if (!bench) require_refusal(bench.error());
}

}  // namespace coldtune::fuzz

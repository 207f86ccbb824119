#include "analyzer/tuning/remark.hpp"

#include <algorithm>

namespace coldtune::tuning {

using measure::Verdict;
using measure::Weight;

Verdict verdict_of(const std::vector<Remark>& remarks) {
    const auto any = [&](Weight weight) {
        return std::any_of(remarks.begin(), remarks.end(), [weight](const Remark& r) { return r.weight == weight; });
    };
    return any(Weight::reject) ? Verdict::rejected : any(Weight::caution) ? Verdict::caution : Verdict::good;
}

std::string_view weight_name(Weight weight) {
    return weight == Weight::reject ? "reject" : weight == Weight::caution ? "caution" : "note";
}

void carry_findings(const measure::KnownResult& result, std::vector<Remark>& into) {
    for (const auto& f : result.findings) {
        if (f.weight == "caution") into.push_back({f.code, Weight::caution, result.name + ": " + f.text});
    }
}

bool same_clock(const measure::KnownResult& a, const measure::KnownResult& b) {
    return !a.bench.device.empty() && a.bench.device == b.bench.device;
}

}  // namespace coldtune::tuning

#include "analyzer/measure/combined.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <set>

#include "analyzer/measure/shape_family.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

constexpr double kDisagreementChance = 0.05;
// Two results are never nearer to each other than this (relative); it also keeps the covariance of results that share
// everything regular.
constexpr double kFloor = 1e-6;

struct Entry {
    Statement statement;
    std::vector<KnownValue::Part> parts;
};

bool always_independent(const std::string& source) {
    return source == "noise" || source == "other";
}

bool sign_known(const std::string& source) {
    return source == "clock" || source == "clock drift";
}

enum class Purpose { combining, testing };

Eigen::MatrixXd covariance(const std::vector<Entry>& entries, Purpose purpose) {
    const auto n = static_cast<Eigen::Index>(entries.size());
    Eigen::MatrixXd v = Eigen::MatrixXd::Zero(n, n);
    for (Eigen::Index i = 0; i < n; ++i) {
        const Entry& a = entries[static_cast<std::size_t>(i)];
        v(i, i) = kFloor * kFloor;
        for (const auto& p : a.parts) v(i, i) += p.relative_u * p.relative_u;
        for (Eigen::Index j = 0; j < i; ++j) {
            const Entry& b = entries[static_cast<std::size_t>(j)];
            const bool alike = a.statement.route == b.statement.route;
            for (const auto& p : a.parts) {
                if (always_independent(p.source)) continue;
                if (purpose == Purpose::testing && !alike && !sign_known(p.source)) continue;
                for (const auto& q : b.parts) {
                    if (q.source == p.source) v(i, j) += p.relative_u * q.relative_u;
                }
            }
            v(j, i) = v(i, j);
        }
    }
    return v;
}

// Least-squares weights of a mean; those below zero are set to zero and the rest done again.
Eigen::VectorXd mean_weights(const Eigen::MatrixXd& v) {
    std::vector<Eigen::Index> kept(static_cast<std::size_t>(v.rows()));
    for (std::size_t i = 0; i < kept.size(); ++i) kept[i] = static_cast<Eigen::Index>(i);
    for (;;) {
        const Eigen::MatrixXd part = v(kept, kept);
        const auto count = static_cast<Eigen::Index>(kept.size());
        Eigen::VectorXd w = part.ldlt().solve(Eigen::VectorXd::Ones(count));
        w /= w.sum();
        Eigen::Index least = 0;
        if (count == 1 || w.minCoeff(&least) >= 0) {
            Eigen::VectorXd all = Eigen::VectorXd::Zero(v.rows());
            all(kept) = w;
            return all;
        }
        kept.erase(kept.begin() + least);
    }
}

double log_value(const Entry& e) {
    return std::log(e.statement.value);
}

// Deviation of each value from the mean of the others, in standard uncertainties of the difference.
void find_deviations(std::vector<Entry>& entries, const Eigen::MatrixXd& v) {
    const auto n = static_cast<Eigen::Index>(entries.size());
    for (Eigen::Index i = 0; i < n && n > 1; ++i) {
        std::vector<Eigen::Index> others;
        for (Eigen::Index j = 0; j < n; ++j) {
            if (j != i) others.push_back(j);
        }
        const Eigen::VectorXd w = mean_weights(v(others, others));
        Eigen::VectorXd difference = Eigen::VectorXd::Zero(n);
        difference(i) = 1;
        difference(others) = -w;
        double size = 0;
        for (Eigen::Index j = 0; j < n; ++j) size += difference(j) * log_value(entries[static_cast<std::size_t>(j)]);
        entries[static_cast<std::size_t>(i)].statement.deviation = size / std::sqrt(difference.dot(v * difference));
    }
}

CombinedValue combine_one(std::vector<Entry>& entries) {
    const auto n = static_cast<Eigen::Index>(entries.size());
    Eigen::VectorXd x(n);
    for (Eigen::Index i = 0; i < n; ++i) x(i) = log_value(entries[static_cast<std::size_t>(i)]);
    CombinedValue out;
    out.degrees_of_freedom = static_cast<std::size_t>(n - 1);
    if (n > 1) {
        const Eigen::MatrixXd v = covariance(entries, Purpose::testing);
        const Eigen::LDLT<Eigen::MatrixXd> factor(v);
        const Eigen::VectorXd ones = Eigen::VectorXd::Ones(n);
        const Eigen::VectorXd weighted = factor.solve(ones);
        const Eigen::VectorXd rest = x - ones * (weighted.dot(x) / weighted.sum());
        out.chi_square = rest.dot(factor.solve(rest));
        const boost::math::chi_squared distribution(static_cast<double>(n - 1));
        out.chance = boost::math::cdf(boost::math::complement(distribution, std::max(0.0, out.chi_square)));
        find_deviations(entries, v);
    }
    const Eigen::MatrixXd v = covariance(entries, Purpose::combining);
    const Eigen::VectorXd w = mean_weights(v);
    out.value = std::exp(w.dot(x));
    out.u95 = 2 * out.value * std::sqrt(w.dot(v * w));
    for (Eigen::Index i = 0; i < n; ++i) entries[static_cast<std::size_t>(i)].statement.weight = w(i);
    return out;
}

Entry entry_of(KnownQuantity quantity, const KnownResult& result, const KnownValue& value, const std::string& route) {
    return {{quantity, result.name, route, value.value, value.u95, 0, 0}, value.parts};
}

// f = 1 / (2 pi sqrt(L C)): the calculated resonance scaled by the inductance that was measured, with the described
// capacitance for what it is worth.
Entry resonance_from_winding(const KnownResult& result, const ShapeFamily& family) {
    const double calculated_h = family.member(0).branch_inductance_h().sum();
    Entry e;
    e.statement.name = result.name;
    e.statement.route = "winding and described capacitance";
    e.statement.value = family.first_mode_hz() * std::sqrt(calculated_h / result.inductance->value);
    double variance = 0;
    for (const auto& p : result.inductance->parts) {
        e.parts.push_back({p.source, 0.5 * p.relative_u});
        variance += std::pow(0.5 * p.relative_u, 2);
    }
    e.parts.push_back({"described capacitance", 0.5 * family.capacitance_prior()});
    variance += std::pow(0.5 * family.capacitance_prior(), 2);
    e.statement.u95 = 2 * e.statement.value * std::sqrt(variance);
    return e;
}

Status check(const std::vector<KnownResult>& results) {
    if (results.size() < 2) return usage_error("give two results or more; there is nothing to combine in one");
    std::set<std::string> names;
    const KnownResult* with_calculated = nullptr;
    const auto figures = [](const std::optional<KnownValue>& v) {
        return v ? std::pair(v->value, v->u95) : std::pair(0.0, 0.0);
    };
    for (const KnownResult& r : results) {
        if (!names.insert(r.name).second) {
            return usage_error(fmt::format("{} is given twice; a result counts once", r.name));
        }
        // No two sweeps agree in every digit: a copy under another name is the same evidence.
        for (const KnownResult* other = results.data(); other != &r; ++other) {
            if (r.hookup == other->hookup && r.way == other->way && figures(r.resonance) == figures(other->resonance) &&
                figures(r.inductance) == figures(other->inductance)) {
                return usage_error(
                    fmt::format("{} and {} hold the same measurement; a result counts once", other->name, r.name));
            }
        }
        if (!r.calculated_hz) continue;
        if (with_calculated != nullptr && std::abs(*r.calculated_hz / *with_calculated->calculated_hz - 1) > 1e-6) {
            return bad_input(fmt::format(
                "{} and {} were analysed with different descriptions of the coil (calculated {} and {}); analyse all "
                "captures with the same",
                with_calculated->name, r.name,
                record::format_quantity(*with_calculated->calculated_hz, record::Unit::hertz, 6),
                record::format_quantity(*r.calculated_hz, record::Unit::hertz, 6)));
        }
        with_calculated = &r;
    }
    return Done{};
}

Finding disagreement(const std::vector<Entry>& entries, const CombinedValue& value, const char* what) {
    const auto worst = std::max_element(entries.begin(), entries.end(), [](const Entry& a, const Entry& b) {
        return std::abs(a.statement.deviation) < std::abs(b.statement.deviation);
    });
    std::string who;
    if (entries.size() == 2) {
        who = fmt::format("{} and {} lie {:.1f} standard uncertainties apart", entries[0].statement.name,
                          entries[1].statement.name, std::abs(entries[0].statement.deviation));
    } else {
        who = fmt::format("{} lies {:.1f} standard uncertainties from what the others say", worst->statement.name,
                          std::abs(worst->statement.deviation));
    }
    return {
        FindingCode::nonlinear, Weight::reject,
        fmt::format(
            "the results do not agree on the {} (chance {:.1g}): {}; check that the coil stood the same way, with the "
            "same top load, in all of them, and measure again what differs",
            what, value.chance, who)};
}

}  // namespace

std::optional<double> CombinedResult::difference_percent() const {
    if (!resonance || !calculated) return std::nullopt;
    return 100 * (resonance->value / calculated->frequency_hz - 1);
}

Result<CombinedResult> combine(const std::vector<KnownResult>& results,
                               const std::optional<model::CoilDescription>& description) {
    if (const Status fine = check(results); !fine) return fine.error();
    CombinedResult out;
    std::optional<ShapeFamily> family;
    if (description) {
        auto calculated = model::calculate(*description);
        if (!calculated) return calculated.error();
        out.calculated = std::move(*calculated);
        auto built = ShapeFamily::build(*description);
        if (!built) return built.error();
        family = std::move(*built);
    }
    std::vector<Entry> resonance, inductance;
    for (const KnownResult& r : results) {
        if (r.resonance) resonance.push_back(entry_of(KnownQuantity::resonance, r, *r.resonance, r.way));
        if (!r.inductance) continue;
        const bool series = r.resonance.has_value();
        inductance.push_back(entry_of(KnownQuantity::inductance, r, *r.inductance, series ? r.way : "winding"));
        // A series' own resonance holds its inductance already.
        if (!series && family) resonance.push_back(resonance_from_winding(r, *family));
    }
    if (resonance.size() < 2 && inductance.size() < 2) {
        return usage_error(
            "no two of these results speak about the same quantity; give --coil COIL.json so that an "
            "inductance can be turned into a resonance, or further results");
    }
    const auto one = [&](std::vector<Entry>& entries, const char* what, std::optional<CombinedValue>& into) {
        if (entries.empty()) return;
        const CombinedValue value = combine_one(entries);
        if (value.chance < kDisagreementChance) {
            out.findings.push_back(disagreement(entries, value, what));
        } else {
            into = value;
        }
    };
    // What was doubtful alone is doubtful in company.
    for (const KnownResult& r : results) {
        for (const KnownResult::Remark& remark : r.findings) {
            if (remark.weight != "caution") continue;
            for (const FindingCode code : all_finding_codes()) {
                if (code_name(code) != remark.code) continue;
                out.findings.push_back({code, Weight::caution, fmt::format("{}: {}", r.name, remark.text)});
            }
        }
    }
    one(resonance, "resonance", out.resonance);
    one(inductance, "inductance", out.inductance);
    if (out.verdict() == Verdict::rejected) {
        out.resonance.reset();
        out.inductance.reset();
    }
    for (auto* entries : {&resonance, &inductance}) {
        for (Entry& e : *entries) {
            if (out.verdict() == Verdict::rejected) e.statement.weight = 0;
            out.statements.push_back(std::move(e.statement));
        }
    }
    out.assumptions = {
        "parts of the budgets with the same name are one thing and moved all results alike (the same bench, the same "
        "description)",
        "noise, and what a budget does not explain, is independent from result to result",
        "the capacitors of a loading series are independent of everything else that was measured"};
    return out;
}

}  // namespace coldtune::measure

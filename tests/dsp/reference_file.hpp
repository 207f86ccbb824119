// Reads fixtures/reference/*.json. A missing file fails the test.
#pragma once

#include <gtest/gtest.h>

#include <complex>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace coldtune::dsp::testing {

inline nlohmann::json reference_file(const std::string& name) {
    std::ifstream in(std::string(COLDTUNE_FIXTURES) + "/reference/" + name);
    EXPECT_TRUE(in.good()) << "missing fixture " << name;
    return nlohmann::json::parse(in);
}

inline std::vector<double> reals(const nlohmann::json& values) {
    return values.get<std::vector<double>>();
}

inline std::vector<std::complex<double>> complexes(const nlohmann::json& values) {
    const auto re = reals(values.at("real")), im = reals(values.at("imag"));
    std::vector<std::complex<double>> out(re.size());
    for (std::size_t i = 0; i < re.size(); ++i) out[i] = {re[i], im[i]};
    return out;
}

}  // namespace coldtune::dsp::testing

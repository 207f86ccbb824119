// Discrete Fourier transforms of any length, in double precision.
//
//     forward   X[k] = sum over n of x[n] exp(-2 pi j k n / N)          (not scaled)
//     inverse   x[n] = 1/N sum over k of X[k] exp(+2 pi j k n / N)      (forward then inverse gives x back)
//
// Objects of one length share a plan; the plans used last are kept for the next object. They are chosen from the length
// alone, never by timing, so two runs take the same path. An object owns its aligned buffers: one object
// belongs to one thread at a time, any number of objects may work at once, and creating them is safe from any thread.
// Lengths whose only prime factors are 2, 3, 5 and 7 are fastest (see choose_period).
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace coldtune::dsp {

// Plans kept beyond the objects that use them. An analysis goes through fewer lengths than this; a program that runs
// for days and meets ever new ones must not grow with them.
inline constexpr std::size_t most_kept_plans = 16;
// Plans there are at the moment, kept or in use. Safe from any thread.
std::size_t plans_in_memory() noexcept;

// Transform of `size()` real numbers to their `bins()` = size()/2 + 1 non-negative frequencies, and back.
class RealFft {
public:
    // length 1 .. 2^30. Throws std::length_error outside and std::bad_alloc when memory ends.
    explicit RealFft(std::size_t length);
    ~RealFft();
    RealFft(RealFft&&) noexcept;
    RealFft& operator=(RealFft&&) noexcept;

    [[nodiscard]] std::size_t size() const noexcept;
    [[nodiscard]] std::size_t bins() const noexcept;

    // The object's own buffers, for work without copies.
    [[nodiscard]] std::span<double> time() noexcept;
    [[nodiscard]] std::span<std::complex<double>> spectrum() noexcept;
    void forward();  // time() to spectrum(); time() keeps its contents
    void inverse();  // spectrum() to time(); spectrum() loses its contents

    // The same through the buffers: `samples` has size() elements, `bins` bins() elements. The imaginary parts of the
    // first bin, and of the last for an even length, are ignored by the inverse.
    void forward(std::span<const double> samples, std::span<std::complex<double>> bins);
    void inverse(std::span<const std::complex<double>> bins, std::span<double> samples);

private:
    struct Work;
    std::unique_ptr<Work> work_;
};

// Transform of `size()` complex numbers.
class ComplexFft {
public:
    explicit ComplexFft(std::size_t length);  // as for RealFft
    ~ComplexFft();
    ComplexFft(ComplexFft&&) noexcept;
    ComplexFft& operator=(ComplexFft&&) noexcept;

    [[nodiscard]] std::size_t size() const noexcept;
    // `in` and `out` have size() elements and may be the same.
    void forward(std::span<const std::complex<double>> in, std::span<std::complex<double>> out);
    void inverse(std::span<const std::complex<double>> in, std::span<std::complex<double>> out);

private:
    struct Work;
    std::unique_ptr<Work> work_;
};

}  // namespace coldtune::dsp

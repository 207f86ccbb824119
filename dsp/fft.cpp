#include "dsp/fft.hpp"

#include <fftw3.h>

#include <algorithm>
#include <atomic>
#include <cassert>
#include <iterator>
#include <list>
#include <mutex>
#include <new>
#include <stdexcept>
#include <string>

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

constexpr std::size_t longest = std::size_t{1} << 30;

struct FreeAligned {
    void operator()(void* memory) const noexcept { fftw_free(memory); }
};
template <typename T>
using Buffer = std::unique_ptr<T[], FreeAligned>;

template <typename T>
Buffer<T> aligned(std::size_t count) {
    void* memory = fftw_malloc(sizeof(T) * count);
    if (memory == nullptr) throw std::bad_alloc();
    T* first = static_cast<T*>(memory);
    std::uninitialized_value_construct_n(first, count);
    return Buffer<T>(first);
}

// FFTW's complex is two doubles in a row, the layout the C++ standard gives std::complex<double> as well.
fftw_complex* raw(Complex* values) {
    return reinterpret_cast<fftw_complex*>(values);
}

// Only fftw_execute_* may be called from several threads; everything else of the library goes through this lock.
std::mutex& planner_lock() {
    static std::mutex lock;
    return lock;
}

enum class Kind { real, complex };
enum class Way { forward, inverse };

// One direction of one length: many transforms only ever go forward.
struct Plan {
    fftw_plan plan = nullptr;
    Plan() { ++alive; }
    Plan(const Plan&) = delete;
    Plan& operator=(const Plan&) = delete;
    ~Plan() {
        const std::lock_guard<std::mutex> hold(planner_lock());
        if (plan != nullptr) fftw_destroy_plan(plan);
        --alive;
    }
    static inline std::atomic<std::size_t> alive = 0;
};
using SharedPlan = std::shared_ptr<const Plan>;

// The planner sees scratch of the same alignment as every later buffer, which is what new-array execution requires.
// FFTW_ESTIMATE looks at the length only; measured plans and stored wisdom would differ between machines and runs.
SharedPlan made_plan(Kind kind, Way way, std::size_t length) {
    const int n = static_cast<int>(length);
    auto made = std::make_shared<Plan>();
    auto a = aligned<Complex>(length);
    auto t = aligned<double>(kind == Kind::real ? length : 1);
    auto b = aligned<Complex>(kind == Kind::complex ? length : 1);
    const std::lock_guard<std::mutex> hold(planner_lock());
    if (kind == Kind::real) {
        made->plan = way == Way::forward
                         ? fftw_plan_dft_r2c_1d(n, t.get(), raw(a.get()), FFTW_ESTIMATE)
                         : fftw_plan_dft_c2r_1d(n, raw(a.get()), t.get(), FFTW_ESTIMATE | FFTW_DESTROY_INPUT);
    } else {
        made->plan = fftw_plan_dft_1d(n, raw(a.get()), raw(b.get()), way == Way::forward ? FFTW_FORWARD : FFTW_BACKWARD,
                                      FFTW_ESTIMATE);
    }
    // The library remembers something of every length it ever planned, which would grow without end.
    fftw_forget_wisdom();
    if (made->plan == nullptr) throw std::bad_alloc();
    return made;
}

// The plans used last, the latest in front.
class RecentPlans {
public:
    SharedPlan get(Kind kind, Way way, std::size_t length) {
        if (length == 0 || length > longest) throw std::length_error("transform length " + std::to_string(length));
        if (SharedPlan known = find(kind, way, length)) return known;
        // Not under the lock: two threads may make the same plan once, which costs a moment.
        SharedPlan plan = made_plan(kind, way, length);
        std::list<Entry> dropped;  // destroyed after the lock is left
        const std::lock_guard<std::mutex> hold(lock_);
        entries_.push_front({kind, way, length, plan});
        if (entries_.size() > most_kept_plans) dropped.splice(dropped.begin(), entries_, std::prev(entries_.end()));
        return plan;
    }

private:
    struct Entry {
        Kind kind;
        Way way;
        std::size_t length;
        SharedPlan plan;
    };

    SharedPlan find(Kind kind, Way way, std::size_t length) {
        const std::lock_guard<std::mutex> hold(lock_);
        const auto entry = std::find_if(entries_.begin(), entries_.end(), [&](const Entry& e) {
            return e.kind == kind && e.way == way && e.length == length;
        });
        if (entry == entries_.end()) return nullptr;
        entries_.splice(entries_.begin(), entries_, entry);
        return entry->plan;
    }

    std::mutex lock_;
    std::list<Entry> entries_;
};

SharedPlan plan_for(Kind kind, Way way, std::size_t length) {
    // The planner's lock must outlive the plans that are destroyed under it when the program ends.
    planner_lock();
    static RecentPlans plans;
    return plans.get(kind, way, length);
}

// Both directions of one length; the inverse is planned when first asked for.
class Plans {
public:
    Plans(Kind kind, std::size_t length)
        : kind_(kind), length_(length), forward_(plan_for(kind, Way::forward, length)) {}
    [[nodiscard]] fftw_plan forward() const { return forward_->plan; }
    [[nodiscard]] fftw_plan inverse() {
        if (inverse_ == nullptr) inverse_ = plan_for(kind_, Way::inverse, length_);
        return inverse_->plan;
    }

private:
    Kind kind_;
    std::size_t length_;
    SharedPlan forward_, inverse_;
};

}  // namespace

std::size_t plans_in_memory() noexcept {
    return Plan::alive;
}

struct RealFft::Work {
    explicit Work(std::size_t n)
        : plans(Kind::real, n), length(n), time(aligned<double>(n)), spectrum(aligned<Complex>(n / 2 + 1)) {}
    Plans plans;
    std::size_t length;
    Buffer<double> time;
    Buffer<Complex> spectrum;
};

RealFft::RealFft(std::size_t length) : work_(std::make_unique<Work>(length)) {}
RealFft::~RealFft() = default;
RealFft::RealFft(RealFft&&) noexcept = default;
RealFft& RealFft::operator=(RealFft&&) noexcept = default;

std::size_t RealFft::size() const noexcept {
    return work_->length;
}
std::size_t RealFft::bins() const noexcept {
    return work_->length / 2 + 1;
}
std::span<double> RealFft::time() noexcept {
    return {work_->time.get(), size()};
}
std::span<Complex> RealFft::spectrum() noexcept {
    return {work_->spectrum.get(), bins()};
}

void RealFft::forward() {
    fftw_execute_dft_r2c(work_->plans.forward(), work_->time.get(), raw(work_->spectrum.get()));
}

void RealFft::inverse() {
    fftw_execute_dft_c2r(work_->plans.inverse(), raw(work_->spectrum.get()), work_->time.get());
    const double scale = 1.0 / static_cast<double>(size());
    for (double& value : time()) value *= scale;
}

void RealFft::forward(std::span<const double> samples, std::span<Complex> bins_out) {
    assert(samples.size() == size() && bins_out.size() == bins());
    std::copy(samples.begin(), samples.end(), work_->time.get());
    forward();
    std::copy_n(work_->spectrum.get(), bins(), bins_out.begin());
}

void RealFft::inverse(std::span<const Complex> bins_in, std::span<double> samples) {
    assert(samples.size() == size() && bins_in.size() == bins());
    std::copy(bins_in.begin(), bins_in.end(), work_->spectrum.get());
    inverse();
    std::copy_n(work_->time.get(), size(), samples.begin());
}

struct ComplexFft::Work {
    explicit Work(std::size_t n)
        : plans(Kind::complex, n), length(n), in(aligned<Complex>(n)), out(aligned<Complex>(n)) {}
    Plans plans;
    std::size_t length;
    Buffer<Complex> in;
    Buffer<Complex> out;
};

ComplexFft::ComplexFft(std::size_t length) : work_(std::make_unique<Work>(length)) {}
ComplexFft::~ComplexFft() = default;
ComplexFft::ComplexFft(ComplexFft&&) noexcept = default;
ComplexFft& ComplexFft::operator=(ComplexFft&&) noexcept = default;

std::size_t ComplexFft::size() const noexcept {
    return work_->length;
}

void ComplexFft::forward(std::span<const Complex> in, std::span<Complex> out) {
    assert(in.size() == size() && out.size() == size());
    std::copy(in.begin(), in.end(), work_->in.get());
    fftw_execute_dft(work_->plans.forward(), raw(work_->in.get()), raw(work_->out.get()));
    std::copy_n(work_->out.get(), size(), out.begin());
}

void ComplexFft::inverse(std::span<const Complex> in, std::span<Complex> out) {
    assert(in.size() == size() && out.size() == size());
    std::copy(in.begin(), in.end(), work_->in.get());
    fftw_execute_dft(work_->plans.inverse(), raw(work_->in.get()), raw(work_->out.get()));
    const double scale = 1.0 / static_cast<double>(size());
    for (std::size_t i = 0; i < size(); ++i) out[i] = work_->out[i] * scale;
}

}  // namespace coldtune::dsp

// Samples written by one process and read by another while they are written: a file mapped by both.
#pragma once

#include <fcntl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <new>
#include <span>
#include <string>

namespace coldtune::testing {

struct Tape {
    static constexpr std::size_t capacity = 192000UL * 30;
    std::atomic<std::size_t> frames = 0;
    std::atomic<std::int64_t> fault_ns = 0;  // when something was first broken on purpose: steady clock, 0 = not yet
    float samples[capacity];

    // Maps a new file; null if it cannot be written. Unmapped when the process ends.
    static Tape* create(const std::string& path) {
        void* memory = map(path, O_RDWR | O_CREAT | O_TRUNC);
        return memory == nullptr ? nullptr : new (memory) Tape;
    }
    struct Unmap {
        void operator()(Tape* tape) const { munmap(tape, sizeof(Tape)); }
    };
    // Maps what another process created; null if it cannot be read.
    static std::unique_ptr<Tape, Unmap> open(const std::string& path) {
        return std::unique_ptr<Tape, Unmap>(static_cast<Tape*>(map(path, O_RDWR)));
    }

    // What does not fit is dropped.
    void append(const float* input, std::size_t count) {
        const std::size_t begin = frames.load(std::memory_order_relaxed);
        const std::size_t fitting = std::min(count, capacity - begin);
        std::copy_n(input, fitting, samples + begin);
        frames.store(begin + fitting, std::memory_order_release);
    }
    std::span<const float> recorded() const { return {samples, frames.load(std::memory_order_acquire)}; }

    // Keeps the first moment.
    void note_fault() {
        if (fault_ns == 0)
            fault_ns = std::chrono::nanoseconds(std::chrono::steady_clock::now().time_since_epoch()).count();
    }
    // Seconds since then; the steady clock is the same in every process of a machine. Negative: nothing was broken.
    double since_fault_s() const {
        const std::chrono::nanoseconds now = std::chrono::steady_clock::now().time_since_epoch();
        return fault_ns == 0 ? -1 : static_cast<double>(now.count() - fault_ns) / 1e9;
    }

private:
    Tape() {}  // leaves the samples as the file has them: zeros, and no page touched
    static void* map(const std::string& path, int flags) {
        const int file = ::open(path.c_str(), flags | O_CLOEXEC, 0600);
        if (file < 0) return nullptr;
        void* memory = MAP_FAILED;
        if (ftruncate(file, sizeof(Tape)) == 0) {
            memory = mmap(nullptr, sizeof(Tape), PROT_READ | PROT_WRITE, MAP_SHARED, file, 0);
        }
        close(file);
        return memory == MAP_FAILED ? nullptr : memory;
    }
};

}  // namespace coldtune::testing

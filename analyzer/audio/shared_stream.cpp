#include "analyzer/audio/shared_stream.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <new>
#include <optional>
#include <utility>

namespace coldtune::audio {
namespace {

constexpr std::size_t page_bytes = 4096;
constexpr std::size_t header_bytes = (sizeof(StreamBlock) + page_bytes - 1) / page_bytes * page_bytes;

std::size_t bytes_for(std::uint64_t stimulus_frames, std::uint64_t total_frames) {
    return header_bytes + (stimulus_frames + 2 * total_frames) * sizeof(float);
}

// What the system could hand out without swapping; nullopt where it does not say.
std::optional<std::size_t> available_memory_bytes() {
    std::ifstream file("/proc/meminfo");
    std::string key;
    while (file >> key) {
        std::size_t kibibytes = 0;
        if (key == "MemAvailable:" && file >> kibibytes) return kibibytes * 1024;
        std::getline(file, key);
    }
    return std::nullopt;
}

}  // namespace

void put_text(std::span<char> field, std::string_view text) {
    std::size_t length = std::min(text.size(), field.size() - 1);
    // Never a character cut in two.
    while (length < text.size() && length > 0 && (static_cast<unsigned char>(text[length]) & 0xC0U) == 0x80U) --length;
    std::memcpy(field.data(), text.data(), length);
    field[length] = '\0';
}

SharedStream::SharedStream(int descriptor, StreamBlock* block, std::size_t bytes) noexcept
    : descriptor_(descriptor), block_(block), bytes_(bytes) {}

SharedStream::SharedStream(SharedStream&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)),
      block_(std::exchange(other.block_, nullptr)),
      bytes_(std::exchange(other.bytes_, 0)) {}

SharedStream& SharedStream::operator=(SharedStream&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    std::swap(block_, other.block_);
    std::swap(bytes_, other.bytes_);
    return *this;
}

SharedStream::~SharedStream() {
    if (block_ != nullptr) munmap(block_, bytes_);
    if (descriptor_ >= 0) close(descriptor_);
}

Result<SharedStream> SharedStream::create(std::uint64_t stimulus_frames, std::uint64_t total_frames) {
    if (total_frames > longest_frames || stimulus_frames > total_frames) {
        return usage_error(
            fmt::format("the recording would be {} frames long, more than the {} that fit (10 minutes at "
                        "384 kHz): use fewer or shorter periods",
                        total_frames, longest_frames));
    }
    const std::size_t bytes = bytes_for(stimulus_frames, total_frames);
    // The recording is copied to doubles afterwards, 16 bytes a frame, while the block still exists.
    const std::size_t needed = bytes + total_frames * 2 * sizeof(double);
    const auto available = available_memory_bytes();
    if (available && needed > *available) {
        return device_error(
            fmt::format("the recording needs {} MB of memory and {} MB are free: close other programs or "
                        "use a shorter sweep",
                        needed >> 20, *available >> 20));
    }
    // Away from 0..2 and from the child's descriptor, so that wiring the child up cannot overwrite it.
    const int low = memfd_create("coldtune-audio", MFD_CLOEXEC);
    const int descriptor = low < 0 ? -1 : fcntl(low, F_DUPFD_CLOEXEC, 10);
    if (low >= 0) close(low);
    if (descriptor < 0) {
        return device_error(fmt::format("cannot create shared memory for the audio process: {}", std::strerror(errno)));
    }
    const int reserved = posix_fallocate(descriptor, 0, static_cast<off_t>(bytes));
    void* memory = reserved != 0 ? MAP_FAILED : mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_SHARED, descriptor, 0);
    if (memory == MAP_FAILED) {
        const int reason = reserved != 0 ? reserved : errno;
        close(descriptor);
        return device_error(
            fmt::format("cannot reserve {} MB of memory for the recording ({}): close other programs or "
                        "use a shorter sweep",
                        (bytes >> 20) + 1, std::strerror(reason)));
    }
    auto* block = new (memory) StreamBlock;
    block->stimulus_frames = stimulus_frames;
    block->total_frames = total_frames;
    block->job_stimulus_frames = stimulus_frames;
    block->job_total_frames = total_frames;
    return SharedStream(descriptor, block, bytes);
}

Result<SharedStream> SharedStream::attach(int descriptor) {
    struct stat status = {};
    if (fstat(descriptor, &status) != 0 || std::cmp_less(status.st_size, header_bytes)) {
        return device_error("the audio process was started without its shared memory");
    }
    const auto bytes = static_cast<std::size_t>(status.st_size);
    // Populated, so that the callback never waits for a page.
    void* memory = mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_POPULATE, descriptor, 0);
    if (memory == MAP_FAILED) return device_error("the audio process cannot map its shared memory");
    auto* block = std::launder(static_cast<StreamBlock*>(memory));
    SharedStream stream(descriptor, block, bytes);
    if (block->magic != StreamBlock::magic_value || block->total_frames > longest_frames ||
        block->stimulus_frames > block->total_frames ||
        bytes_for(block->stimulus_frames, block->total_frames) != bytes) {
        return device_error("the audio process was handed memory that is not its own");
    }
    return stream;
}

float* SharedStream::samples() const noexcept {
    auto* base = reinterpret_cast<std::byte*>(block_);
    return reinterpret_cast<float*>(base + header_bytes);
}

std::span<float> SharedStream::stimulus() const noexcept {
    return {samples(), block_->stimulus_frames};
}

std::span<float> SharedStream::generator() const noexcept {
    return {samples() + block_->stimulus_frames, block_->total_frames};
}

std::span<float> SharedStream::coil() const noexcept {
    return {samples() + block_->stimulus_frames + block_->total_frames, block_->total_frames};
}

}  // namespace coldtune::audio

#include "analyzer/audio/wav_layout.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <optional>
#include <string_view>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::audio {
namespace {

// Bytes of a file at an offset, little-endian numbers out of them.
class Block {
public:
    static std::optional<Block> read(int descriptor, std::uint64_t offset, std::size_t size) {
        Block block;
        if (size > block.bytes_.size()) return std::nullopt;
        const ssize_t got = ::pread(descriptor, block.bytes_.data(), size, static_cast<off_t>(offset));
        if (got < 0 || static_cast<std::size_t>(got) != size) return std::nullopt;
        return block;
    }
    [[nodiscard]] std::string_view text(std::size_t at) const { return {bytes_.data() + at, 4}; }
    [[nodiscard]] std::uint64_t number(std::size_t at, std::size_t size) const {
        std::uint64_t value = 0;
        for (std::size_t i = size; i-- > 0;) value = (value << 8) | static_cast<unsigned char>(bytes_[at + i]);
        return value;
    }

private:
    std::array<char, 40> bytes_{};
};

constexpr std::uint64_t unknown_size = 0xFFFFFFFF;
constexpr int extensible_tag = 0xFFFE;
constexpr std::size_t most_chunks = 4096;  // before the samples; real files have a handful

struct Chunks {
    std::uint64_t format_at = 0;
    std::uint64_t format_size = 0;
    std::uint64_t data_at = 0;
    std::uint64_t data_size = 0;
};

Result<Chunks> find_chunks(int descriptor, std::uint64_t length, bool rf64) {
    Chunks chunks;
    std::optional<std::uint64_t> wide_data_size;
    std::uint64_t at = 12;
    for (std::size_t count = 0; count < most_chunks && at + 8 <= length; ++count) {
        const auto header = Block::read(descriptor, at, 8);
        if (!header) return bad_input("cannot be read");
        const std::string_view name = header->text(0);
        std::uint64_t size = header->number(4, 4);
        at += 8;
        if (name == "data") {
            if (rf64 && size == unknown_size && wide_data_size) size = *wide_data_size;
            chunks.data_at = at;
            chunks.data_size = size;
            return chunks;
        }
        if (size > length - at) {
            return bad_input(fmt::format("ends inside its part {}: cut short or damaged; record or copy it again",
                                         record::in_quotes(name)));
        }
        if (name == "fmt ") {
            chunks.format_at = at;
            chunks.format_size = size;
        } else if (name == "ds64" && size >= 16) {
            const auto sizes = Block::read(descriptor, at, 16);
            if (sizes) wide_data_size = sizes->number(8, 8);
        }
        at += size + size % 2;
    }
    return bad_input("has no samples in it; record or save it again");
}

}  // namespace

Result<WavLayout> read_wav_layout(int descriptor, std::uint64_t length) {
    const auto riff = Block::read(descriptor, 0, 12);
    if (!riff || riff->text(8) != "WAVE") return bad_input("is not a WAV or FLAC file");
    const auto chunks = find_chunks(descriptor, length, riff->text(0) == "RF64");
    if (!chunks) return chunks.error();
    if (chunks->format_size < 16) return bad_input("does not say how its samples are stored; save it again");

    const auto format = Block::read(descriptor, chunks->format_at, std::min<std::uint64_t>(chunks->format_size, 40));
    if (!format) return bad_input("cannot be read");
    WavLayout layout;
    layout.format_tag = static_cast<int>(format->number(0, 2));
    layout.channels = static_cast<int>(format->number(2, 2));
    const std::uint64_t frame_bytes = format->number(12, 2);
    layout.container_bits = static_cast<int>(format->number(14, 2));
    layout.valid_bits = layout.container_bits;
    if (layout.format_tag == extensible_tag && chunks->format_size >= 40) {
        const int valid = static_cast<int>(format->number(18, 2));
        if (valid > 0 && valid <= layout.container_bits) layout.valid_bits = valid;
        layout.format_tag = static_cast<int>(format->number(24, 2));
    }
    if (frame_bytes == 0) return bad_input("its frames have no size; save it again");
    const std::uint64_t present = length - std::min(chunks->data_at, length);
    if (chunks->data_size > present) {
        return bad_input(
            fmt::format("its header promises {} bytes of samples but {} are there: cut short, or never "
                        "closed by the recorder; record or save it again",
                        chunks->data_size, present));
    }
    if (chunks->data_size % frame_bytes != 0) {
        return bad_input("ends in the middle of a frame: cut short or damaged; record or save it again");
    }
    layout.frames = chunks->data_size / frame_bytes;
    return layout;
}

}  // namespace coldtune::audio

#include "analyzer/audio/capture_file.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sndfile.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <cstdint>
#include <limits>
#include <memory>
#include <new>
#include <system_error>

#include "analyzer/audio/capture_note.hpp"
#include "analyzer/audio/wav_layout.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::audio {
namespace {

namespace fs = std::filesystem;

std::string name_of(const fs::path& path) {
    return record::one_line(path.string(), 200);
}

struct CloseSound {
    void operator()(SNDFILE* file) const { sf_close(file); }
};
using SoundFile = std::unique_ptr<SNDFILE, CloseSound>;

class Descriptor {
public:
    explicit Descriptor(int value) : value_(value) {}
    ~Descriptor() {
        if (value_ >= 0) ::close(value_);
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    [[nodiscard]] int get() const { return value_; }

private:
    int value_;
};

// The first one or two channels of a file, whatever it is used for.
struct Sound {
    double sample_rate_hz = 0;
    std::vector<std::vector<double>> channels;
    std::optional<CaptureNote> note;
    int bits = 0;
    bool floating = false;
    int channels_of_file = 0;
};

struct Coding {
    int bits = 0;
    bool floating = false;
};

// What the samples are, or the sentence why they cannot be used.
Result<Coding> coding_of(int format) {
    switch (format & SF_FORMAT_SUBMASK) {
        case SF_FORMAT_PCM_16:
            return Coding{16, false};
        case SF_FORMAT_PCM_24:
            return Coding{24, false};
        case SF_FORMAT_PCM_32:
            return Coding{32, false};
        case SF_FORMAT_FLOAT:
            return Coding{32, true};
        case SF_FORMAT_DOUBLE:
            return Coding{64, true};
        case SF_FORMAT_PCM_U8:
        case SF_FORMAT_PCM_S8:
            return bad_input("8-bit samples are too coarse to measure with; record with 16 bits or more");
        default:
            return bad_input("its samples are compressed or coded; save it as 16- or 24-bit PCM or float");
    }
}

constexpr double loudest_sample = 1e6;  // beyond this a float file is not on a full scale of 1 at all

Error truncated(sf_count_t promised, std::size_t got) {
    return bad_input(
        fmt::format("damaged or cut short: {} of {} frames can be read; record or copy it again", got, promised));
}

// Appends the next `frames` frames, of which `before` have been read so far.
Status read_frames(SNDFILE* file, const SF_INFO& info, std::size_t before, std::size_t frames,
                   std::vector<std::vector<double>>& channels) {
    const auto width = static_cast<std::size_t>(info.channels);
    const std::size_t block_frames = std::min(frames, std::max<std::size_t>(1, 16384 / width));
    std::vector<double> block(block_frames * width);
    std::size_t done = 0;
    while (done < frames) {
        const auto wanted = static_cast<sf_count_t>(std::min(block_frames, frames - done));
        const sf_count_t got = sf_readf_double(file, block.data(), wanted);
        if (got <= 0) break;
        for (std::size_t frame = 0; frame < static_cast<std::size_t>(got); ++frame) {
            for (std::size_t c = 0; c < channels.size(); ++c) {
                const double sample = block[frame * width + c];
                if (!(std::abs(sample) < loudest_sample)) {
                    return bad_input(fmt::format(
                        "channel {} holds {} at frame {}, which is no sample of full scale 1; save it again", c + 1,
                        std::isfinite(sample) ? fmt::format("{}", sample) : "a value that is not a number",
                        before + done + frame + 1));
                }
                channels[c].push_back(sample);
            }
        }
        done += static_cast<std::size_t>(got);
    }
    if (done < frames || sf_error(file) != SF_ERR_NO_ERROR) return truncated(info.frames, before + done);
    return Done{};
}

struct OpenSound {
    SoundFile file;
    SF_INFO info{};
    Sound facts;  // no samples yet
};

void take_note(SNDFILE* file, int header_rate_hz, Sound& sound) {
    const char* comment = sf_get_string(file, SF_STR_COMMENT);
    auto stored = comment != nullptr ? parse_note(comment) : std::nullopt;
    if (!stored) return;
    sound.note = std::move(stored->note);
    // The header rounds the rate to whole hertz; anything further off belongs to another recording.
    const double exact_hz = stored->sample_rate_hz;
    if (std::abs(exact_hz - header_rate_hz) <= 0.5) sound.sample_rate_hz = exact_hz;
}

// Everything but the samples. The sentences of this function have no file name yet.
Result<OpenSound> open_sound(int descriptor, std::uint64_t length, int least_channels) {
    std::array<char, 4> magic{};
    if (::pread(descriptor, magic.data(), magic.size(), 0) != 4) return bad_input("is not a WAV or FLAC file");
    const std::string_view kind(magic.data(), magic.size());
    std::optional<WavLayout> layout;
    if (kind == "RIFF" || kind == "RF64") {
        auto read = read_wav_layout(descriptor, length);
        if (!read) return read.error();
        layout = *read;
    } else if (kind != "fLaC") {
        return bad_input("is not a WAV or FLAC file; record or convert it to one");
    }

    OpenSound open;
    SF_INFO& info = open.info;
    open.file.reset(sf_open_fd(descriptor, SFM_READ, &info, SF_FALSE));
    if (!open.file) {
        return bad_input(fmt::format("cannot be read as audio ({}); record or convert it again",
                                     record::one_line(sf_strerror(nullptr), 100)));
    }
    const auto coding = coding_of(info.format);
    if (!coding) return coding.error();
    if (layout && layout->valid_bits <= 8) return coding_of(SF_FORMAT_PCM_U8).error();
    if (info.samplerate < lowest_capture_rate_hz || info.samplerate > highest_capture_rate_hz) {
        return bad_input(fmt::format("its sample rate of {} Hz is outside 8 kHz to 384 kHz; record at a usual rate",
                                     info.samplerate));
    }
    if (info.channels < least_channels) {
        return bad_input("has one channel; two are needed (1 generator side, 2 coil side)");
    }
    if (layout && layout->frames != static_cast<std::uint64_t>(std::max<sf_count_t>(info.frames, 0))) {
        return truncated(static_cast<sf_count_t>(layout->frames), static_cast<std::size_t>(info.frames));
    }
    if (info.frames <= 0) return bad_input("holds no samples; record it again");
    if (info.frames == SF_COUNT_MAX)
        return bad_input("its header does not say how long it is; save it as a whole file");
    Sound& sound = open.facts;
    sound.sample_rate_hz = info.samplerate;
    sound.bits = coding->floating || !layout ? coding->bits : layout->valid_bits;
    sound.floating = coding->floating;
    sound.channels_of_file = info.channels;
    take_note(open.file.get(), info.samplerate, sound);
    return open;
}

Result<Sound> read_open(int descriptor, std::uint64_t length, int least_channels) {
    auto open = open_sound(descriptor, length, least_channels);
    if (!open) return open.error();
    const SF_INFO& info = open->info;
    if (static_cast<std::uint64_t>(info.frames) > most_capture_frames) {
        return bad_input(fmt::format(
            "{} frames are too many; at most {} ({:.0f} s at this rate) are read at once; cut it, or give analyze its "
            "--period",
            info.frames, most_capture_frames, static_cast<double>(most_capture_frames) / info.samplerate));
    }
    Sound sound = std::move(open->facts);
    const auto frames = static_cast<std::size_t>(info.frames);
    sound.channels.resize(static_cast<std::size_t>(std::min(info.channels, 2)));
    for (auto& channel : sound.channels) channel.reserve(frames);
    if (const Status read = read_frames(open->file.get(), info, 0, frames, sound.channels); !read) return read.error();
    return sound;
}

struct OpenFile {
    std::unique_ptr<Descriptor> descriptor;
    std::uint64_t length = 0;
};

Result<OpenFile> open_file(const fs::path& path) {
    const std::string name = name_of(path);
    struct stat status {};
    if (::stat(path.c_str(), &status) != 0) {
        const int code = errno;
        if (code == ENOENT || code == ENOTDIR) return bad_input(name + ": there is no such file; check its name and folder");
        return bad_input(fmt::format("{}: cannot be opened: {}", name, std::generic_category().message(code)));
    }
    if (S_ISDIR(status.st_mode)) return bad_input(name + ": is a folder; name a file");
    if (!S_ISREG(status.st_mode)) return bad_input(name + ": is not an ordinary file; save the capture to one");
    if (status.st_size == 0) return bad_input(name + ": is empty; record it again");
    OpenFile file{std::make_unique<Descriptor>(::open(path.c_str(), O_RDONLY | O_CLOEXEC)),
                  static_cast<std::uint64_t>(status.st_size)};
    if (file.descriptor->get() < 0) {
        return bad_input(fmt::format("{}: cannot be opened: {}", name, std::generic_category().message(errno)));
    }
    return file;
}

Error named(const fs::path& path, const Error& error) {
    return {error.kind, name_of(path) + ": " + error.message};
}

Result<Sound> read_sound(const fs::path& path, int least_channels) {
    const auto file = open_file(path);
    if (!file) return file.error();
    try {
        auto sound = read_open(file->descriptor->get(), file->length, least_channels);
        if (!sound) return named(path, sound.error());
        return sound;
    } catch (const std::bad_alloc&) {
        return bad_input(name_of(path) + ": too long for this computer's memory; cut it");
    }
}

// Writing

struct Target {
    int format = 0;  // libsndfile's
    int bits = 0;    // of PCM
    bool floating = false;
};

std::string lower_extension(const fs::path& path) {
    std::string extension = path.extension().string();
    for (char& c : extension) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    return extension;
}

Result<Target> target_for(const fs::path& path, SampleFormat format) {
    const std::string extension = lower_extension(path);
    const bool flac = extension == ".flac";
    if (!flac && extension != ".wav") {
        return usage_error(name_of(path) + ": captures are written as .wav or .flac; end the name in one of them");
    }
    const int container = flac ? SF_FORMAT_FLAC : SF_FORMAT_WAV;
    switch (format) {
        case SampleFormat::pcm16:
            return Target{container | SF_FORMAT_PCM_16, 16, false};
        case SampleFormat::pcm24:
            return Target{container | SF_FORMAT_PCM_24, 24, false};
        case SampleFormat::pcm32:
        case SampleFormat::float32:
        case SampleFormat::float64:
            break;
    }
    if (flac) return usage_error(name_of(path) + ": FLAC holds 16- or 24-bit samples; write a .wav file instead");
    if (format == SampleFormat::pcm32) return Target{container | SF_FORMAT_PCM_32, 32, false};
    if (format == SampleFormat::float32) return Target{container | SF_FORMAT_FLOAT, 32, true};
    return Target{container | SF_FORMAT_DOUBLE, 64, true};
}

using Channels = std::vector<const std::vector<double>*>;

// Nearest code of `bits` bits, ties to even.
double pcm_code(double sample, int bits) {
    return std::nearbyint(std::ldexp(sample, bits - 1));
}

Status check_samples(const std::string& name, const Channels& channels, const Target& target) {
    const std::size_t frames = channels[0]->size();
    if (frames == 0) return bad_input(name + ": there are no samples to write");
    if (frames > most_capture_frames) {
        return bad_input(
            fmt::format("{}: {} frames are too many; at most {} are written", name, frames, most_capture_frames));
    }
    constexpr auto largest_float = static_cast<double>(std::numeric_limits<float>::max());
    const double largest_code = std::ldexp(1.0, target.bits - 1) - 1;
    const double limit = !target.floating ? largest_code : target.bits == 32 ? largest_float : HUGE_VAL;
    for (std::size_t c = 0; c < channels.size(); ++c) {
        if (channels[c]->size() != frames) return bad_input(name + ": the channels differ in length");
        for (std::size_t i = 0; i < frames; ++i) {
            const double sample = (*channels[c])[i];
            const double code = target.floating ? sample : pcm_code(sample, target.bits);
            const bool fits =
                std::isfinite(sample) && code <= limit && (target.floating ? code >= -limit : code >= -limit - 1);
            if (fits) continue;
            return bad_input(fmt::format("{}: channel {} holds {} at frame {}, beyond full scale; lower the level",
                                         name, c + 1, std::isfinite(sample) ? fmt::format("{}", sample) : "no number",
                                         i + 1));
        }
    }
    return Done{};
}

// Whole frames through one block of interleaved values; false when the library took fewer.
template <typename Value, typename Convert, typename Write>
bool write_blocks(const Channels& channels, Convert convert, Write write) {
    const std::size_t width = channels.size();
    const std::size_t frames = channels[0]->size();
    constexpr std::size_t block_frames = 8192;
    std::vector<Value> block(block_frames * width);
    for (std::size_t start = 0; start < frames; start += block_frames) {
        const std::size_t count = std::min(block_frames, frames - start);
        for (std::size_t i = 0; i < count; ++i) {
            for (std::size_t c = 0; c < width; ++c) block[i * width + c] = convert((*channels[c])[start + i]);
        }
        const auto wanted = static_cast<sf_count_t>(count);
        if (write(block.data(), wanted) != wanted) return false;
    }
    return true;
}

bool write_frames(SNDFILE* file, const Channels& channels, const Target& target) {
    if (target.floating) {
        return write_blocks<double>(
            channels, [](double sample) { return sample; },
            [&](const double* block, sf_count_t count) { return sf_writef_double(file, block, count); });
    }
    // The library takes codes at the top of 32 bits and shifts them down: exact.
    return write_blocks<int>(
        channels,
        [&](double sample) { return static_cast<int>(std::ldexp(pcm_code(sample, target.bits), 32 - target.bits)); },
        [&](const int* block, sf_count_t count) { return sf_writef_int(file, block, count); });
}

Status write_sound(const fs::path& path, const Channels& channels, double sample_rate_hz, SampleFormat format,
                   const std::optional<CaptureNote>& note) {
    const std::string name = name_of(path);
    const auto target = target_for(path, format);
    if (!target) return target.error();
    if (!(sample_rate_hz >= lowest_capture_rate_hz && sample_rate_hz <= highest_capture_rate_hz)) {
        return bad_input(fmt::format("{}: a sample rate of {} Hz is outside 8 kHz to 384 kHz", name, sample_rate_hz));
    }
    if (!note && sample_rate_hz != std::round(sample_rate_hz)) {
        return bad_input(
            fmt::format("{}: a file without a note cannot hold the broken sample rate {} Hz", name, sample_rate_hz));
    }
    if (Status fit = check_samples(name, channels, *target); !fit) return fit;
    auto part = record::AtomicFile::create(path);
    if (!part) return part.error();

    SF_INFO info{};
    info.samplerate = static_cast<int>(std::lround(sample_rate_hz));
    info.channels = static_cast<int>(channels.size());
    info.format = target->format;
    const auto failed = [&](const char* reason) {
        return bad_input(fmt::format("{}: could not be written: {}; free some space or choose another place", name,
                                     record::one_line(reason, 100)));
    };
    SoundFile file(sf_open_fd(part->descriptor(), SFM_WRITE, &info, SF_FALSE));
    if (!file) return failed(sf_strerror(nullptr));
    // The peak chunk of float files holds the time of day: the same capture would not give the same bytes.
    sf_command(file.get(), SFC_SET_ADD_PEAK_CHUNK, nullptr, SF_FALSE);
    if (note && sf_set_string(file.get(), SF_STR_COMMENT, note_text(*note, sample_rate_hz).c_str()) != 0) {
        return failed(sf_strerror(file.get()));
    }
    if (!write_frames(file.get(), channels, *target)) return failed(sf_strerror(file.get()));
    if (const int fault = sf_close(file.release()); fault != 0) return failed(sf_error_number(fault));
    return part->commit();
}

}  // namespace

Result<CaptureFile> read_capture(const fs::path& path) {
    auto sound = read_sound(path, 2);
    if (!sound) return sound.error();
    CaptureFile file;
    file.capture.sample_rate_hz = sound->sample_rate_hz;
    file.capture.generator = std::move(sound->channels[0]);
    file.capture.coil = std::move(sound->channels[1]);
    file.note = std::move(sound->note);
    file.bits = sound->bits;
    file.floating = sound->floating;
    file.channels = sound->channels_of_file;
    return file;
}

struct CaptureReader::State {
    OpenFile file;
    OpenSound sound;
    std::size_t done = 0;
};

CaptureReader::CaptureReader(fs::path path, std::unique_ptr<State> state)
    : path_(std::move(path)), state_(std::move(state)) {}
CaptureReader::CaptureReader(CaptureReader&&) noexcept = default;
CaptureReader& CaptureReader::operator=(CaptureReader&&) noexcept = default;
CaptureReader::~CaptureReader() = default;

Result<CaptureReader> CaptureReader::open(const fs::path& path) {
    auto file = open_file(path);
    if (!file) return file.error();
    auto sound = open_sound(file->descriptor->get(), file->length, 2);
    if (!sound) return named(path, sound.error());
    return CaptureReader(path, std::make_unique<State>(State{std::move(*file), std::move(*sound)}));
}

std::uint64_t CaptureReader::frames() const {
    return static_cast<std::uint64_t>(state_->sound.info.frames);
}
double CaptureReader::sample_rate_hz() const {
    return state_->sound.facts.sample_rate_hz;
}
const std::optional<CaptureNote>& CaptureReader::note() const {
    return state_->sound.facts.note;
}

Result<dsp::TwoChannelCapture> CaptureReader::next(std::size_t frames) {
    std::vector<std::vector<double>> channels(2);
    const auto left = this->frames() - state_->done;
    const auto wanted = static_cast<std::size_t>(std::min<std::uint64_t>(frames, left));
    const Status read = read_frames(state_->sound.file.get(), state_->sound.info, state_->done, wanted, channels);
    if (!read) return named(path_, read.error());
    state_->done += wanted;
    return dsp::TwoChannelCapture{sample_rate_hz(), std::move(channels[0]), std::move(channels[1])};
}

Result<MonoFile> read_mono(const fs::path& path) {
    auto sound = read_sound(path, 1);
    if (!sound) return sound.error();
    return MonoFile{std::move(sound->channels[0]), sound->sample_rate_hz, std::move(sound->note)};
}

Status write_capture(const fs::path& path, const dsp::TwoChannelCapture& capture, SampleFormat format,
                     const std::optional<CaptureNote>& note) {
    return write_sound(path, {&capture.generator, &capture.coil}, capture.sample_rate_hz, format, note);
}

Status write_mono(const fs::path& path, const std::vector<double>& samples, double sample_rate_hz, SampleFormat format,
                  const std::optional<CaptureNote>& note) {
    return write_sound(path, {&samples}, sample_rate_hz, format, note);
}

}  // namespace coldtune::audio

#include "tests/support/jack_server.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sched.h>
#include <signal.h>
#include <sys/mount.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <iostream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <stdexcept>

namespace coldtune::testing {
namespace {

std::filesystem::path log_folder;

void write_file(const std::string& path, const std::string& text) {
    std::ofstream file(path);
    file << text;
}

bool private_shm = false;

bool mount_shm() {
    return mount("tmpfs", "/dev/shm", "tmpfs", MS_NOSUID | MS_NODEV, "mode=1777") == 0;
}

bool mount_private_shm() {
    const uid_t user = getuid();
    const gid_t group = getgid();
    if (unshare(CLONE_NEWNS) != 0) {
        // An ordinary user may do the same inside a user namespace, where the system lets them.
        if (unshare(CLONE_NEWUSER | CLONE_NEWNS) != 0) return false;
        write_file("/proc/self/setgroups", "deny");
        write_file("/proc/self/uid_map", fmt::format("{0} {0} 1\n", user));
        write_file("/proc/self/gid_map", fmt::format("{0} {0} 1\n", group));
    }
    return mount("none", "/", nullptr, MS_REC | MS_PRIVATE, nullptr) == 0 && mount_shm();
}

}  // namespace

std::filesystem::path prepare_private_audio() {
    private_shm = mount_private_shm();
    if (!private_shm) {
        std::cerr << "note: /dev/shm is shared with the system; servers of other programs may disturb these tests\n";
    }
    std::string folder = (std::filesystem::temp_directory_path() / ("coldtune-live-" + std::string(6, 'X'))).string();
    if (mkdtemp(folder.data()) == nullptr) throw std::runtime_error("cannot create a folder for the audio tests");
    log_folder = folder;
    const auto alsa = log_folder / "alsa.conf";
    // One device that cannot be opened: with none at all the audio library aborts, and one of type null would offer
    // buffers of 1.6 GB, which the address sanitizer takes seconds to mark.
    write_file(alsa.string(), "pcm.!default { type hw card 31 }\nctl.!default { type hw card 31 }\n");
    setenv("ALSA_CONFIG_PATH", alsa.c_str(), 1);
    setenv("JACK_NO_START_SERVER", "1", 1);
    setenv("JACK_NO_AUDIO_RESERVATION", "1", 1);
    setenv("JACK_DEFAULT_SERVER", "coldtune-none", 1);
    return log_folder;
}

JackServer::JackServer(const ServerOptions& options) {
    static int number = 0;
    name_ = fmt::format("coldtune-{}-{}", getpid(), ++number);
    log_file_ = log_folder / (name_ + ".log");
    setenv("JACK_DEFAULT_SERVER", name_.c_str(), 1);
    // A crashed server leaves its place in the registry taken, one of eight, and its semaphores behind.
    mounted_ = private_shm && mount_shm();
    std::vector<std::string> arguments = {"jackd", "-n", name_, "--no-realtime"};
    if (options.synchronous) arguments.emplace_back("-S");
    for (const std::string& argument :
         {std::string("-d"), std::string("dummy"), std::string("-r"), std::to_string(options.rate_hz),
          std::string("-p"), std::to_string(options.period_frames)}) {
        arguments.push_back(argument);
    }
    process_ = std::make_unique<Process>(arguments, log_file_.string());
    if (const auto code = process_->wait(std::chrono::milliseconds(20))) {
        throw std::runtime_error(*code == 127 ? "the live tests need the JACK server: install the package jackd2"
                                              : fmt::format("jackd ended with {}: {}", *code, log()));
    }
}

JackServer::~JackServer() {
    process_.reset();
    if (mounted_) umount2("/dev/shm", MNT_DETACH);
    setenv("JACK_DEFAULT_SERVER", "coldtune-none", 1);
}

void JackServer::kill() const {
    process_->signal(SIGKILL);
}

std::string JackServer::log() const {
    std::ifstream file(log_file_);
    std::stringstream text;
    text << file.rdbuf();
    return text.str();
}

JackCoil::JackCoil(const std::vector<std::string>& arguments) {
    static int number = 0;
    name_ = fmt::format("bench{}x{:04}", getpid(), ++number);
    const auto tape_file = (log_folder / (name_ + ".tape")).string();
    std::vector<std::string> all = {COLDTUNE_BIN_DIR "/jack_coil", "--name", name_, "--tape", tape_file};
    all.insert(all.end(), arguments.begin(), arguments.end());
    process_ = std::make_unique<Process>(all);
    const auto line = process_->read_line(std::chrono::milliseconds(10000));
    if (!line) {
        process_->wait(std::chrono::milliseconds(100));
        throw std::runtime_error("the coil client did not get ready: " + process_->errors());
    }
    tape_ = Tape::open(tape_file);
    std::filesystem::remove(tape_file);
    if (tape_ == nullptr) throw std::runtime_error("the coil client wrote no tape");
    const auto json = nlohmann::json::parse(*line);
    rate_hz_ = json.at("rate_hz").get<double>();
    frequency_hz_ = json.value("frequency_hz", 0.0);
    q_ = json.value("q", 0.0);
}

}  // namespace coldtune::testing

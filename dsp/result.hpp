// Errors as values.
//
// Every function of this project that can fail for a reason outside the program returns Result<T>: either the value or
// an Error holding one sentence for the person at the bench. Exceptions are left for what cannot happen.
#pragma once

#include <cassert>
#include <string>
#include <utility>
#include <variant>

namespace coldtune {

// Why something failed, coarse enough to choose a reaction (and the exit code of a command) from it.
enum class ErrorKind {
    usage,      // the request itself is malformed: unknown option, contradictory settings (exit 2)
    bad_input,  // a file or value from outside cannot be used (exit 3)
    rejected,   // the measurement was read but must not yield a number (exit 4)
    device,     // an audio device failed, vanished or refused (exit 5)
};

// One failure. `message` is a single line: what is wrong, where, and what to do about it. No trailing newline.
struct Error {
    ErrorKind kind = ErrorKind::bad_input;
    std::string message;
};

// Either a T or an Error. Test it as a boolean before taking the value; taking the wrong side is a programming fault.
template <typename T>
class [[nodiscard]] Result {
public:
    Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}
    Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}

    [[nodiscard]] bool ok() const noexcept { return state_.index() == 0; }
    explicit operator bool() const noexcept { return ok(); }

    [[nodiscard]] const T& value() const& {
        assert(ok());
        return *std::get_if<0>(&state_);
    }
    [[nodiscard]] T& value() & {
        assert(ok());
        return *std::get_if<0>(&state_);
    }
    [[nodiscard]] T&& value() && {
        assert(ok());
        return std::move(*std::get_if<0>(&state_));
    }
    [[nodiscard]] const Error& error() const {
        assert(!ok());
        return *std::get_if<1>(&state_);
    }

    const T& operator*() const& { return value(); }
    T& operator*() & { return value(); }
    T&& operator*() && { return std::move(*this).value(); }
    const T* operator->() const { return &value(); }
    T* operator->() { return &value(); }

private:
    std::variant<T, Error> state_;
};

// The value of a Result whose success carries nothing.
struct Done {};
using Status = Result<Done>;

inline Error bad_input(std::string message) {
    return {ErrorKind::bad_input, std::move(message)};
}
inline Error usage_error(std::string message) {
    return {ErrorKind::usage, std::move(message)};
}
inline Error rejected(std::string message) {
    return {ErrorKind::rejected, std::move(message)};
}
inline Error device_error(std::string message) {
    return {ErrorKind::device, std::move(message)};
}

}  // namespace coldtune

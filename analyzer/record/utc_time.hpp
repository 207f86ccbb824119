// Moments as files of ours write them: ISO 8601 (RFC 3339), UTC, whole seconds, "2026-11-27T10:30:00Z".
#pragma once

#include <string>
#include <string_view>

namespace coldtune::record {

std::string utc_now();

// Whether `text` has that form and names a day and an hour that exist (a leap second included).
bool is_utc_time(std::string_view text);

}  // namespace coldtune::record

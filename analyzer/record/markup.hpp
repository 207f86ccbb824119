// Text from outside as the content of an XML or HTML element or attribute.
#pragma once

#include <string>
#include <string_view>

namespace coldtune::record {

// & < > and quotes as entities, line ends and tabs as spaces, what XML 1.0 does not allow left out; invalid UTF-8 as
// decode_utf8 has it.
std::string markup_text(std::string_view text);

}  // namespace coldtune::record

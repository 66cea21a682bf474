// SPDX-License-Identifier: Apache-2.0
#pragma once
#include <map>
#include <string_view>

namespace serosa::fuzz {

/// Takes the bytes of a file as a stranger would hand it in. Refusing them is right; anything but a
/// refusal or an acceptance that holds together ends the process.
using Reader = void (*)(std::string_view bytes);

/// All readers by name.
const std::map<std::string_view, Reader>& readers();

}  // namespace serosa::fuzz

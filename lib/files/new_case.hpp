// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

#include "files/keys.hpp"

namespace serosa::files {

/// A case file to start from, generated from the key table: every key with its meaning, what it
/// takes, its published range and its default, as comments beside it. Keys with a default stand
/// with it; keys that the model derives when they are left out, and every act, stand commented out.
/// The text reads back and runs as it is.
/// @param table  the keys of a case, `timeline` among them
std::string commented_case(const KeyTable& table);

}  // namespace serosa::files

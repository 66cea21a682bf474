// SPDX-License-Identifier: Apache-2.0
// MPI on demand: the part that speaks it is loaded only under mpirun.
#pragma once
#include <memory>
#include <string>

#include "study/crew.hpp"

namespace serosa::runner {

/// The messages of the job this process belongs to; null when it was started by itself.
/// Throws std::runtime_error when it belongs to a job of several ranks and the part that speaks
/// MPI can't be loaded.
std::unique_ptr<study::Messages> ranks_of_this_job();

/// Where the part that speaks MPI stands; empty when it is not there.
std::string ranks_part();

}  // namespace serosa::runner

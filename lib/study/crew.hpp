// SPDX-License-Identifier: Apache-2.0
// Who computes the blocks of a study: threads of this process, and processes of other ranks.
#pragma once
#include <atomic>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <exception>
#include <functional>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <thread>
#include <vector>

#include "study/batch.hpp"

namespace serosa::study {

/// A block that was computed.
struct Finished {
  std::uint64_t block = 0;
  std::vector<double> table;  ///< see Layout
};

/// Threads that take blocks from a queue. Which thread computes a block leaves no trace in it.
class Crew {
 public:
  Crew(const Study& study, int threads);
  /// Waits for the blocks in hand; those that wait are given up.
  ~Crew();
  Crew(const Crew&) = delete;
  Crew& operator=(const Crew&) = delete;

  void push(std::uint64_t block);
  /// The next finished block, waited for at most so long. Rethrows what a thread threw.
  std::optional<Finished> pop(double seconds);
  /// Blocks pushed and not yet popped.
  std::size_t in_hand() const { return in_hand_; }
  /// Gives a table back, so that its memory serves again.
  void recycle(std::vector<double> table);

 private:
  void work(const std::stop_token& stop);

  const Study& study_;
  std::mutex mutex_;
  std::condition_variable_any wanted_;
  std::condition_variable_any done_;
  std::deque<std::uint64_t> queue_;
  std::deque<Finished> finished_;
  std::vector<std::vector<double>> spare_;
  std::exception_ptr fault_;
  std::size_t in_hand_ = 0;
  std::vector<std::jthread> threads_;
};

/// Messages between the ranks of one job: the little of MPI that a batch needs. Implemented by a
/// part that is loaded on demand. Called from one thread.
class Messages {
 public:
  virtual ~Messages() = default;
  virtual int rank() const = 0;
  virtual int size() const = 0;
  virtual void send(int to, int tag, std::span<const char> bytes) = 0;
  /// True when a message was there. Does not wait.
  virtual bool receive(int& from, int& tag, std::vector<char>& bytes) = 0;
};

/// What the one who hands out blocks does with them.
struct Keeper {
  std::function<void(const Finished&)> keep;  ///< called from the handing-out thread
  std::function<bool()> stop;                 ///< asked between blocks: true ends the batch early
  std::function<void()> tick;                 ///< called a few times a second
};

/// Computes `blocks` with this process's threads and, when there are ranks, with theirs; hands out
/// one block after another to whoever is free. Rank 0 calls it.
/// @param fingerprint  of the study; ranks that read another one are refused
/// @return blocks that were not computed because of `stop`
std::size_t hand_out(const Study& study, const std::vector<std::uint64_t>& blocks, int threads,
                     Messages* ranks, const std::string& fingerprint, const Keeper& keeper);

/// Serves rank 0 until it has no more blocks. Every other rank calls it.
void serve(const Study& study, int threads, Messages& ranks, const std::string& fingerprint);

/// Sends the other ranks home: for a rank 0 that ends before `hand_out`.
void dismiss(Messages& ranks);

}  // namespace serosa::study

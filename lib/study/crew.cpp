// SPDX-License-Identifier: Apache-2.0
#include "study/crew.hpp"

#include <algorithm>
#include <chrono>
#include <cstring>
#include <stdexcept>

namespace serosa::study {

Crew::Crew(const Study& study, int threads) : study_(study) {
  for (int i = 0; i < threads; ++i)
    threads_.emplace_back([this](const std::stop_token& stop) { work(stop); });
}

Crew::~Crew() {
  for (auto& thread : threads_) thread.request_stop();
  wanted_.notify_all();
}

void Crew::work(const std::stop_token& stop) {
  try {
    BlockRunner runner(study_);
    while (true) {
      Finished job;
      {
        std::unique_lock lock(mutex_);
        if (!wanted_.wait(lock, stop, [&] { return !queue_.empty(); })) return;
        if (stop.stop_requested()) return;
        job.block = queue_.front();
        queue_.pop_front();
        if (!spare_.empty()) {
          job.table = std::move(spare_.back());
          spare_.pop_back();
        }
      }
      runner.run(job.block, job.table);
      const std::scoped_lock lock(mutex_);
      finished_.push_back(std::move(job));
      done_.notify_one();
    }
  } catch (...) {
    const std::scoped_lock lock(mutex_);
    if (!fault_) fault_ = std::current_exception();
    done_.notify_one();
  }
}

void Crew::push(std::uint64_t block) {
  const std::scoped_lock lock(mutex_);
  queue_.push_back(block);
  ++in_hand_;
  wanted_.notify_one();
}

std::optional<Finished> Crew::pop(double seconds) {
  std::unique_lock lock(mutex_);
  done_.wait_for(lock, std::chrono::duration<double>(seconds),
                 [&] { return fault_ || !finished_.empty(); });
  if (fault_) std::rethrow_exception(fault_);
  if (finished_.empty()) return std::nullopt;
  Finished first = std::move(finished_.front());
  finished_.pop_front();
  --in_hand_;
  return first;
}

void Crew::recycle(std::vector<double> table) {
  const std::scoped_lock lock(mutex_);
  spare_.push_back(std::move(table));
}

namespace {

// What ranks tell each other.
enum Tag : int {
  ready = 1,  ///< to 0: how many blocks are wanted at first, and the fingerprint
  result,     ///< to 0: block and table; one more is wanted
  fault,      ///< to 0: what went wrong
  block,      ///< from 0: compute this
  home        ///< from 0: there is no more
};

template <class Value>
void append(std::vector<char>& bytes, const Value* values, std::size_t count) {
  const std::size_t before = bytes.size();
  bytes.resize(before + count * sizeof(Value));
  std::memcpy(bytes.data() + before, values, count * sizeof(Value));
}

std::uint64_t number_in(const std::vector<char>& bytes) {
  std::uint64_t number = 0;
  if (bytes.size() < sizeof number)
    throw std::runtime_error("a message between ranks is too short");
  std::memcpy(&number, bytes.data(), sizeof number);
  return number;
}

// How long one who also listens for messages waits for a block, in seconds: short against the time
// that the blocks in hand take, long enough to cost nothing.
constexpr double message_pause = 0.002;

// Blocks that a worker holds at a time, so that it need not wait for the next.
std::size_t appetite(int threads) { return 2 * static_cast<std::size_t>(threads); }

/// The side of rank 0.
class HandOut {
 public:
  HandOut(const Study& study, const std::vector<std::uint64_t>& blocks, int threads,
          Messages* ranks, const std::string& fingerprint, const Keeper& keeper)
      : blocks_(blocks),
        crew_(study, threads),
        hunger_(appetite(threads)),
        ranks_(ranks),
        fingerprint_(fingerprint),
        keeper_(keeper) {}
  ~HandOut() {
    if (ranks_) dismiss(*ranks_);
  }

  std::size_t run() {
    auto last = std::chrono::steady_clock::now();
    while (true) {
      const bool stop = keeper_.stop();
      while (!stop && next_ < blocks_.size() && crew_.in_hand() < hunger_)
        crew_.push(blocks_[next_++]);
      bool something = ranks_ && hear(stop);
      // With ranks, messages come between; without, the wait may be long.
      if (auto done = crew_.pop(ranks_ ? (something ? 0.0 : message_pause) : 0.1)) {
        keep(*done);
        crew_.recycle(std::move(done->table));
      }
      if (const auto now = std::chrono::steady_clock::now();
          now - last > std::chrono::milliseconds(200)) {
        last = now;
        keeper_.tick();
      }
      if ((stop || next_ == blocks_.size()) && crew_.in_hand() == 0 && away_now_ == 0) break;
    }
    return blocks_.size() - kept_;
  }

 private:
  void keep(const Finished& done) {
    keeper_.keep(done);
    ++kept_;
  }

  bool hear(bool stop) {
    int from = 0, tag = 0;
    bool something = false;
    while (ranks_->receive(from, tag, bytes_)) {
      something = true;
      switch (tag) {
        case ready: {
          const std::string theirs(bytes_.begin() + sizeof(std::uint64_t), bytes_.end());
          if (theirs != fingerprint_)
            throw std::runtime_error("rank " + std::to_string(from) +
                                     " read another study or runs another version");
          for (std::uint64_t n = number_in(bytes_); n > 0; --n) feed(from, stop);
          break;
        }
        case result: {
          Finished done;
          done.block = number_in(bytes_);
          done.table.resize((bytes_.size() - sizeof done.block) / sizeof(double));
          std::memcpy(done.table.data(), bytes_.data() + sizeof done.block,
                      done.table.size() * sizeof(double));
          --away_now_;
          keep(done);
          feed(from, stop);
          break;
        }
        case fault:
          throw std::runtime_error("rank " + std::to_string(from) + ": " +
                                   std::string(bytes_.begin(), bytes_.end()));
        default:
          throw std::runtime_error("an unknown message between ranks");
      }
    }
    return something;
  }

  void feed(int to, bool stop) {
    if (stop || next_ == blocks_.size()) return;
    const std::uint64_t b = blocks_[next_++];
    std::vector<char> bytes;
    append(bytes, &b, 1);
    ranks_->send(to, block, bytes);
    ++away_now_;
  }

  const std::vector<std::uint64_t>& blocks_;
  Crew crew_;
  std::size_t hunger_;
  Messages* ranks_;
  const std::string& fingerprint_;
  const Keeper& keeper_;
  std::size_t next_ = 0, kept_ = 0, away_now_ = 0;
  std::vector<char> bytes_;
};

}  // namespace

std::size_t hand_out(const Study& study, const std::vector<std::uint64_t>& blocks, int threads,
                     Messages* ranks, const std::string& fingerprint, const Keeper& keeper) {
  return HandOut(study, blocks, threads, ranks, fingerprint, keeper).run();
}

void dismiss(Messages& ranks) {
  for (int to = 1; to < ranks.size(); ++to) ranks.send(to, home, {});
}

void serve(const Study& study, int threads, Messages& ranks, const std::string& fingerprint) {
  const auto tell_fault = [&](const std::string& what) { ranks.send(0, fault, what); };
  try {
    Crew crew(study, threads);
    std::vector<char> bytes;
    const std::uint64_t wanted = appetite(threads);
    append(bytes, &wanted, 1);
    append(bytes, fingerprint.data(), fingerprint.size());
    ranks.send(0, ready, bytes);
    int from = 0, tag = 0;
    while (true) {
      bool something = false;
      while (ranks.receive(from, tag, bytes)) {
        something = true;
        if (tag == home) return;
        crew.push(number_in(bytes));
      }
      auto done = crew.pop(something ? 0.0 : message_pause);
      if (!done) continue;
      bytes.clear();
      append(bytes, &done->block, 1);
      append(bytes, done->table.data(), done->table.size());
      ranks.send(0, result, bytes);
      crew.recycle(std::move(done->table));
    }
  } catch (const std::exception& error) {
    tell_fault(error.what());
    throw;
  }
}

}  // namespace serosa::study

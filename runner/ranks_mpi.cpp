// SPDX-License-Identifier: Apache-2.0
// The part that speaks MPI; loaded by ranks.cpp.
#define OMPI_SKIP_MPICXX 1
#include <mpi.h>

#include <memory>
#include <stdexcept>

#include "study/crew.hpp"

namespace serosa::runner {

namespace {

void check(int code) {
  if (code != MPI_SUCCESS) throw std::runtime_error("a message between ranks was lost");
}

class MpiMessages final : public study::Messages {
 public:
  MpiMessages() {
    int given = 0;
    // Only the thread that hands out speaks.
    check(MPI_Init_thread(nullptr, nullptr, MPI_THREAD_FUNNELED, &given));
    check(MPI_Comm_rank(MPI_COMM_WORLD, &rank_));
    check(MPI_Comm_size(MPI_COMM_WORLD, &size_));
  }
  ~MpiMessages() override { MPI_Finalize(); }

  int rank() const override { return rank_; }
  int size() const override { return size_; }

  void send(int to, int tag, std::span<const char> bytes) override {
    check(MPI_Send(bytes.data(), static_cast<int>(bytes.size()), MPI_CHAR, to, tag,
                   MPI_COMM_WORLD));
  }

  bool receive(int& from, int& tag, std::vector<char>& bytes) override {
    int there = 0, count = 0;
    MPI_Status status;
    check(MPI_Iprobe(MPI_ANY_SOURCE, MPI_ANY_TAG, MPI_COMM_WORLD, &there, &status));
    if (!there) return false;
    check(MPI_Get_count(&status, MPI_CHAR, &count));
    from = status.MPI_SOURCE;
    tag = status.MPI_TAG;
    bytes.resize(static_cast<std::size_t>(count));
    check(MPI_Recv(bytes.data(), count, MPI_CHAR, from, tag, MPI_COMM_WORLD, MPI_STATUS_IGNORE));
    return true;
  }

 private:
  int rank_ = 0, size_ = 1;
};

}  // namespace
}  // namespace serosa::runner

extern "C" serosa::study::Messages* serosa_start_messages() {
  return new serosa::runner::MpiMessages();
}

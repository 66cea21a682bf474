// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <span>
#include <stdexcept>
#include <string>
#include <vector>

namespace serosa::files {

/// The NetCDF library refused. `what()` says what was tried and why it failed.
class NetcdfError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// A NetCDF-4 file being written: a thin owner over the C library, which is not thread-safe; each
/// call holds the one lock of the process.
///
/// Sizes of arrays are checked against the dimensions; a mismatch throws std::logic_error.
class NetcdfWriter {
 public:
  using Dimension = int;
  using Variable = int;

  /// Makes the file; one that is there is refused.
  explicit NetcdfWriter(const std::filesystem::path& path);
  /// Closes without complaint; call `close` to hear of errors.
  ~NetcdfWriter();
  NetcdfWriter(const NetcdfWriter&) = delete;
  NetcdfWriter& operator=(const NetcdfWriter&) = delete;

  Dimension dimension(const std::string& name, std::size_t length);
  /// Doubles with NaN for what is missing; compressed (deflate 1 after shuffle) when they have two
  /// or more dimensions, in chunks of one run and all times.
  Variable doubles(const std::string& name, const std::vector<Dimension>& dimensions);
  Variable integers(const std::string& name, const std::vector<Dimension>& dimensions);
  Variable bytes(const std::string& name, const std::vector<Dimension>& dimensions);
  Variable texts(const std::string& name, const std::vector<Dimension>& dimensions);

  /// Variables that are written part by part: compressed, in chunks of this shape, of which one is
  /// held in memory.
  using Shape = std::vector<std::size_t>;
  Variable doubles(const std::string& name, const std::vector<Dimension>& dimensions,
                   const Shape& chunk);
  Variable integers(const std::string& name, const std::vector<Dimension>& dimensions,
                    const Shape& chunk);
  Variable bytes(const std::string& name, const std::vector<Dimension>& dimensions,
                 const Shape& chunk);

  /// Attributes; of the file when `variable` is `whole_file`.
  static constexpr Variable whole_file = -1;
  void attribute(Variable variable, const std::string& name, const std::string& value);
  void attribute(Variable variable, const std::string& name, std::span<const signed char> values);

  /// Ends the definitions; then values may be put.
  void end_definitions();
  void put(Variable variable, std::span<const double> values);
  void put(Variable variable, std::span<const int> values);
  void put(Variable variable, std::span<const signed char> values);
  void put(Variable variable, std::span<const std::string> values);
  /// A part: where it begins and how far it goes, per dimension.
  void put(Variable variable, const Shape& start, const Shape& count,
           std::span<const double> values);
  void put(Variable variable, const Shape& start, const Shape& count, std::span<const int> values);
  void put(Variable variable, const Shape& start, const Shape& count,
           std::span<const signed char> values);

  void close();

 private:
  Variable variable(const std::string& name, int type, const std::vector<Dimension>& dimensions);
  void divide(Variable v, const std::string& name, const Shape& chunk, std::size_t number_size);
  void check(int code, const std::string& what) const;
  void check_size(Variable variable, std::size_t size) const;

  int id_ = -1;
  std::vector<std::size_t> lengths_;  ///< of the dimensions
  std::vector<std::size_t> sizes_;    ///< of the variables
};

/// A NetCDF-4 file being read, under the same lock; of every variable one chunk is held in memory,
/// so parts are best read in the order of the file. Every call throws NetcdfError when the file
/// doesn't hold what is asked for.
class NetcdfReader {
 public:
  explicit NetcdfReader(const std::filesystem::path& path);
  ~NetcdfReader();
  NetcdfReader(const NetcdfReader&) = delete;
  NetcdfReader& operator=(const NetcdfReader&) = delete;

  std::size_t length(const std::string& dimension) const;
  bool has(const std::string& variable) const;
  /// Names of all variables, in the order of the file.
  std::vector<std::string> variables() const;
  /// Lengths of the variable's dimensions.
  std::vector<std::size_t> shape(const std::string& variable) const;
  /// All values, the last dimension fastest; other number types are converted.
  std::vector<double> doubles(const std::string& variable) const;
  /// A part: where it begins and how far it goes, per dimension.
  std::vector<double> doubles(const std::string& variable, const std::vector<std::size_t>& start,
                              const std::vector<std::size_t>& count) const;
  std::vector<std::string> texts(const std::string& variable) const;
  /// A text attribute of a variable, or of the file for an empty name; empty when there is none.
  std::string attribute(const std::string& variable, const std::string& name) const;

 private:
  int id_of(const std::string& variable) const;
  void hold_one_chunk() const;

  int id_ = -1;
};

}  // namespace serosa::files

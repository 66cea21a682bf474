// SPDX-License-Identifier: Apache-2.0
#include "files/netcdf.hpp"

#include <dlfcn.h>
#include <netcdf.h>

#include <limits>
#include <mutex>
#include <utility>

namespace serosa::files {

namespace {

std::mutex& library() {
  static std::mutex mutex;
  return mutex;
}
using Lock = std::lock_guard<std::mutex>;

int id_of(NetcdfWriter::Variable v) { return v == NetcdfWriter::whole_file ? NC_GLOBAL : v; }

// A file that can't be finished (a full disk) stays open inside HDF5, which would try again when
// the program ends, and crash. NetCDF closes what is closed well; nothing is left for HDF5 to do.
void leave_the_end_to_netcdf() {
  using Function = int (*)();
  static const int once = [] {
    const auto function = reinterpret_cast<Function>(::dlsym(RTLD_DEFAULT, "H5dont_atexit"));
    return function ? function() : 0;
  }();
  static_cast<void>(once);
}

}  // namespace

NetcdfWriter::NetcdfWriter(const std::filesystem::path& path) {
  const Lock lock(library());
  leave_the_end_to_netcdf();
  check(nc_create(path.c_str(), NC_NETCDF4 | NC_NOCLOBBER, &id_), "make the file");
}

NetcdfWriter::~NetcdfWriter() {
  if (id_ < 0) return;
  const Lock lock(library());
  nc_close(id_);
}

void NetcdfWriter::check(int code, const std::string& what) const {
  if (code != NC_NOERR) throw NetcdfError("NetCDF: cannot " + what + ": " + nc_strerror(code));
}

void NetcdfWriter::check_size(Variable variable, std::size_t size) const {
  if (sizes_.at(static_cast<std::size_t>(variable)) != size)
    throw std::logic_error("values do not fill a NetCDF variable");
}

NetcdfWriter::Dimension NetcdfWriter::dimension(const std::string& name, std::size_t length) {
  const Lock lock(library());
  int id = 0;
  check(nc_def_dim(id_, name.c_str(), length, &id), "declare the dimension " + name);
  lengths_.push_back(length);
  return id;
}

NetcdfWriter::Variable NetcdfWriter::variable(const std::string& name, int type,
                                              const std::vector<Dimension>& dimensions) {
  int id = 0;
  check(nc_def_var(id_, name.c_str(), type, static_cast<int>(dimensions.size()), dimensions.data(),
                   &id),
        "declare " + name);
  std::size_t size = 1;
  for (const Dimension d : dimensions) size *= lengths_.at(static_cast<std::size_t>(d));
  sizes_.push_back(size);
  return id;
}

NetcdfWriter::Variable NetcdfWriter::doubles(const std::string& name,
                                             const std::vector<Dimension>& dimensions) {
  const Lock lock(library());
  const Variable v = variable(name, NC_DOUBLE, dimensions);
  if (dimensions.size() < 2) return v;
  const double missing = std::numeric_limits<double>::quiet_NaN();
  check(nc_def_var_fill(id_, v, NC_FILL, &missing), "name what stands for missing in " + name);
  std::vector<std::size_t> chunk{1};
  for (std::size_t i = 1; i < dimensions.size(); ++i)
    chunk.push_back(lengths_.at(static_cast<std::size_t>(dimensions[i])));
  check(nc_def_var_chunking(id_, v, NC_CHUNKED, chunk.data()), "divide " + name);
  check(nc_def_var_deflate(id_, v, 1, 1, 1), "compress " + name);
  return v;
}

void NetcdfWriter::divide(Variable v, const std::string& name, const Shape& chunk,
                          std::size_t number_size) {
  std::size_t bytes = number_size;
  for (const std::size_t length : chunk) bytes *= length;
  check(nc_def_var_chunking(id_, v, NC_CHUNKED, chunk.data()), "divide " + name);
  check(nc_def_var_deflate(id_, v, 1, 1, 1), "compress " + name);
  check(nc_set_var_chunk_cache(id_, v, bytes, 3, 1.0f), "set the memory for " + name);
}

NetcdfWriter::Variable NetcdfWriter::doubles(const std::string& name,
                                             const std::vector<Dimension>& dimensions,
                                             const Shape& chunk) {
  const Lock lock(library());
  const Variable v = variable(name, NC_DOUBLE, dimensions);
  const double missing = std::numeric_limits<double>::quiet_NaN();
  check(nc_def_var_fill(id_, v, NC_FILL, &missing), "name what stands for missing in " + name);
  divide(v, name, chunk, sizeof(double));
  return v;
}

NetcdfWriter::Variable NetcdfWriter::integers(const std::string& name,
                                              const std::vector<Dimension>& dimensions,
                                              const Shape& chunk) {
  const Lock lock(library());
  const Variable v = variable(name, NC_INT, dimensions);
  divide(v, name, chunk, sizeof(int));
  return v;
}

NetcdfWriter::Variable NetcdfWriter::bytes(const std::string& name,
                                           const std::vector<Dimension>& dimensions,
                                           const Shape& chunk) {
  const Lock lock(library());
  const Variable v = variable(name, NC_BYTE, dimensions);
  divide(v, name, chunk, 1);
  return v;
}

NetcdfWriter::Variable NetcdfWriter::integers(const std::string& name,
                                              const std::vector<Dimension>& dimensions) {
  const Lock lock(library());
  return variable(name, NC_INT, dimensions);
}

NetcdfWriter::Variable NetcdfWriter::bytes(const std::string& name,
                                           const std::vector<Dimension>& dimensions) {
  const Lock lock(library());
  return variable(name, NC_BYTE, dimensions);
}

NetcdfWriter::Variable NetcdfWriter::texts(const std::string& name,
                                           const std::vector<Dimension>& dimensions) {
  const Lock lock(library());
  return variable(name, NC_STRING, dimensions);
}

void NetcdfWriter::attribute(Variable variable, const std::string& name, const std::string& value) {
  const Lock lock(library());
  check(nc_put_att_text(id_, id_of(variable), name.c_str(), value.size(), value.data()),
        "write the attribute " + name);
}

void NetcdfWriter::attribute(Variable variable, const std::string& name,
                             std::span<const signed char> values) {
  const Lock lock(library());
  check(nc_put_att_schar(id_, id_of(variable), name.c_str(), NC_BYTE, values.size(), values.data()),
        "write the attribute " + name);
}

void NetcdfWriter::end_definitions() {
  const Lock lock(library());
  check(nc_enddef(id_), "end the declarations");
}

void NetcdfWriter::put(Variable variable, std::span<const double> values) {
  check_size(variable, values.size());
  const Lock lock(library());
  check(nc_put_var_double(id_, variable, values.data()), "write numbers");
}

void NetcdfWriter::put(Variable variable, std::span<const int> values) {
  check_size(variable, values.size());
  const Lock lock(library());
  check(nc_put_var_int(id_, variable, values.data()), "write whole numbers");
}

void NetcdfWriter::put(Variable variable, std::span<const signed char> values) {
  check_size(variable, values.size());
  const Lock lock(library());
  check(nc_put_var_schar(id_, variable, values.data()), "write bytes");
}

void NetcdfWriter::put(Variable variable, std::span<const std::string> values) {
  check_size(variable, values.size());
  std::vector<const char*> pointers;
  for (const auto& value : values) pointers.push_back(value.c_str());
  const Lock lock(library());
  check(nc_put_var_string(id_, variable, pointers.data()), "write texts");
}

namespace {

void check_part(const NetcdfWriter::Shape& count, std::size_t size) {
  std::size_t product = 1;
  for (const std::size_t length : count) product *= length;
  if (product != size) throw std::logic_error("values do not fill a part of a NetCDF variable");
}

}  // namespace

void NetcdfWriter::put(Variable variable, const Shape& start, const Shape& count,
                       std::span<const double> values) {
  check_part(count, values.size());
  const Lock lock(library());
  check(nc_put_vara_double(id_, variable, start.data(), count.data(), values.data()),
        "write numbers");
}

void NetcdfWriter::put(Variable variable, const Shape& start, const Shape& count,
                       std::span<const int> values) {
  check_part(count, values.size());
  const Lock lock(library());
  check(nc_put_vara_int(id_, variable, start.data(), count.data(), values.data()),
        "write whole numbers");
}

void NetcdfWriter::put(Variable variable, const Shape& start, const Shape& count,
                       std::span<const signed char> values) {
  check_part(count, values.size());
  const Lock lock(library());
  check(nc_put_vara_schar(id_, variable, start.data(), count.data(), values.data()), "write bytes");
}

void NetcdfWriter::close() {
  const Lock lock(library());
  check(nc_close(std::exchange(id_, -1)), "finish the file");
}

// ---- Reading --------------------------------------------------------------------------------

namespace {

void check_read(int code, const std::string& what) {
  if (code != NC_NOERR) throw NetcdfError("NetCDF: cannot " + what + ": " + nc_strerror(code));
}

std::vector<std::size_t> shape_of(int file, int variable, const std::string& name) {
  int count = 0;
  check_read(nc_inq_varndims(file, variable, &count), "read the dimensions of " + name);
  std::vector<int> dimensions(static_cast<std::size_t>(count));
  check_read(nc_inq_vardimid(file, variable, dimensions.data()), "read the dimensions of " + name);
  std::vector<std::size_t> lengths(dimensions.size());
  for (std::size_t i = 0; i < dimensions.size(); ++i)
    check_read(nc_inq_dimlen(file, dimensions[i], &lengths[i]), "read the size of " + name);
  return lengths;
}

std::size_t size_of(const std::vector<std::size_t>& shape) {
  std::size_t size = 1;
  for (const auto length : shape) size *= length;
  return size;
}

}  // namespace

NetcdfReader::NetcdfReader(const std::filesystem::path& path) {
  const Lock lock(library());
  check_read(nc_open(path.c_str(), NC_NOWRITE, &id_), "open " + path.string());
  hold_one_chunk();
}

/// The library would keep 16 MiB of every variable that was ever read.
void NetcdfReader::hold_one_chunk() const {
  int count = 0;
  check_read(nc_inq_nvars(id_, &count), "count the variables");
  for (int v = 0; v < count; ++v) {
    int dimensions = 0, storage = 0;
    nc_type type = NC_NAT;
    std::size_t bytes = 0;
    check_read(nc_inq_varndims(id_, v, &dimensions), "read the dimensions of a variable");
    check_read(nc_inq_vartype(id_, v, &type), "read the type of a variable");
    check_read(nc_inq_type(id_, type, nullptr, &bytes), "read the size of a type");
    std::vector<std::size_t> chunk(static_cast<std::size_t>(dimensions));
    if (nc_inq_var_chunking(id_, v, &storage, chunk.data()) != NC_NOERR || storage != NC_CHUNKED)
      continue;
    check_read(nc_set_var_chunk_cache(id_, v, bytes * size_of(chunk), 3, 1.0f),
               "set the memory for a variable");
  }
}

NetcdfReader::~NetcdfReader() {
  const Lock lock(library());
  nc_close(id_);
}

int NetcdfReader::id_of(const std::string& variable) const {
  int id = 0;
  check_read(nc_inq_varid(id_, variable.c_str(), &id), "find the variable " + variable);
  return id;
}

std::size_t NetcdfReader::length(const std::string& dimension) const {
  const Lock lock(library());
  int id = 0;
  std::size_t length = 0;
  check_read(nc_inq_dimid(id_, dimension.c_str(), &id), "find the dimension " + dimension);
  check_read(nc_inq_dimlen(id_, id, &length), "read the dimension " + dimension);
  return length;
}

bool NetcdfReader::has(const std::string& variable) const {
  const Lock lock(library());
  int id = 0;
  return nc_inq_varid(id_, variable.c_str(), &id) == NC_NOERR;
}

std::vector<std::string> NetcdfReader::variables() const {
  const Lock lock(library());
  int count = 0;
  check_read(nc_inq_nvars(id_, &count), "count the variables");
  std::vector<std::string> names;
  for (int i = 0; i < count; ++i) {
    char name[NC_MAX_NAME + 1] = {};
    check_read(nc_inq_varname(id_, i, name), "read the name of a variable");
    names.emplace_back(name);
  }
  return names;
}

std::vector<double> NetcdfReader::doubles(const std::string& variable,
                                          const std::vector<std::size_t>& start,
                                          const std::vector<std::size_t>& count) const {
  const Lock lock(library());
  const int id = id_of(variable);
  const auto whole = shape_of(id_, id, variable);
  if (start.size() != whole.size() || count.size() != whole.size())
    throw NetcdfError("cannot read a part of " + variable + ": it has other dimensions");
  std::vector<double> values(size_of(count));
  check_read(nc_get_vara_double(id_, id, start.data(), count.data(), values.data()),
             "read a part of the numbers of " + variable);
  return values;
}

std::vector<std::size_t> NetcdfReader::shape(const std::string& variable) const {
  const Lock lock(library());
  return shape_of(id_, id_of(variable), variable);
}

std::vector<double> NetcdfReader::doubles(const std::string& variable) const {
  const Lock lock(library());
  const int id = id_of(variable);
  std::vector<double> values(size_of(shape_of(id_, id, variable)));
  check_read(nc_get_var_double(id_, id, values.data()), "read the numbers of " + variable);
  return values;
}

std::vector<std::string> NetcdfReader::texts(const std::string& variable) const {
  const Lock lock(library());
  const int id = id_of(variable);
  std::vector<char*> pointers(size_of(shape_of(id_, id, variable)), nullptr);
  check_read(nc_get_var_string(id_, id, pointers.data()), "read the texts of " + variable);
  std::vector<std::string> values;
  for (const char* const text : pointers) values.emplace_back(text ? text : "");
  nc_free_string(pointers.size(), pointers.data());
  return values;
}

std::string NetcdfReader::attribute(const std::string& variable, const std::string& name) const {
  const Lock lock(library());
  const int id = variable.empty() ? NC_GLOBAL : id_of(variable);
  std::size_t length = 0;
  nc_type type = NC_NAT;
  if (nc_inq_att(id_, id, name.c_str(), &type, &length) != NC_NOERR || type != NC_CHAR) return {};
  std::string value(length, ' ');
  check_read(nc_get_att_text(id_, id, name.c_str(), value.data()), "read the attribute " + name);
  return value;
}

}  // namespace serosa::files

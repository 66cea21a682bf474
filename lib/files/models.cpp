// SPDX-License-Identifier: Apache-2.0
#include "files/models.hpp"

#include <algorithm>
#include <cstdlib>

#include "files/reader.hpp"

namespace serosa::files {
namespace {

/// A number that a kind of data file has.
struct Number {
  const char* name;
  const char* unit;
  const char* help;
  bool required;
};

/// What a kind of data file holds besides title and note.
struct Layout {
  const char* folder;
  const char* what;
  std::vector<Number> numbers;
  std::vector<std::pair<const char*, const char*>> flags;  // name, help
};

const Layout& layout(DataKind kind) {
  static const Layout cover{
      "covers",
      "What covers the bowel.",
      {{"permeance", "g/m2/h/kPa", "vapour that one layer of film passes", false},
       {"gap", "m", "air between bowel and film", false},
       {"warmer_transmittance", "1", "share of the warmer's radiation that passes", false},
       {"warmer_absorptance", "1", "share of the warmer's radiation that stays in the cover", false},
       {"longwave_transmittance", "1", "share of long-wave radiation that passes", false},
       {"dressing_resistance", "m2 h kPa/g", "vapour resistance of the wet dressing", false},
       {"dressing_capacity", "g/m2", "water a dressing holds before it drips", false}},
      {{"film", "has a film"},
       {"dressing", "has a layer that is soaked"},
       {"holds_fluid", "collects what drips"},
       {"covers_skin", "encloses the body below the axillae"}}};
  static const Layout fluid{"fluids",
                            "What is given into a vein or wets a dressing.",
                            {{"sodium", "mmol/L", "sodium", true},
                             {"chloride", "mmol/L", "chloride", true},
                             {"glucose", "g/L", "glucose, free water once taken up", true},
                             {"protein", "g/L", "protein", true},
                             {"red_cell_fraction", "1", "volume share of red cells", true}},
                            {}};
  static const Layout warmer{
      "warmers",
      "A level of the overhead warmer.",
      {{"irradiance", "W/m2", "at the mattress; the most it gives when it follows the skin", true},
       {"set_point", "degC", "skin temperature it aims at", false}},
      {{"servo", "follows the skin temperature"}}};
  static const Layout room{"rooms",
                           "Air and walls of a room.",
                           {{"air_temperature", "degC", "air temperature", true},
                            {"wall_temperature", "degC", "mean temperature of the walls", true},
                            {"humidity", "1", "relative humidity", true},
                            {"air_speed", "m/s", "air speed at the baby", true},
                            {"air_pressure", "kPa", "pressure of the air", true}},
                           {}};
  switch (kind) {
    case DataKind::cover: return cover;
    case DataKind::fluid: return fluid;
    case DataKind::warmer: return warmer;
    case DataKind::room: return room;
  }
  return room;
}

/// A data file with its flags and numbers at hand.
class DataReader {
 public:
  DataReader(DataKind kind, const std::filesystem::path& path, const Bibliography* bibliography,
             Problems& problems)
      : layout_(layout(kind)) {
    file.name = path.stem().string();
    const auto document = read_document(path, problems);
    if (!document) return;
    Reader reader(document->root, data_keys(kind), problems);
    file.title = reader.text("title");
    file.note = reader.text("note");
    for (const auto& [name, help] : layout_.flags)
      if (reader.flag(name)) set_.push_back(name);
    for (const Number& number : layout_.numbers) {
      const Node* node = reader.anything(number.name);
      if (!node) continue;
      const Entry entry{number.name, node->origin, *node};
      file.numbers.push_back(
          read_parameter(entry, {number.name, number.unit}, bibliography, problems));
    }
    reader.finish();
  }

  bool flag(std::string_view name) const {
    return std::find(set_.begin(), set_.end(), name) != set_.end();
  }
  double number(std::string_view name, double otherwise) const {
    for (const auto& entry : file.numbers)
      if (entry.name == name) return entry.model_value;
    return otherwise;
  }

  DataFile file;

 private:
  const Layout& layout_;
  std::vector<std::string> set_;
};

KeyTable make_table(DataKind kind) {
  const Layout& l = layout(kind);
  KeyTable table{l.folder, l.what, {text("title", "a few words for tables and pages").required(),
                                    text("note", "what it is and when it is used")}};
  for (const auto& [name, help] : l.flags)
    table.keys.push_back(flag(name, help).fallback("false"));
  for (const Number& number : l.numbers) {
    Key key = map(number.name, parameter_keys(), number.help);
    key.kind = KeyKind::anything;
    table.keys.push_back(number.required ? key.required() : key);
  }
  return table;
}

}  // namespace

std::string_view folder_of(DataKind kind) { return layout(kind).folder; }

const KeyTable& data_keys(DataKind kind) {
  static const KeyTable tables[] = {make_table(DataKind::cover), make_table(DataKind::fluid),
                                    make_table(DataKind::warmer), make_table(DataKind::room)};
  return tables[static_cast<std::size_t>(kind)];
}

double& parameter(baby::Parameters<double>& p, std::size_t index) {
  double* const members[] = {
#define SEROSA_ADDRESS(name, unit) &p.name,
      SEROSA_PARAMETERS(SEROSA_ADDRESS)
#undef SEROSA_ADDRESS
  };
  return *members[index];
}

baby::Parameters<double> Models::values() const {
  baby::Parameters<double> p{};
  for (std::size_t i = 0; i < parameters.size(); ++i)
    parameter(p, i) = parameters[i].model_value;
  return p;
}

const ParameterEntry* Models::find(std::string_view name) const {
  for (const auto& entry : parameters)
    if (entry.name == name) return &entry;
  return nullptr;
}

Models read_models(const std::filesystem::path& folder, const Bibliography* bibliography,
                   Problems& problems) {
  std::vector<ParameterDeclaration> declared;
  for (const auto& info : baby::parameter_list) declared.push_back({info.name, info.unit});
  Models models;
  models.folder = folder;
  models.parameters = read_parameters(folder / "parameters", declared, bibliography, problems);
  return models;
}

std::filesystem::path default_models_folder() {
  namespace fs = std::filesystem;
  if (const char* named = std::getenv("SEROSA_MODELS")) return named;
  std::error_code failed;
  const fs::path program = fs::read_symlink("/proc/self/exe", failed);
  if (failed) return {};
  // bin/serosa of a build lies in <build>/bin; its checkout is named at configure time.
  for (const fs::path& candidate :
       {program.parent_path() / "../share/serosa/models", fs::path(SEROSA_SOURCE_MODELS),
        fs::path(SEROSA_INSTALLED_MODELS)})
    if (fs::is_directory(candidate / "parameters", failed)) return fs::canonical(candidate, failed);
  return {};
}

care::Cover read_cover(const std::filesystem::path& path, Problems& problems) {
  const DataReader r(DataKind::cover, path, nullptr, problems);
  care::Cover c;
  c.name = r.file.name;
  c.film = r.flag("film");
  c.dressing = r.flag("dressing");
  c.holds_fluid = r.flag("holds_fluid");
  c.covers_skin = r.flag("covers_skin");
  c.permeance = r.number("permeance", c.permeance);
  c.gap = r.number("gap", c.gap);
  c.warmer_transmittance = r.number("warmer_transmittance", c.warmer_transmittance);
  c.warmer_absorptance = r.number("warmer_absorptance", c.warmer_absorptance);
  c.longwave_transmittance = r.number("longwave_transmittance", c.longwave_transmittance);
  c.dressing_resistance = r.number("dressing_resistance", c.dressing_resistance);
  c.dressing_capacity = r.number("dressing_capacity", c.dressing_capacity);
  return c;
}

care::Fluid read_fluid(const std::filesystem::path& path, Problems& problems) {
  const DataReader r(DataKind::fluid, path, nullptr, problems);
  return {r.file.name,           r.number("sodium", 0),  r.number("chloride", 0),
          r.number("glucose", 0), r.number("protein", 0), r.number("red_cell_fraction", 0)};
}

care::Warmer read_warmer(const std::filesystem::path& path, Problems& problems) {
  const DataReader r(DataKind::warmer, path, nullptr, problems);
  const care::Warmer off;
  return {r.file.name, r.number("irradiance", 0), r.flag("servo"),
          r.number("set_point", off.set_point)};
}

care::Room read_room(const std::filesystem::path& path, Problems& problems) {
  const DataReader r(DataKind::room, path, nullptr, problems);
  return {r.file.name,
          r.number("air_temperature", 0),
          r.number("wall_temperature", 0),
          r.number("humidity", 0),
          r.number("air_speed", 0),
          r.number("air_pressure", 101.325)};
}

DataFile read_data_file(DataKind kind, const std::filesystem::path& path,
                        const Bibliography* bibliography, Problems& problems) {
  return DataReader(kind, path, bibliography, problems).file;
}

std::vector<std::string> data_names(const std::filesystem::path& models, DataKind kind) {
  std::vector<std::string> names;
  std::error_code failed;
  for (const auto& entry :
       std::filesystem::directory_iterator(models / folder_of(kind), failed))
    if (entry.path().extension() == ".yaml") names.push_back(entry.path().stem().string());
  std::sort(names.begin(), names.end());
  return names;
}

}  // namespace serosa::files

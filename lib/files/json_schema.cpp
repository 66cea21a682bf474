// SPDX-License-Identifier: Apache-2.0
#include <cmath>
#include <nlohmann/json.hpp>

#include "files/keys.hpp"
#include "files/results.hpp"
#include "units/units.hpp"

namespace serosa::files {
namespace {

using Json = nlohmann::ordered_json;

Json table_schema(const KeyTable& table);

Json words_schema(const std::vector<std::string>& words) { return Json{{"enum", words}}; }

/// Texts such as `20 min`; for a fraction also bare numbers, in which an editor can check the
/// range.
Json quantity_schema(const Key& key) {
  const std::string unit = units::shown(key.unit);
  Json text{{"type", "string"}, {"pattern", R"(^\s*[-+−]?\s*(\d|\.\d))"}};
  if (unit == "wk") text["examples"] = Json::array({"36 wk", "36+4 wk"});
  Json any = Json::array({text});
  if (unit == "1") {
    Json number{{"type", "number"}};
    if (std::isfinite(key.possible_range.low)) number["minimum"] = key.possible_range.low;
    if (std::isfinite(key.possible_range.high)) number["maximum"] = key.possible_range.high;
    any.push_back(number);
  }
  if (!key.word_list.empty()) any.push_back(words_schema(key.word_list));
  return any.size() == 1 ? any[0] : Json{{"anyOf", any}};
}

Json list_schema(const Key& key, Json item) {
  return Json{{"type", "array"},
              {"items", std::move(item)},
              {"minItems", key.fewest},
              {"maxItems", key.most}};
}

Json count_schema(const Key& key) {
  Json schema{{"type", "integer"}};
  if (std::isfinite(key.possible_range.low)) schema["minimum"] = key.possible_range.low;
  if (std::isfinite(key.possible_range.high)) schema["maximum"] = key.possible_range.high;
  return schema;
}

Json value_schema(const Key& key) {
  const Json any_text = {{"type", Json::array({"string", "number", "boolean"})}};
  switch (key.kind) {
    case KeyKind::quantity:
      return quantity_schema(key);
    case KeyKind::count:
      return count_schema(key);
    case KeyKind::word:
      return words_schema(key.word_list);
    case KeyKind::text:
    case KeyKind::file:
      return any_text;
    case KeyKind::flag:
      return Json{{"type", "boolean"}};
    case KeyKind::quantities:
      return list_schema(key, quantity_schema(key));
    case KeyKind::words:
      return list_schema(key, words_schema(key.word_list));
    case KeyKind::texts:
      return list_schema(key, any_text);
    case KeyKind::map:
      return table_schema(*key.table);
    case KeyKind::maps:
      return list_schema(key, table_schema(*key.table));
    case KeyKind::entries: {
      const Json entry{{"anyOf", Json::array({table_schema(*key.table), {{"const", "remove"}}})}};
      return Json{{"type", "object"}, {"additionalProperties", entry}};
    }
    case KeyKind::anything:
      break;
  }
  return Json::object();
}

/// Every key may also say `remove`, which deletes what the base file says.
Json key_schema(const Key& key) {
  Json schema{{"description", key.help + " (" + expected(key) + ")"}};
  if (key.fallback_text && key.fallback_text->find_first_of("[{") != 0)
    schema["default"] = *key.fallback_text;
  schema["anyOf"] = Json::array({value_schema(key), {{"const", "remove"}}});
  return schema;
}

Json object_schema(const KeyTable& table, const std::vector<Key>* more,
                   const std::string& variant) {
  Json properties = Json::object();
  for (const Key& key : table.keys) properties[key.name] = key_schema(key);
  if (more)
    for (const Key& key : *more) properties[key.name] = key_schema(key);
  if (!variant.empty()) properties[table.chooser] = Json{{"const", variant}};
  return Json{{"type", "object"},
              {"description", table.help},
              {"properties", properties},
              {"additionalProperties", false}};
}

/// Required keys are left to the program: a file that is based on another need not repeat them.
Json table_schema(const KeyTable& table) {
  if (table.variants.empty()) return object_schema(table, nullptr, {});
  Json any = Json::array();
  for (const Key& key : table.keys)
    if (key.name == table.chooser)
      for (const std::string& word : key.word_list)
        any.push_back(object_schema(table, table.variant(word), word));
  return Json{{"anyOf", any}};
}

}  // namespace

std::string json_schema(const KeyTable& table) {
  Json schema{{"$schema", "https://json-schema.org/draft/2020-12/schema"},
              {"$comment", caution},
              {"title", table.name}};
  Json body = table_schema(table);
  if (body.contains("properties"))
    body["properties"]["based_on"] =
        Json{{"type", "string"},
             {"description",
              "a file in the same folder or among the models, of which this file "
              "says only the differences"}};
  schema.update(body);
  return schema.dump(2) + "\n";
}

}  // namespace serosa::files

// SPDX-License-Identifier: Apache-2.0
#include <catch2/catch.hpp>

#include <cmath>

#include "files/reader.hpp"

using namespace serosa::files;
using Catch::Matchers::Contains;

namespace {

// A small world of its own, so that these tests do not move with the real case file.
const KeyTable& cover_keys() {
  static const KeyTable table{
      "cover",
      "A cover.",
      {quantity("leak", "1", "share that behaves as bare").possible(0, 1).fallback("5 %"),
       count("layers", "number of layers").possible(1, 10).fallback("1")}};
  return table;
}

const KeyTable& act_keys() {
  static const KeyTable table{
      "act",
      "Something that is done.",
      {word("act", {"birth", "wrap", "bolus"}, "what is done"),
       quantity("at", "h", "when").possible(-2, 72).required()},
      "act",
      {{"wrap", {map("cover", cover_keys(), "the cover").fallback("{}")}},
       {"bolus", {quantity("volume", "mL/kg", "how much").possible(0, 100).required()}}}};
  return table;
}

const KeyTable& world_keys() {
  static const KeyTable table{
      "world",
      "All of it.",
      {text("title", "a title").fallback("no title"),
       quantity("weight", "g", "birth weight")
           .possible(300, 8000)
           .published(500, 6000, "who2006")
           .required(),
       quantity("gestation", "wk", "gestation").possible(22, 45).fallback("36 wk"),
       quantity("warmer", "W/m2", "irradiance")
           .possible(0, 1000)
           .or_words({"none", "low", "full"})
           .fallback("low"),
       word("route", {"vaginal", "caesarean"}, "delivery").fallback("vaginal"),
       flag("matted", "matted bowel").fallback("false"),
       quantities("times", "h", "grid").possible(0, 72).length(1, 3).fallback("[1 h, 6 h]"),
       words("shown", {"water", "heat"}, "tables").fallback("[water]"),
       texts("notes", "notes").fallback("[]"),
       quantity("length", "m", "body length").possible(0.2, 0.7),
       map("shelter", cover_keys(), "a cover that may be absent"),
       maps("layers", cover_keys(), "covers in a row").fallback("[]"),
       entries("timeline", act_keys(), "acts").fallback("{}"),
       anything("extra", "whatever").fallback("{}")}};
  return table;
}

struct World {
  double weight = 0, gestation = 0;
  Reader::QuantityOrWord warmer;
  std::string title, route;
  std::size_t route_place = 0;
  bool matted = false;
  std::vector<double> times;
  std::vector<std::string> shown, notes;
  std::optional<double> length;
  bool sheltered = false;
  std::vector<double> leaks;
  std::vector<std::string> acts;
  std::vector<double> act_times;
  Problems problems;
};

double read_cover(Reader reader) {
  const double leak = reader.quantity("leak");
  reader.count("layers");
  reader.finish();
  return leak;
}

World read_world(const Node& root) {
  World world;
  Reader reader(root, world_keys(), world.problems);
  world.title = reader.text("title");
  world.weight = reader.quantity("weight");
  world.gestation = reader.quantity("gestation");
  world.warmer = reader.quantity_or_word("warmer");
  world.route = reader.word("route");
  world.route_place = reader.which("route");
  world.matted = reader.flag("matted");
  world.times = reader.quantities("times");
  world.shown = reader.words("shown");
  world.notes = reader.texts("notes");
  world.length = reader.maybe_quantity("length");
  if (auto shelter = reader.maybe_map("shelter")) {
    world.sheltered = true;
    read_cover(*shelter);
  }
  for (Reader& layer : reader.maps("layers")) world.leaks.push_back(read_cover(layer));
  for (auto& [name, act] : reader.entries("timeline")) {
    world.acts.push_back(act.word("act"));
    world.act_times.push_back(act.quantity("at"));
    if (act.variant() == "wrap") world.leaks.push_back(read_cover(act.map("cover")));
    if (act.variant() == "bolus") act.quantity("volume");
    act.finish();
  }
  reader.anything("extra");
  reader.finish();
  return world;
}

Node parsed(const std::string& text) {
  Problems problems;
  auto root = parse_document(make_source("t.yaml", "t.yaml", text), problems);
  INFO(problems.text());
  REQUIRE(root);
  return *root;
}

World read(const std::string& text) { return read_world(parsed(text)); }

}  // namespace

TEST_CASE("the tables of these tests are free of faults") {
  CHECK(faults(world_keys()) == std::vector<std::string>{});
}

TEST_CASE("a map is read by its table, defaults included") {
  const World world = read("weight: 2.56 kg\n");
  INFO(world.problems.text());
  CHECK(world.problems.all().empty());
  CHECK(world.weight == 2560);
  CHECK(world.gestation == 36);
  CHECK(world.warmer.word == "low");
  CHECK(std::isnan(world.warmer.value));
  CHECK(world.title == "no title");
  CHECK(world.route == "vaginal");
  CHECK_FALSE(world.matted);
  CHECK(world.times == std::vector<double>{1, 6});
  CHECK(world.shown == std::vector<std::string>{"water"});
  CHECK(world.notes.empty());
  CHECK_FALSE(world.length);
  CHECK_FALSE(world.sheltered);
  CHECK(world.acts.empty());
}

TEST_CASE("what stands in the file wins over defaults") {
  const World world = read(
      "weight: 2560 g\ngestation: 34+3 wk\nwarmer: 25 mW/cm^2\nroute: caesarean\nmatted: true\n"
      "times: [30 min]\nshown: [heat, water]\nnotes: [\"x: y\"]\nlength: 46 cm\n"
      "shelter: {leak: 0.1}\nlayers: [{leak: 20 %}, {}]\n"
      "timeline:\n  birth: {at: 0 min}\n  second wrap: {act: wrap, at: 20 min, cover: {leak: 0}}\n"
      "  wrap: {at: 3 min}\n");
  INFO(world.problems.text());
  CHECK(world.problems.all().empty());
  CHECK(world.gestation == 34 + 3 / 7.0);
  CHECK(world.warmer.word.empty());
  CHECK(world.warmer.value == 250);
  CHECK(world.route_place == 1);
  CHECK(world.matted);
  CHECK(world.times == std::vector<double>{0.5});
  CHECK(world.notes == std::vector<std::string>{"x: y"});
  CHECK(world.length == 0.46);
  CHECK(world.sheltered);
  CHECK(world.leaks == std::vector<double>{0.2, 0.05, 0, 0.05});
  CHECK(world.acts == std::vector<std::string>{"birth", "wrap", "wrap"});  // by key or by name
}

TEST_CASE("broken values: place, message, remedy") {
  struct Row {
    const char* text;
    std::vector<const char*> says;
  };
  const Row rows[] = {
      {"wieght: 2560 g\n",
       {"t.yaml:1:1  wieght: this key is not known; did you mean weight?",
        "known keys: title, weight", "the key \"weight\" is missing",
        "a mass, such as 2.56 kg, between 300 g and 8000 g"}},
      {"weight: 2560\n",
       {"t.yaml:1:9  weight: cannot read \"2560\" as a mass", "write 2560 g or 2560 kg"}},
      {"weight: 2560 mL\n", {"is a volume, but a mass"}},
      {"weight: 9 kg\n", {"\"9 kg\" is not possible", "between 300 g and 8000 g"}},
      {"weight: heavy\n", {"does not begin with a number"}},
      {"weight: [1 kg]\n", {"this is a list, where a single value is expected"}},
      {"weight: {a: 1}\n", {"this is a map, where a single value"}},
      {"weight:\n", {"there is no value", "a mass, such as 2.56 kg"}},
      {"weight: ~\n", {"there is no value"}},
      {"weight: 1 kg\nshelter: {leak: 15}\n",
       {"t.yaml:2:17  shelter.leak: cannot read \"15\" as a fraction; did you mean 15 % or 0.15?",
        "^ between 0 and 1"}},
      {"weight: 1 kg\nshelter: {leak: 150 %}\n", {"\"150 %\" is not possible"}},
      {"weight: 1 kg\nshelter: {leak: 500}\n", {"\"500\" is not possible"}},
      {"weight: 1 kg\nshelter: {leek: 1}\n",
       {"shelter.leek: this key is not known; did you mean leak?"}},
      {"weight: 1 kg\nshelter: {leak:0.5}\n", {"write a blank after the colon"}},
      {"weight: 1 kg\nshelter: tight\n", {"shelter: this is text, where a map"}},
      {"weight: 1 kg\nshelter:\n", {"write {} when all is to be default"}},
      {"weight: 1 kg\nwarmer: lo\n",
       {"did you mean low?", "one of none, low, full, or a heat flow per area"}},
      {"weight: 1 kg\nroute: cesarean\n",
       {"\"cesarean\" is not known here; did you mean caesarean?", "one of vaginal, caesarean"}},
      {"weight: 1 kg\nmatted: yes\n", {"\"yes\" is neither true nor false"}},
      {"weight: 1 kg\nmatted: off\n", {"\"off\" is neither true nor false"}},
      {"weight: 1 kg\ntimes: 1 h\n", {"this is text, where a list is expected"}},
      {"weight: 1 kg\ntimes: [1 h, 2]\n", {"t.yaml:2:14  times[2]: cannot read \"2\""}},
      {"weight: 1 kg\ntimes: []\n", {"the list has 0 items, where between 1 and 3 are expected"}},
      {"weight: 1 kg\ntimes: [1 h, 2 h, 3 h, 4 h]\n", {"the list has 4 items"}},
      {"weight: 1 kg\nshown: [water, fire]\n", {"shown[2]: \"fire\" is not known here"}},
      {"weight: 1 kg\nnotes: [[a]]\n", {"notes[1]: this is a list"}},
      {"weight: 1 kg\ntitle: \"\"\n", {"the text is empty"}},
      {"weight: 1 kg\nshelter: {layers: 2.5}\n", {"cannot read \"2.5\" as a whole number"}},
      {"weight: 1 kg\nshelter: {layers: 0}\n", {"\"0\" is not possible", "between 1 and 10"}},
      {"weight: 1 kg\nshelter: {layers: 99999999999999999999}\n", {"as a whole number"}},
      {"weight: 1 kg\nlayers: {leak: 1}\n", {"this is a map, where a list is expected"}},
      {"weight: 1 kg\nlayers: [leak]\n", {"layers[1]: this is text, where a map"}},
      {"weight: 1 kg\ntimeline: [birth]\n", {"this is a list, where a map"}},
      {"weight: 1 kg\ntimeline: {birth: {}}\n", {"timeline.birth: the key \"at\" is missing"}},
      {"weight: 1 kg\ntimeline: {first: {at: 1 h}}\n",
       {"timeline.first: the key \"act\" is missing", "one of birth, wrap, bolus"}},
      {"weight: 1 kg\ntimeline: {first: {act: rwap, at: 1 h}}\n",
       {"timeline.first.act: \"rwap\" is not known here; did you mean wrap?"}},
      {"weight: 1 kg\ntimeline: {birth: {at: 1 h, volume: 10 mL/kg}}\n",
       {"timeline.birth.volume: this key is not known; it belongs to act: bolus"}},
      {"weight: 1 kg\ntimeline: {bolus: {at: 1 h}}\n",
       {"the key \"volume\" is missing", "a volume per body weight, such as 10 mL/kg"}},
      {"weight: 1 kg\ntimeline: {a.b: {act: birth, at: 1 h}}\n", {"a name holds no dot"}},
      {"weight: 1 kg\ntimeline: {wrap: {at: 1 h, cover: {leak: wide}}}\n",
       {"t.yaml:2:42  timeline.wrap.cover.leak:"}},
      {"[1, 2]\n", {"this is a list, where a map (key: value) is expected"}},
      {"just text\n", {"this is text, where a map"}},
  };
  for (const Row& row : rows) {
    INFO(row.text);
    const World world = read(row.text);
    CHECK(world.problems.refused());
    for (const char* part : row.says) CHECK_THAT(world.problems.text(), Contains(part));
  }
}

TEST_CASE("one fault gives one complaint, several faults all of theirs") {
  CHECK(read("weight: 1 kg\nshelter: tight\n").problems.errors() == 1);
  CHECK(read("weight: 1 kg\ntimeline: {first: {act: rwap, at: 1 h, volume: x}}\n")
            .problems.errors() == 1);
  CHECK(read("text\n").problems.errors() == 1);
  CHECK(read("weight: 1\nmatted: no\nroute: x\nunknown: 1\n").problems.errors() == 4);
}

TEST_CASE("outside the published range is a warning") {
  const World world = read("weight: 400 g\n");
  CHECK_FALSE(world.problems.refused());
  CHECK(world.weight == 400);
  CHECK_THAT(world.problems.text(),
             Contains("warning: weight: \"400 g\" lies outside the published range (who2006)") &&
                 Contains("published between 500 g and 6000 g"));
}

TEST_CASE("the command line is quoted when its value is refused") {
  Node root = parsed("weight: 1 kg\ntimeline: {wrap: {at: 3 min}}\n");
  Problems problems;
  REQUIRE(set_value(root, "timeline.wrap.at=20", problems));
  const World world = read_world(root);
  CHECK(world.problems.text() ==
        "command line  timeline.wrap.at: cannot read \"20\" as a length of time: a number alone "
        "has no unit; write 20 min or 20 h\n"
        "    --set timeline.wrap.at=20\n"
        "                           ^ a length of time, such as 20 min, between -2 h and 72 h\n");
}

TEST_CASE("faults of the program are told from faults of the input") {
  const Node root = parsed("weight: 1 kg\n");
  Problems problems;
  Reader reader(root, world_keys(), problems);
  CHECK_THROWS_AS(reader.quantity("colour"), std::logic_error);
  CHECK_THROWS_AS(reader.text("weight"), std::logic_error);
  CHECK_THROWS_AS(reader.map("shelter"), std::logic_error);  // may be absent: maybe_map
  CHECK_THROWS_AS(reader.finish(), std::logic_error);        // most keys were never read
}

TEST_CASE("faults of a table are found") {
  const KeyTable bad{"bad",
                     "b",
                     {quantity("a", "furlong", "x"), quantity("b", "h", "x").fallback("3 kg"),
                      quantity("c", "h", "x").possible(0, 1).fallback("2 h"), word("d", {}, "x"),
                      text("e", ""), text("e", "x"), quantity("f", "h", "x").possible(2, 1),
                      quantity("g", "h", "x").possible(0, 1).published(0, 2),
                      text("h", "x").required().fallback("y")}};
  const auto found = faults(bad);
  CHECK(found.size() == 9);
}

TEST_CASE("errors about several keys carry the place of each") {
  const Node root = parsed("weight: 1 kg\nroute: vaginal\n");
  Problems problems;
  Reader reader(root, world_keys(), problems);
  reader.error("route", "does not go with the weight");
  reader.warn("", "all of it is odd");
  CHECK(reader.given("route"));
  CHECK_FALSE(reader.given("matted"));
  CHECK_THAT(problems.text(), Contains("t.yaml:2:8  route: does not go with the weight"));
}

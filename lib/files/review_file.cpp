// SPDX-License-Identifier: Apache-2.0
#include "files/review_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "files/key_values.hpp"
#include "files/protocol_file.hpp"
#include "files/reader.hpp"
#include "units/units.hpp"

namespace serosa::files {

namespace fs = std::filesystem;

namespace {

const KeyTable& cover_keys() {
  static const KeyTable table{
      "cover",
      "How the bowel is covered: what differs from the case.",
      {text("case", "another case to follow, a file beside the review or one that comes along"),
       anything("set", "inputs that differ, as `timeline.wrap.at: 20 min`")}};
  return table;
}

const KeyTable& range_keys(const char* unit) {
  static const KeyTable per_kg{
      "range",
      "Between these lies the band.",
      {quantity("from", "mL/kg", "lower end").possible(-100, 100).required(),
       quantity("to", "mL/kg", "upper end").possible(-100, 100).required()}};
  static const KeyTable sodium{
      "sodium range",
      "Between these lies the band.",
      {quantity("from", "mmol/L", "lower end").possible(100, 200).required(),
       quantity("to", "mmol/L", "upper end").possible(100, 200).required()}};
  return std::string_view(unit) == "mmol/L" ? sodium : per_kg;
}

const KeyTable& band_keys() {
  static const KeyTable table{
      "bands",
      "What counts as under-filled and as over-filled.",
      {map("circulating_deficit", range_keys("mL/kg"),
           "blood volume missing since the cord was clamped: above it under-filled, below it "
           "over-filled")
           .fallback("{from: -5 mL/kg, to: 5 mL/kg}"),
       quantity("oedema", "mL/kg", "over-filled: water gained between the cells since birth")
           .possible(0, 500)
           .fallback("30 mL/kg"),
       quantity("dilution", "1", "over-filled: share by which the haematocrit fell since birth")
           .possible(0, 1)
           .fallback("10 %"),
       quantity("weight_gain", "1", "over-filled: share of birth weight gained")
           .possible(0, 1)
           .fallback("3 %"),
       map("sodium", range_keys("mmol/L"), "plasma sodium")
           .fallback("{from: 135 mmol/L, to: 145 mmol/L}"),
       quantity("from", "h", "earlier hours are not judged").possible(0, 1000).fallback("2 h"),
       quantity("allowed", "1", "share of hours that a baby may be out of band")
           .possible(0, 1)
           .fallback("10 %")}};
  return table;
}

const KeyTable& utility_keys() {
  const auto worth = [](const char* name, const char* help, const char* fallback) {
    return quantity(name, "1", help).possible(-1000, 1000).fallback(fallback);
  };
  static const KeyTable table{
      "utility",
      "What is worth how much. Of hours, the share of all hours judged counts.",
      {worth("in_band", "hours neither under-filled nor over-filled", "1"),
       worth("under", "hours under-filled", "-1"), worth("over", "hours over-filled", "-1"),
       worth("sodium", "hours with sodium outside its band", "-1"),
       worth("little_urine", "hours with less than 0.5 mL/kg/h of urine", "-0.5"),
       worth("cold", "hours with the core below normal", "-0.5"),
       worth("warm", "hours with the core above normal", "-0.5"),
       worth("bolus", "each bolus", "0")}};
  return table;
}

const KeyTable& axis_keys() {
  static const KeyTable table{
      "axis",
      "One input of the map.",
      {texts("set",
             "paths of the inputs that take these values together, such as timeline.line.rate or "
             "protocol.orders.line.rate")
           .length(1, 10)
           .required(),
       texts("values", "the values").length(2, 40).required(),
       text("label", "what it is, for the map").required()}};
  return table;
}

const KeyTable& corridor_keys() {
  static const KeyTable table{
      "corridor",
      "A map over two inputs of the case, or of the protocol that it follows.",
      {map("x", axis_keys(), "from left to right").required(),
       map("y", axis_keys(), "from below").required(),
       quantity("level", "1", "share of hours in band that marks the corridor")
           .possible(0, 1)
           .fallback("80 %")}};
  return table;
}

Key of_study(const char* name) { return *find_key(study_keys(), "", name); }

std::vector<std::string> names_of(simulate::output::Index const* first, std::size_t n) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < n; ++i) names.emplace_back(simulate::output_list[first[i]].name);
  return names;
}

/// In the order of study::Followed and study::AtEnd.
namespace out = simulate::output;
constexpr out::Index followed[] = {
    out::circulating_deficit, out::interstitial_water, out::haematocrit,
    out::weight_change,       out::plasma_sodium,      out::urine,
    out::core_temperature,    out::charted_deficit,    out::external_deficit};
constexpr out::Index at_end[] = {
    out::given_maintenance,   out::given_boluses,    out::given_replacement,
    out::given_blood,         out::boluses,          out::weight_change,
    out::circulating_deficit, out::external_deficit, out::charted_deficit,
    out::third_space,         out::skin_loss,        out::bowel_evaporation,
    out::airway_loss,         out::bowel_drip,       out::urine,
    out::gastric_drainage,    out::blood_loss};
static_assert(std::size(followed) == study::place(study::Followed::count));
static_assert(std::size(at_end) == study::place(study::AtEnd::count));

/// Reads one review: checks it and makes the study that carries it out.
class ReviewReader {
 public:
  ReviewReader(const fs::path& path, const Models& models, Problems& problems)
      : path_(path), models_(models), problems_(problems) {}

  ReviewFile read() {
    ReviewFile f;
    auto document = read_document(path_, problems_);
    if (!document) return f;
    Reader r(document->root, review_keys(), problems_);
    r.text("title");
    r.text("note");
    case_ = r.text("case");
    read_bands(r.map("bands"), f.bands);
    read_utility(r.map("utility"), f.utility);
    const auto protocols = r.texts("protocols");
    auto covers = r.entries("covers");
    auto corridor = r.maybe_map("corridor");
    const double until = r.quantity("until"), every = r.quantity("every");
    pass(r, document->root);
    if (problems_.refused()) return f;
    f.bands.core_low = models_.find("who_normal")->model_value;
    f.bands.core_high = models_.find("who_too_warm")->model_value;
    if (f.bands.from >= until) r.error("bands", "no hour is judged: `from` lies after the end");
    if (corridor)
      read_corridor(*corridor, protocols, covers.empty(), r, f);
    else
      read_arms(protocols, covers, r, f);
    r.finish();
    if (problems_.refused()) return f;
    make_study(*document, until, every, f);
    if (problems_.refused()) return f;
    for (const auto& source : sources_) f.study.sources.push_back(source);
    f.understood = with_defaults(document->root, review_keys());
    return f;
  }

 private:
  void read_bands(Reader r, study::ReviewBands& b) {
    const auto range = [&](const char* key, double& low, double& high) {
      Reader band = r.map(key);
      low = band.quantity("from");
      high = band.quantity("to");
      band.finish();
      if (!(low < high)) r.error(key, "the band is empty");
    };
    range("circulating_deficit", b.deficit_low, b.deficit_high);
    b.oedema = r.quantity("oedema");
    b.dilution = r.quantity("dilution");
    b.weight_gain = r.quantity("weight_gain");
    range("sodium", b.sodium_low, b.sodium_high);
    b.from = r.quantity("from");
    b.allowed = r.quantity("allowed");
    r.finish();
  }

  void read_utility(Reader r, study::Utility& u) {
    u = {r.quantity("in_band"),      r.quantity("under"), r.quantity("over"), r.quantity("sodium"),
         r.quantity("little_urine"), r.quantity("cold"),  r.quantity("warm"), r.quantity("bolus")};
    r.finish();
  }

  /// What goes to the study as it stands.
  void pass(Reader& r, const Node& root) {
    r.file("cohort", models_.folder);
    r.anything("vary");
    r.maps("correlations");
    r.map("design");
    r.quantity("confidence");
    r.word("failed_runs");
    for (const char* key :
         {"title", "note", "cohort", "vary", "correlations", "design", "confidence", "failed_runs"})
      if (const Node* node = root.find(key)) study_.entries.push_back({key, node->origin, *node});
  }

  struct Cover {
    std::string name, file;
    Origin origin;
    std::vector<Entry> set;
  };

  void read_arms(const std::vector<std::string>& protocols,
                 std::vector<std::pair<std::string, Reader>>& entries, Reader& r, ReviewFile& f) {
    if (protocols.empty())
      return r.error("protocols", "a review names `protocols`, or a `corridor`",
                     "protocols: [fixed-by-day, bolus-10-by-trigger]");
    std::vector<Cover> covers;
    for (auto& [name, entry] : entries) {
      Cover cover{name, entry.text("case"), entry.origin("case"), {}};
      if (const Node* set = entry.anything("set")) {
        if (!set->is_map())
          entry.error("set", "a map is expected", "timeline.wrap.at: 20 min");
        else
          cover.set = set->entries;
      }
      entry.finish();
      covers.push_back(std::move(cover));
    }
    if (covers.empty()) covers.push_back({"as in the case", "", r.origin("case"), {}});
    Node arms = Node::make_map();
    for (std::size_t p = 0; p < protocols.size(); ++p) {
      check_protocol(protocols[p], r, f);
      if (problems_.refused()) return;
    }
    for (const Cover& cover : covers) {
      f.covers.push_back(cover.name);
      for (std::size_t p = 0; p < protocols.size(); ++p) {
        auto set = cover.set;
        set.push_back({"protocol", {}, Node::make_text(protocols[p], r.origin("protocols"))});
        add_arm(arms, f.protocols[p].name + " + " + cover.name,
                cover.file.empty() ? case_ : cover.file,
                cover.file.empty() ? r.origin("case") : cover.origin, std::move(set));
      }
    }
    study_.entries.push_back({"arms", {}, std::move(arms)});
  }

  /// Reads the protocol once for its faults and for what it says in tables.
  void check_protocol(const std::string& name, Reader& r, ReviewFile& f) {
    const Origin origin = r.origin("protocols");
    auto document = find_protocol(name, origin, models_, "protocols", problems_);
    if (!document) return;
    const ProtocolFile p = read_protocol(document->root, models_, problems_, "");
    if (problems_.refused()) return;
    for (const auto& other : f.protocols)
      if (other.name == p.protocol->name)
        r.error("protocols", quote(other.name) + " is named twice");
    f.protocols.push_back({p.protocol->name, p.protocol->title, p.stands_for, p.source});
    sources_.push_back(document->sources.front());
  }

  static void add_arm(Node& arms, std::string name, const std::string& file, const Origin& origin,
                      std::vector<Entry> set) {
    std::replace(name.begin(), name.end(), '.', '-');  // a dot separates names in paths
    Node arm = Node::make_map(origin), changes = Node::make_map(origin);
    changes.entries = std::move(set);
    arm.entries.push_back({"case", origin, Node::make_text(file, origin)});
    arm.entries.push_back({"set", origin, std::move(changes)});
    arms.entries.push_back({name, origin, std::move(arm)});
  }

  Corridor::Axis axis(Reader r, std::vector<std::string>& paths) {
    Corridor::Axis a;
    paths = r.texts("set");
    a.values = r.texts("values");
    a.label = r.text("label");
    r.finish();
    // Numbers when all values are, in the unit of the first.
    for (const auto& value : a.values) {
      const auto blank = value.find(' ');
      const std::string unit = blank == std::string::npos ? "1" : value.substr(blank + 1);
      try {
        if (a.numbers.empty()) a.unit = unit;
        a.numbers.push_back(units::to_model(value, a.unit));
      } catch (const units::Error&) {
        a.numbers.clear();
        a.unit.clear();
        break;
      }
    }
    return a;
  }

  void read_corridor(Reader& c, const std::vector<std::string>& protocols, bool one_cover,
                     Reader& r, ReviewFile& f) {
    if (protocols.size() > 1 || !one_cover)
      return r.error("corridor", "a corridor follows one protocol at most, and takes no `covers`");
    for (const auto& name : protocols) check_protocol(name, r, f);
    if (problems_.refused()) return;
    Corridor corridor;
    std::vector<std::string> x_paths, y_paths;
    corridor.x = axis(c.map("x"), x_paths);
    corridor.y = axis(c.map("y"), y_paths);
    corridor.level = c.quantity("level");
    c.finish();
    if (problems_.refused()) return;
    if (corridor.x.values.size() * corridor.y.values.size() > 400)
      return c.error("", "at most 400 cells");
    Node arms = Node::make_map();
    const Origin origin = c.node().origin;
    for (std::size_t iy = 0; iy < corridor.y.values.size(); ++iy)
      for (std::size_t ix = 0; ix < corridor.x.values.size(); ++ix) {
        std::vector<Entry> set;
        for (const auto& name : protocols)
          set.push_back({"protocol", {}, Node::make_text(name, r.origin("protocols"))});
        for (const auto& path : x_paths)
          set.push_back({path, origin, Node::make_text(corridor.x.values[ix], origin)});
        for (const auto& path : y_paths)
          set.push_back({path, origin, Node::make_text(corridor.y.values[iy], origin)});
        add_arm(arms, fmt::format("cell {} {}", ix + 1, iy + 1), case_, r.origin("case"),
                std::move(set));
      }
    study_.entries.push_back({"arms", {}, std::move(arms)});
    f.corridor = std::move(corridor);
  }

  void make_study(const Document& document, double until, double every, ReviewFile& f) {
    const std::string text = fmt::format(
        "outputs: [{}]\ntimes: [{}]\nseries: {{every: {}, outputs: [{}], quantiles: [5 %, 50 %, "
        "95 %]}}\n",
        fmt::join(names_of(at_end, std::size(at_end)), ", "), units::from_model(until, "h"),
        units::from_model(every, "h"), fmt::join(names_of(followed, std::size(followed)), ", "));
    const auto fixed =
        parse_document(make_source(path_.filename().string(), path_, text), problems_);
    if (!fixed) return;
    for (const Entry& entry : fixed->entries) study_.entries.push_back(entry);
    f.study = read_study(Document{study_, document.sources}, path_, models_, problems_);
    if (!problems_.refused() && f.study.study.series_times.size() < 2)
      problems_.error(document.root.origin, "every", "the grid is coarser than the review is long");
  }

  fs::path path_;
  const Models& models_;
  Problems& problems_;
  std::string case_;
  std::vector<std::shared_ptr<const Source>> sources_;
  Node study_ = Node::make_map();
};

}  // namespace

const KeyTable& review_keys() {
  static const KeyTable table{
      "review",
      "Protocols compared over a cohort, or a map over two inputs.",
      {text("title", "a few words for tables and pages").required(), text("note", "what is asked"),
       text("case", "the case that all follow: a file beside the review or one that comes along")
           .required(),
       texts("protocols", "protocols: files beside the review, or names of those that come along")
           .length(0, 50)
           .fallback("[]"),
       entries("covers", cover_keys(), "ways of covering the bowel, by name").fallback("{}"),
       map("corridor", corridor_keys(),
           "a map over two inputs, in place of several protocols and covers"),
       of_study("cohort"), of_study("vary"), of_study("correlations"), of_study("design"),
       quantity("until", "h", "end of the runs").possible(1, 200).fallback("48 h"),
       quantity("every", "h", "grid on which hours are judged").possible(0.1, 24).fallback("1 h"),
       map("bands", band_keys(), "what counts as under-filled and as over-filled").fallback("{}"),
       map("utility", utility_keys(), "what is worth how much").fallback("{}"),
       of_study("confidence"), of_study("failed_runs")}};
  return table;
}

bool is_review(const fs::path& path) {
  Problems ignored;
  const auto document = read_document(path, ignored);
  return document && (document->root.find("protocols") || document->root.find("corridor"));
}

ReviewFile read_review(const fs::path& path, const Models& models, Problems& problems) {
  return ReviewReader(path, models, problems).read();
}

}  // namespace serosa::files

// SPDX-License-Identifier: Apache-2.0
// A case as a row of numbers: what the lesson's page hands to the model inside it. One list of
// fields per struct serves the program, which writes cases as named numbers into the page, and the
// compiled model, which reads them in the same order.
#pragma once
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "baby/controls.hpp"
#include "baby/parameters.hpp"
#include "care/case.hpp"
#include "care/protocol.hpp"

namespace serosa::lesson {

// fields(v, x) calls v(key, member) for every number, flag and choice of x in the order of the
// wire, and v.name(key, text) for the name of a data file, which stays behind.

template <class V>
void fields(V& v, baby::Inputs<double>& b) {
  v("weight", b.weight), v("gestation", b.gestation), v("length", b.length);
  v("delivery", b.delivery), v("gastroschisis", b.gastroschisis), v("protein", b.protein);
  v("haematocrit", b.haematocrit), v("sodium", b.sodium);
  v("cord_clamped_at", b.cord_clamped_at), v("blood_volume", b.blood_volume);
  v("temperature", b.temperature), v("skin_temperature", b.skin_temperature);
  v("bowel_temperature", b.bowel_temperature), v("herniated", b.herniated), v("spread", b.spread);
  v("loop_diameter", b.loop_diameter), v("bowel_length", b.bowel_length);
  v("thickening", b.thickening), v("matting", b.matting), v("area", b.area);
}
template <class V>
void fields(V& v, care::Room& r) {
  v.name("room", r.name);
  v("air_temperature", r.air_temperature), v("wall_temperature", r.wall_temperature);
  v("humidity", r.humidity), v("air_speed", r.air_speed), v("air_pressure", r.air_pressure);
}
template <class V>
void fields(V& v, care::Warmer& w) {
  v.name("warmer", w.name);
  v("irradiance", w.irradiance), v("servo", w.servo), v("set_point", w.set_point);
}
template <class V>
void fields(V& v, care::Cover& c) {
  v.name("cover", c.name);
  v("film", c.film), v("permeance", c.permeance), v("gap", c.gap);
  v("warmer_transmittance", c.warmer_transmittance);
  v("warmer_absorptance", c.warmer_absorptance);
  v("longwave_transmittance", c.longwave_transmittance), v("holds_fluid", c.holds_fluid);
  v("covers_skin", c.covers_skin), v("dressing", c.dressing);
  v("dressing_resistance", c.dressing_resistance), v("dressing_capacity", c.dressing_capacity);
}
template <class V>
void fields(V& v, care::Fluid& f) {
  v.name("fluid", f.name);
  v("sodium", f.sodium), v("chloride", f.chloride), v("glucose", f.glucose);
  v("fluid_protein", f.protein), v("red_cell_fraction", f.red_cell_fraction);
}
/// What a case has beside baby, room and timeline.
template <class V>
void fields(V& v, care::Case& c) {
  v("position", c.position), v("exposed", c.exposed), v("wet", c.wet), v("until", c.until);
}

template <class V>
void fields(V& v, care::SetWarmer& d) {
  fields(v, d.warmer);
}
template <class V>
void fields(V&, care::LayOutFilm&) {}
template <class V>
void fields(V&, care::ClampCord&) {}
template <class V>
void fields(V& v, care::DrySkin& d) {
  v("share", d.share), v("head", d.head), v("body", d.body);
}
template <class V>
void fields(V& v, care::PutOnHat& d) {
  v("on", d.on);
}
template <class V>
void fields(V& v, care::MoveTo& d) {
  fields(v, d.room);
}
template <class V>
void fields(V& v, care::Place& d) {
  v("position", d.position);
}
template <class V>
void fields(V& v, care::CoverBowel& d) {
  fields(v, d.cover);
  v("layers", d.layers), v("seal", d.seal), v("tension", d.tension), v("over", d.over);
  fields(v, d.wetting);
}
template <class V>
void fields(V&, care::UncoverBowel&) {}
template <class V>
void fields(V& v, care::Rewrap& d) {
  v("seal", d.seal), v("tension", d.tension), v("over", d.over);
}
template <class V>
void fields(V& v, care::Rewet& d) {
  fields(v, d.fluid);
}
template <class V>
void fields(V&, care::PassTube&) {}
template <class V>
void fields(V&, care::Aspirate&) {}
template <class V>
void fields(V& v, care::FreeDrainage& d) {
  v("on", d.on);
}
template <class V>
void fields(V& v, care::Infuse& d) {
  fields(v, d.fluid);
  v("rate", d.rate);
}
template <class V>
void fields(V& v, care::AdjustInfusion& d) {
  v("by", d.by), v("least", d.least), v("most", d.most);
}
template <class V>
void fields(V&, care::StopInfusion&) {}
template <class V>
void fields(V& v, care::Bolus& d) {
  fields(v, d.fluid);
  v("volume", d.volume), v("over", d.over), v("purpose", d.purpose);
}
template <class V>
void fields(V& v, care::ReplaceGastricLoss& d) {
  fields(v, d.fluid);
  v("every", d.every), v("share", d.share);
}
template <class V>
void fields(V& v, care::LoseBlood& d) {
  v("volume", d.volume), v("share", d.share), v("over", d.over);
  v("to_laboratory", d.to_laboratory);
}
template <class V>
void fields(V& v, care::Breathe& d) {
  v("by", d.by);
}
template <class V>
void fields(V& v, care::BeActive& d) {
  v("factor", d.factor);
}
template <class V>
void fields(V& v, care::ReduceBowel& d) {
  v("share", d.share);
}
template <class V>
void fields(V&, care::CloseAbdomen&) {}
template <class V>
void fields(V& v, care::SetControl& d) {
  v("control", d.control), v("value", d.value);
}

/// What a case has of its protocol's chart.
template <class V>
void chart_fields(V& v, care::Case& c) {
  v("chart_seed", c.chart_seed), v("chart_run", c.chart_run);
}
// Lists within these (readings, rules, conditions) go over with their counts, the deed of a rule
// with its kind.
template <class V>
void fields(V& v, care::Protocol& p) {
  v.name("name", p.name), v.name("title", p.title), v.name("note", p.note);
  v("look_every", p.look_every), v("look_from", p.look_from);
}
template <class V>
void fields(V& v, care::Reading& r) {
  v.name("name", r.name);
  v("sign", r.sign), v("every", r.every), v("over", r.over), v("delay", r.delay);
  v("error", r.error);
}
template <class V>
void fields(V& v, care::Condition& c) {
  v("reading", c.reading), v("above", c.above), v("below", c.below), v("lasting", c.lasting);
}
template <class V>
void fields(V& v, care::Rule& r) {
  v.name("name", r.name), v.name("reason", r.reason);
  v("at_most", r.at_most), v("gap", r.gap), v("from", r.from), v("until", r.until);
}

// The word of each deed in the page's data. A deed without fields and word here does not compile.
inline std::string_view word(const care::SetWarmer&) { return "warmer"; }
inline std::string_view word(const care::LayOutFilm&) { return "lay-out-film"; }
inline std::string_view word(const care::ClampCord&) { return "clamp-cord"; }
inline std::string_view word(const care::DrySkin&) { return "dry"; }
inline std::string_view word(const care::PutOnHat&) { return "hat"; }
inline std::string_view word(const care::MoveTo&) { return "move"; }
inline std::string_view word(const care::Place&) { return "position"; }
inline std::string_view word(const care::CoverBowel&) { return "cover"; }
inline std::string_view word(const care::UncoverBowel&) { return "uncover"; }
inline std::string_view word(const care::Rewrap&) { return "re-wrap"; }
inline std::string_view word(const care::Rewet&) { return "rewet"; }
inline std::string_view word(const care::PassTube&) { return "pass-tube"; }
inline std::string_view word(const care::Aspirate&) { return "aspirate"; }
inline std::string_view word(const care::FreeDrainage&) { return "drain"; }
inline std::string_view word(const care::Infuse&) { return "maintenance"; }
inline std::string_view word(const care::AdjustInfusion&) { return "change-maintenance"; }
inline std::string_view word(const care::StopInfusion&) { return "stop-maintenance"; }
inline std::string_view word(const care::Bolus&) { return "bolus"; }
inline std::string_view word(const care::ReplaceGastricLoss&) { return "replace-gastric-loss"; }
inline std::string_view word(const care::LoseBlood&) { return "bleed"; }
inline std::string_view word(const care::Breathe&) { return "breathe"; }
inline std::string_view word(const care::BeActive&) { return "activity"; }
inline std::string_view word(const care::ReduceBowel&) { return "reduce"; }
inline std::string_view word(const care::CloseAbdomen&) { return "close"; }
inline std::string_view word(const care::SetControl&) { return "hold"; }

/// Calls f(deed) with one default deed of every kind, in the order of the variant.
template <class F>
void for_each_deed(F&& f) {
  [&]<std::size_t... I>(std::index_sequence<I...>) {
    (f(std::variant_alternative_t<I, care::Deed>{}), ...);
  }
  (std::make_index_sequence<std::variant_size_v<care::Deed>>{});
}

/// Reads numbers one after another; a row that ends too soon is refused.
class Taker {
 public:
  explicit Taker(std::span<const double> row) : row_(row) {}

  double number() {
    if (next_ == row_.size()) throw std::invalid_argument("the row of numbers ends too soon");
    return row_[next_++];
  }
  std::size_t count(std::size_t most) {
    const double x = number();
    if (!(x >= 0 && x <= static_cast<double>(most)))
      throw std::invalid_argument("a count is wrong");
    return static_cast<std::size_t>(x);
  }

  template <class T>
  void operator()(std::string_view, T& member) {
    const double x = number();
    if constexpr (std::is_same_v<T, double>)
      member = x;
    else if constexpr (std::is_same_v<T, bool>)
      member = x != 0.0;
    else  // a choice or an index: a small whole number
      member = static_cast<T>(static_cast<std::int64_t>(x));
  }
  void name(std::string_view, const std::string&) {}

 private:
  std::span<const double> row_;
  std::size_t next_ = 0;
};

/// A case with the parameters it runs on.
struct Taken {
  care::Case c;
  baby::Parameters<double> parameters;
};

inline care::Deed take_deed(Taker& t) {
  const std::size_t kind = t.count(std::variant_size_v<care::Deed> - 1);
  care::Deed deed;
  std::size_t index = 0;
  for_each_deed([&](auto made) {
    if (index++ != kind) return;
    fields(t, made);
    deed = made;
  });
  return deed;
}

/// How many conditions, and each; a level that is not given is not a number.
inline std::vector<care::Condition> take_conditions(Taker& t, std::size_t readings) {
  std::vector<care::Condition> all(t.count(care::Rule::most_conditions));
  for (care::Condition& c : all) {
    fields(t, c);
    if (!(c.reading < readings)) throw std::invalid_argument("no reading of this number");
    if (std::isnan(c.above)) c.above = care::Condition{}.above;
    if (std::isnan(c.below)) c.below = care::Condition{}.below;
  }
  return all;
}

/// Seed and run of the readings' errors; the looks; how many readings, and each; how many rules,
/// each with its conditions (`when`, then `unless`) and its deed.
inline std::shared_ptr<const care::Protocol> take_protocol(Taker& t, care::Case& c) {
  const auto p = std::make_shared<care::Protocol>();
  chart_fields(t, c);
  fields(t, *p);
  if (!(p->look_every >= 1.0 / 60)) throw std::invalid_argument("looks are too close");
  p->readings.resize(t.count(100));
  for (care::Reading& reading : p->readings) {
    fields(t, reading);
    if (!(static_cast<std::size_t>(reading.sign) < std::size(care::sign_list)))
      throw std::invalid_argument("nothing of this number can be read");
  }
  p->rules.resize(t.count(100));
  for (care::Rule& rule : p->rules) {
    fields(t, rule);
    if (std::isnan(rule.until)) rule.until = care::Rule{}.until;
    rule.when = take_conditions(t, p->readings.size());
    rule.unless = take_conditions(t, p->readings.size());
    rule.deed = take_deed(t);
  }
  return p;
}

/// The row of one case: baby, case, room; how many parameters differ, each as index and value; how
/// many acts, each as kind, hour and its own fields; whether there is a protocol, and it.
inline Taken take_case(Taker& t, const baby::Parameters<double>& base) {
  Taken taken{{}, base};
  care::Case& c = taken.c;
  fields(t, c.baby);
  fields(t, c);
  fields(t, c.room);
  using Member = double baby::Parameters<double>::*;
  static constexpr Member members[] = {
#define SEROSA_MEMBER(name, unit) &baby::Parameters<double>::name,
      SEROSA_PARAMETERS(SEROSA_MEMBER)
#undef SEROSA_MEMBER
  };
  for (std::size_t n = t.count(baby::parameter::count); n > 0; --n) {
    const std::size_t which = t.count(baby::parameter::count - 1);
    taken.parameters.*members[which] = t.number();
  }
  for (std::size_t n = t.count(1000); n > 0; --n) {
    care::Act act{{}, 0.0, {}};
    act.deed = take_deed(t);
    act.at = t.number();
    if (!c.timeline.empty() && !(act.at >= c.timeline.back().at))
      throw std::invalid_argument("the acts are not in the order of their times");
    if (const auto* held = std::get_if<care::SetControl>(&act.deed);
        held != nullptr && held->control >= std::size(baby::control_list))
      throw std::invalid_argument("nothing of this number can be held");
    c.timeline.push_back(std::move(act));
  }
  if (t.count(1) == 1) c.protocol = take_protocol(t, c);
  return taken;
}

}  // namespace serosa::lesson

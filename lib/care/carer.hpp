// SPDX-License-Identifier: Apache-2.0
// Carries a case out: turns the deeds of its timeline, and those that its protocol's rules ask for,
// into changes of the controls and of the state.
#pragma once
#include <algorithm>
#include <limits>
#include <vector>

#include "baby/birth.hpp"
#include "baby/heat.hpp"
#include "care/bedside.hpp"
#include "care/carried.hpp"
#include "care/case.hpp"
#include "care/given.hpp"

namespace serosa::care {

/// One running infusion.
template <class Real>
struct Running {
  const Fluid* fluid;  ///< in the case, which outlives the run
  Real rate;           ///< mL/h
  Real until;          ///< h
  Purpose purpose;
};

/// One bleeding or sample being taken.
template <class Real>
struct Bleeding {
  Real rate;   ///< mL/h
  Real until;  ///< h
};

/// The carer of one baby. Real is a scalar: double or Dual, so that the times of acts and the
/// numbers of the case may carry derivatives. After `start` nothing is allocated.
template <class Real>
class Carer {
 public:
  static constexpr std::size_t most_running = 24;

  /// @param times  times of the acts, as many as the timeline has; empty: those of the case
  /// @param carried  other numbers of `c` that carry derivatives
  void start(const Case& c, const std::vector<Real>& times = {},
             const Carried<Real>& carried = {}) {
    case_ = &c;
    carried_ = carried;
    given_ = {};
    running_.clear();
    running_.reserve(most_running);
    bleeding_.clear();
    bleeding_.reserve(most_running);
    next_ = 0;
    born_ = false;
    replacement_ = nullptr;
    drained_ = Real(0.0);
    times_.clear();
    times_.reserve(c.timeline.size());
    for (std::size_t i = 0; i < c.timeline.size(); ++i)
      times_.push_back(times.empty() ? Real(c.timeline[i].at) : times[i]);
    booked_until_ = first_hour();
    replace_next_ = never();
    wrap_end_ = never();
    bedside_.start(c.protocol.get(), c.chart_seed, c.chart_run, c.until);
    done_.clear();
    follow_.clear();
    if (!c.protocol) return;
    follow_.resize(c.protocol->rules.size());
    std::size_t most = 0;
    for (const Rule& rule : c.protocol->rules) most += static_cast<std::size_t>(rule.at_most);
    done_.reserve(most);
  }

  /// When the run begins: at birth, or with the first act before it.
  static double first_hour(const Case& c) {
    return c.timeline.empty() ? 0.0 : std::min(0.0, c.timeline.front().at);
  }

  /// The same for the run under way, with the derivative of its first act's time.
  Real first_hour() const {
    return times_.empty() || times_.front() > 0.0 ? Real(0.0) : times_.front();
  }

  /// Controls before any act: the room, and where the bowel is.
  static void at_rest(const Case& c, const baby::Parameters<Real>& p,
                      baby::Controls<Real>& controls, const Carried<Real>& carried = {}) {
    controls = {};
    enter(c.room, carried, controls);
    controls.exposed_fraction = c.exposed ? 1.0 : 0.0;
    controls.position_congestion = c.exposed ? congestion(c.position, p) : Real(0.0);
    controls.gas_entry = p.gas_entry_crying;
  }

  /// Time of the next stop: an act, the birth, the end of a bolus or of a wrapping, a look.
  Real next() const {
    Real soonest = never();
    const auto consider = [&](const Real& t) {
      if (t < soonest) soonest = t;
    };
    if (!born_) consider(Real(0.0));
    if (next_ < times_.size()) consider(times_[next_]);
    for (const auto& r : running_) consider(r.until);
    for (const auto& r : bleeding_) consider(r.until);
    consider(replace_next_);
    consider(wrap_end_);
    consider(Real(bedside_.next_look()));
    return soonest;
  }

  /// Does all that is due at `t`.
  /// @return whether controls or state changed; a look alone changes neither
  bool act(const Real& t, baby::State<Real>& x, baby::Subject<Real>& s) {
    book(t);
    bool changed = false;
    if (!born_ && t >= 0.0) {
      born_ = changed = true;
      s.controls.born = 1.0;
    }
    if (wrap_end_ <= t) {
      wrap_end_ = never();
      changed = true;
    }
    const auto over = [&](const auto& r) { return r.until <= t; };
    changed = std::erase_if(running_, over) > 0 || changed;
    changed = std::erase_if(bleeding_, over) > 0 || changed;
    for (; next_ < times_.size() && times_[next_] <= t; ++next_) {
      do_deed(case_->timeline[next_].deed, t, x, s);
      changed = true;
    }
    if (replace_next_ <= t) {
      replace_gastric_loss(t, x, s);
      changed = true;
    }
    if (bedside_.next_look() <= t) changed = look(t, x, s) || changed;
    if (changed) sum_up(s);
    return changed;
  }

  /// What the rules did so far, in order.
  const std::vector<Done>& done() const { return done_; }

  /// What has been given up to `t`, the running infusions included.
  Given<Real> given(const Real& t) const {
    Given<Real> g = given_;
    add(g, Real(t - booked_until_));
    return g;
  }

  /// Glucose that runs now, g/h.
  Real glucose_rate() const {
    Real rate(0.0);
    for (const auto& r : running_) rate += r.rate * (carried_(r.fluid->glucose) * 1e-3);
    return rate;
  }

 private:
  using Subject = baby::Subject<Real>;
  using State = baby::State<Real>;

  /// How far a rule has been followed.
  struct Followed {
    int times = 0;
    double last = -std::numeric_limits<double>::infinity();  ///< h
  };

  void do_deed(const Deed& deed, const Real& t, State& x, Subject& s) {
    std::visit([&](const auto& d) { do_it(d, t, x, s); }, deed);
  }

  /// Charts what is due, then does what the rules ask for, each judged by the same chart.
  bool look(const Real& t, State& x, Subject& s) {
    bedside_.look(t, x, s, given_);
    const auto& rules = case_->protocol->rules;
    const double now = physics::value_of(t, 0);
    bool changed = false;
    for (std::size_t i = 0; i < rules.size(); ++i) {
      if (!due(rules[i], follow_[i], now) || !possible(rules[i].deed, s)) continue;
      ++follow_[i].times;
      follow_[i].last = now;
      note(i, now);
      do_deed(rules[i].deed, t, x, s);
      changed = true;
    }
    return changed;
  }

  /// A rule acts again only on values that were taken after it last did.
  bool due(const Rule& rule, const Followed& followed, double now) const {
    constexpr double same_time = 1e-9;  // h
    if (followed.times >= rule.at_most || now < rule.from - same_time ||
        now > rule.until + same_time || now < followed.last + rule.gap - same_time)
      return false;
    const auto holds = [&](const Condition& c) { return bedside_.holds(c, now, followed.last); };
    const auto holds_at_all = [&](const Condition& c) {
      return bedside_.holds(c, now, -std::numeric_limits<double>::infinity());
    };
    return std::all_of(rule.when.begin(), rule.when.end(), holds) &&
           std::none_of(rule.unless.begin(), rule.unless.end(), holds_at_all);
  }

  /// Whether a deed would change anything now; a timeline is checked beforehand, a rule here.
  bool possible(const Deed& deed, const Subject& s) const {
    const auto running = [&] {
      return std::any_of(running_.begin(), running_.end(),
                         [](const auto& r) { return r.purpose == Purpose::maintenance; });
    };
    if (std::holds_alternative<Rewrap>(deed)) {
      const baby::Controls<Real> bare;
      return s.controls.cover_from < bare.cover_from && !(wrap_end_ < never());
    }
    if (std::holds_alternative<StopInfusion>(deed)) return running();
    if (const auto* const d = std::get_if<AdjustInfusion>(&deed)) {
      for (const auto& r : running_)
        if (r.purpose == Purpose::maintenance)
          return physics::abs(adjusted(*d, r.rate / s.body.weight) - r.rate / s.body.weight) >
                 1e-9;  // mL/kg/h; less is rounding
      return false;
    }
    if (const auto* const d = std::get_if<SetWarmer>(&deed))
      return !(s.controls.irradiance == d->warmer.irradiance &&
               s.controls.servo == (d->warmer.servo ? 1.0 : 0.0) &&
               s.controls.servo_set_point == d->warmer.set_point);
    return true;
  }

  void note(std::size_t rule, double now) {
    Done done{now, rule};
    done.seen.fill(std::numeric_limits<double>::quiet_NaN());
    const auto& when = case_->protocol->rules[rule].when;
    for (std::size_t i = 0; i < when.size() && i < done.seen.size(); ++i)
      done.seen[i] = bedside_.known(when[i].reading, now);
    done_.push_back(done);
  }

  Real adjusted(const AdjustInfusion& d, const Real& rate) const {
    return physics::min(physics::max(Real(rate + carried_(d.by)), carried_(d.least)),
                        carried_(d.most));
  }

  static void enter(const Room& room, const Carried<Real>& carried, baby::Controls<Real>& c) {
    c.air_temperature = carried(room.air_temperature);
    c.wall_temperature = carried(room.wall_temperature);
    c.humidity = carried(room.humidity);
    c.air_speed = carried(room.air_speed);
    c.air_pressure = carried(room.air_pressure);
  }

  static Real congestion(Position position, const baby::Parameters<Real>& p) {
    switch (position) {
      case Position::supine_kinked:
        return p.congestion_supine_kinked;
      case Position::supine:
        return p.congestion_supine;
      case Position::supine_supported:
        return p.congestion_supine_supported;
      case Position::lateral:
        return p.congestion_lateral;
      case Position::lateral_supported:
        return p.congestion_lateral_supported;
    }
    return p.congestion_supine;
  }

  // What each deed changes.
  void do_it(const SetWarmer& d, const Real&, State&, Subject& s) {
    s.controls.irradiance = carried_(d.warmer.irradiance);
    s.controls.servo = d.warmer.servo ? 1.0 : 0.0;
    s.controls.servo_set_point = carried_(d.warmer.set_point);
  }
  void do_it(const LayOutFilm&, const Real&, State&, Subject&) {}
  void do_it(const ClampCord&, const Real&, State&, Subject&) {}
  void do_it(const DrySkin& d, const Real&, State& x, Subject&) {
    const auto wipe = [&](baby::state::Index region) {
      const Real taken = carried_(d.share) * x[region];
      x[region] = x[region] - taken;
      given_.towelled += taken;
    };
    if (d.head) wipe(baby::state::head_wetness);
    if (d.body) wipe(baby::state::upper_wetness), wipe(baby::state::lower_wetness);
  }
  void do_it(const PutOnHat& d, const Real&, State&, Subject& s) {
    s.controls.hat = d.on ? 1.0 : 0.0;
  }
  void do_it(const MoveTo& d, const Real&, State&, Subject& s) {
    enter(d.room, carried_, s.controls);
    s.controls.irradiance = 0.0;
    s.controls.servo = 0.0;
  }
  void do_it(const Place& d, const Real&, State&, Subject& s) {
    s.controls.position_congestion = congestion(d.position, s.parameters);
  }
  void do_it(const CoverBowel& d, const Real& t, State& x, Subject& s) {
    auto& c = s.controls;
    put_on(t, carried_(d.over), s);
    c.film = d.cover.film ? 1.0 : 0.0;
    c.permeance = carried_(d.cover.permeance);
    c.layers = carried_(d.layers);
    c.gap = carried_(d.cover.gap);
    c.leak = 1.0 - carried_(d.seal);
    c.warmer_transmittance = carried_(d.cover.warmer_transmittance);
    c.warmer_absorptance = carried_(d.cover.warmer_absorptance);
    c.longwave_transmittance = carried_(d.cover.longwave_transmittance);
    c.tension = carried_(d.tension);
    c.holds_fluid = d.cover.holds_fluid ? 1.0 : 0.0;
    c.skin_cover = d.cover.covers_skin ? 1.0 : 0.0;
    c.dressing = d.cover.dressing ? 1.0 : 0.0;
    c.dressing_resistance = carried_(d.cover.dressing_resistance);
    c.dressing_capacity = carried_(d.cover.dressing_capacity);
    if (d.cover.dressing) soak(d.wetting, x, s);
  }
  void do_it(const UncoverBowel&, const Real&, State& x, Subject& s) { take_cover_off(x, s); }
  void do_it(const Rewrap& d, const Real& t, State&, Subject& s) {
    put_on(t, carried_(d.over), s);
    s.controls.leak = 1.0 - carried_(d.seal);
    s.controls.tension = carried_(d.tension);
  }
  void do_it(const Rewet& d, const Real&, State& x, Subject& s) { soak(d.fluid, x, s); }
  void do_it(const PassTube&, const Real&, State&, Subject&) {}
  void do_it(const Aspirate&, const Real&, State& x, Subject& s) {
    using namespace baby::state;
    const Real share = s.parameters.aspirated_share;
    const Real temperature = baby::temperatures(x, s).core;
    const auto take = [&](Index store, Index ledger) {
      const Real taken = share * x[store];
      x[store] = x[store] - taken;
      x[ledger] = x[ledger] + taken;
      return taken;
    };
    const Real volume = take(stomach_water, gastric_drainage);
    take(stomach_sodium, gastric_drainage_sodium);
    take(stomach_chloride, gastric_drainage_chloride);
    const Real heat = s.parameters.specific_heat_water * temperature * volume;
    x[core_heat] = x[core_heat] - heat;
    x[outflow_heat] = x[outflow_heat] + heat;
    x[bowel_gas] = x[bowel_gas] * (1.0 - share);
  }
  void do_it(const FreeDrainage& d, const Real&, State&, Subject& s) {
    s.controls.free_drainage = d.on ? 1.0 : 0.0;
  }
  void do_it(const Infuse& d, const Real&, State&, Subject& s) {
    stop(Purpose::maintenance);
    run(d.fluid, Real(carried_(d.rate) * s.body.weight), never(), Purpose::maintenance);
  }
  void do_it(const AdjustInfusion& d, const Real&, State&, Subject& s) {
    for (auto& r : running_)
      if (r.purpose == Purpose::maintenance)
        r.rate = adjusted(d, r.rate / s.body.weight) * s.body.weight;
  }
  void do_it(const StopInfusion&, const Real&, State&, Subject&) { stop(Purpose::maintenance); }
  void do_it(const Bolus& d, const Real& t, State&, Subject& s) {
    if (d.purpose == Purpose::bolus) given_.boluses += 1.0;
    const Real over = carried_(d.over);
    run(d.fluid, Real(carried_(d.volume) * s.body.weight / over), Real(t + over), d.purpose);
  }
  void do_it(const ReplaceGastricLoss& d, const Real& t, State& x, Subject&) {
    replacement_ = &d;
    replace_next_ = t + carried_(d.every);
    drained_ = x[baby::state::gastric_drainage];
  }
  void do_it(const LoseBlood& d, const Real& t, State& x, Subject& s) {
    const Real blood = x[baby::state::plasma_water] / s.parameters.plasma_water_fraction +
                       x[baby::state::red_cell_water] / s.parameters.red_cell_water_fraction;
    const Real over = carried_(d.over);
    if (bleeding_.size() < most_running)
      bleeding_.push_back(
          {Real((carried_(d.volume) * s.body.weight + carried_(d.share) * blood) / over),
           Real(t + over)});
    if (d.to_laboratory) bedside_.sample(t, x, s, given_);
  }
  void do_it(const Breathe& d, const Real&, State&, Subject& s) {
    s.controls.gas_entry = d.by == Breathing::mask   ? s.parameters.gas_entry_mask
                           : d.by == Breathing::tube ? Real(0.0)
                                                     : s.parameters.gas_entry_crying;
    s.controls.humidified_gas = d.by == Breathing::tube ? 1.0 : 0.0;
  }
  void do_it(const BeActive& d, const Real&, State&, Subject& s) {
    s.controls.activity = carried_(d.factor);
  }
  void do_it(const ReduceBowel& d, const Real&, State&, Subject& s) {
    put_back(carried_(d.share), s);
  }
  void do_it(const CloseAbdomen&, const Real&, State& x, Subject& s) {
    take_cover_off(x, s);
    put_back(Real(1.0), s);
    s.controls.position_congestion = 0.0;
  }
  void do_it(const SetControl& d, const Real&, State&, Subject& s) {
    baby::control(s.controls, d.control) = carried_(d.value);
  }

  /// Abdominal pressure climbs with the square of the share that is back inside.
  void put_back(const Real& share, Subject& s) {
    auto& c = s.controls;
    c.exposed_fraction = c.exposed_fraction * (1.0 - share);
    const Real inside = 1.0 - c.exposed_fraction;
    c.abdominal_pressure = s.parameters.closure_abdominal_pressure * inside * inside;
  }

  /// The bowel is covered more and more over `over` hours from `t` on.
  void put_on(const Real& t, const Real& over, Subject& s) {
    constexpr double briefest = 1.0 / 3600;  // h; a wrap that takes no time would divide by zero
    s.controls.cover_from = t;
    s.controls.cover_until = t + physics::max(over, Real(briefest));
    wrap_end_ = s.controls.cover_until;
  }

  /// Fills the dressing up to what it holds.
  void soak(const Fluid& fluid, State& x, Subject& s) {
    using namespace baby::state;
    const Real full = s.controls.dressing_capacity * s.body.packed_area;
    const Real added = physics::max(Real(full - x[dressing_water]), Real(0.0));
    const Real heat = s.parameters.specific_heat_water * s.parameters.dressing_temperature * added;
    x[dressing_water] = x[dressing_water] + added;
    x[dressing_sodium] = x[dressing_sodium] + added * (carried_(fluid.sodium) * 1e-3);
    x[dressing_chloride] = x[dressing_chloride] + added * (carried_(fluid.chloride) * 1e-3);
    x[bowel_heat] = x[bowel_heat] + heat;
    given_.dressing_water += added;
    given_.dressing_sodium += added * (carried_(fluid.sodium) * 1e-3);
    given_.dressing_chloride += added * (carried_(fluid.chloride) * 1e-3);
    given_.dressing_heat += heat;
    s.controls.dressing_wet = 1.0;
  }

  /// Takes the cover off, and with it what a dressing holds.
  void take_cover_off(State& x, Subject& s) {
    using namespace baby::state;
    const Real heat =
        s.parameters.specific_heat_water * baby::temperatures(x, s).bowel * x[dressing_water];
    x[bowel_heat] = x[bowel_heat] - heat;
    given_.dressing_heat -= heat;
    given_.dressing_water -= x[dressing_water];
    given_.dressing_sodium -= x[dressing_sodium];
    given_.dressing_chloride -= x[dressing_chloride];
    x[dressing_water] = x[dressing_sodium] = x[dressing_chloride] = Real(0.0);
    auto& c = s.controls;
    const baby::Controls<Real> bare;
    c.cover_from = bare.cover_from;
    c.cover_until = bare.cover_until;
    c.film = c.skin_cover = c.dressing = c.holds_fluid = c.tension = Real(0.0);
    wrap_end_ = never();
  }

  // Infusions and bleeding.
  static Real never() { return Real(std::numeric_limits<double>::infinity()); }

  void run(const Fluid& fluid, const Real& rate, const Real& until, Purpose purpose) {
    if (running_.size() < most_running) running_.push_back({&fluid, rate, until, purpose});
  }
  void stop(Purpose purpose) {
    std::erase_if(running_, [&](const auto& r) { return r.purpose == purpose; });
  }
  /// What was drained in the last period runs in over the next.
  void replace_gastric_loss(const Real& t, const State& x, Subject&) {
    const Real drained = x[baby::state::gastric_drainage], every = carried_(replacement_->every);
    stop(Purpose::replacement);
    run(replacement_->fluid, Real((drained - drained_) * (carried_(replacement_->share) / every)),
        Real(t + every), Purpose::replacement);
    drained_ = drained;
    replace_next_ = t + every;
  }

  /// Sets the controls to the sum of all that runs.
  void sum_up(Subject& s) {
    auto& c = s.controls;
    c.given_water = c.given_red_cell_water = c.given_sodium = c.given_chloride = c.given_protein =
        c.given_heat = c.bleeding = Real(0.0);
    for (const auto& r : running_) {
      const Fluid& f = *r.fluid;
      const Real red_cell_fraction = carried_(f.red_cell_fraction);
      const Real water = r.rate * (1.0 - red_cell_fraction);
      const Real red_cell_water = r.rate * red_cell_fraction * s.parameters.red_cell_water_fraction;
      c.given_water += water;
      c.given_red_cell_water += red_cell_water;
      c.given_sodium += r.rate * (carried_(f.sodium) * 1e-3);
      c.given_chloride += r.rate * (carried_(f.chloride) * 1e-3);
      c.given_protein += r.rate * (carried_(f.protein) * 1e-3);
      c.given_heat += s.parameters.specific_heat_water * s.parameters.infusion_temperature *
                      (water + red_cell_water);
    }
    for (const auto& r : bleeding_) c.bleeding += r.rate;
    water_rate_ = c.given_water + c.given_red_cell_water;
    sodium_rate_ = c.given_sodium;
    chloride_rate_ = c.given_chloride;
    protein_rate_ = c.given_protein;
    heat_rate_ = c.given_heat;
  }

  /// Books what has run since the last change.
  void book(const Real& t) {
    add(given_, Real(t - booked_until_));
    booked_until_ = t;
  }
  void add(Given<Real>& g, const Real& hours) const {
    for (const auto& r : running_) {
      Real& volume = g.volume[static_cast<std::size_t>(r.purpose)];
      volume = volume + r.rate * hours;
      g.glucose = g.glucose + r.rate * (carried_(r.fluid->glucose) * 1e-3) * hours;
    }
    g.water = g.water + water_rate_ * hours;
    g.sodium = g.sodium + sodium_rate_ * hours;
    g.chloride = g.chloride + chloride_rate_ * hours;
    g.protein = g.protein + protein_rate_ * hours;
    g.heat = g.heat + heat_rate_ * hours;
  }

  const Case* case_ = nullptr;
  Carried<Real> carried_;
  std::vector<Real> times_;
  std::size_t next_ = 0;  ///< first act not yet done
  bool born_ = false;
  std::vector<Running<Real>> running_;
  std::vector<Bleeding<Real>> bleeding_;
  const ReplaceGastricLoss* replacement_ = nullptr;
  Real replace_next_{0.0};
  Real drained_{0.0};  ///< gastric drainage at the last look
  Real wrap_end_{0.0};
  Bedside<Real> bedside_;
  std::vector<Followed> follow_;  ///< of each rule
  std::vector<Done> done_;
  Given<Real> given_;
  Real booked_until_{0.0};
  Real water_rate_{0.0}, sodium_rate_{0.0}, chloride_rate_{0.0}, protein_rate_{0.0},
      heat_rate_{0.0};
};

}  // namespace serosa::care

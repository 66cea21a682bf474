// SPDX-License-Identifier: Apache-2.0
// A case: a baby, a room and a timeline of what people do. Plain data in the model's units.
#pragma once
#include <cstdint>
#include <limits>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "baby/body.hpp"

namespace serosa::care {

/// The air and the walls of a room.
struct Room {
  std::string name;
  double air_temperature;   ///< degC
  double wall_temperature;  ///< degC
  double humidity;          ///< fraction
  double air_speed;         ///< m/s
  double air_pressure;      ///< kPa
};

/// A level of the overhead warmer.
struct Warmer {
  std::string name;
  double irradiance = 0;    ///< W/m2 at the mattress; the most it gives on servo
  bool servo = false;       ///< follows the skin temperature
  double set_point = 36.5;  ///< degC of skin, on servo
};

/// What covers the bowel.
struct Cover {
  std::string name;
  bool film = false;                  ///< has a film
  double permeance = 0;               ///< g/m2/h/kPa, one layer
  double gap = 0.001;                 ///< m, air between bowel and film
  double warmer_transmittance = 1;    ///< fraction
  double warmer_absorptance = 0;      ///< fraction
  double longwave_transmittance = 0;  ///< fraction
  bool holds_fluid = false;           ///< collects what drips
  bool covers_skin = false;           ///< encloses the body below the axillae
  bool dressing = false;              ///< has a layer that is soaked
  double dressing_resistance = 0;     ///< m2 h kPa/g
  double dressing_capacity = 0;       ///< g/m2 held before it drips; soaked to this when put on
};

/// What is given or put on.
struct Fluid {
  std::string name;
  double sodium = 0;             ///< mmol/L
  double chloride = 0;           ///< mmol/L
  double glucose = 0;            ///< g/L
  double protein = 0;            ///< g/L
  double red_cell_fraction = 0;  ///< volume fraction of red cells
};

enum class Position { supine_kinked, supine, supine_supported, lateral, lateral_supported };
enum class Breathing { spontaneous, mask, tube };
/// What running infusions are for; each keeps its own sum.
enum class Purpose { maintenance, bolus, replacement, blood_product };
inline constexpr int purposes = 4;

struct SetWarmer {
  Warmer warmer;
};
struct LayOutFilm {};  ///< film on the mattress, waiting for the birth
struct ClampCord {};   ///< its time decides the blood volume at birth
struct DrySkin {
  double share = 0.9;
  bool head = true;
  bool body = true;
};
struct PutOnHat {
  bool on = true;
};
struct MoveTo {
  Room room;
};  ///< the warmer stays behind
struct Place {
  Position position;
};
struct CoverBowel {
  Cover cover;
  double layers = 1;
  double seal = 0.95;      ///< share of the edge that closes; the leak is 1 − seal
  double tension = 0;      ///< mmHg
  double over = 1.0 / 60;  ///< h that the wrapping takes
  Fluid wetting = {};      ///< what a dressing is soaked with
};
struct UncoverBowel {};
struct Rewrap {  ///< the cover stays, its edge is closed anew
  double seal = 0.95;
  double tension = 0;      ///< mmHg
  double over = 1.0 / 60;  ///< h that it takes; the bowel lies bare meanwhile
};
struct Rewet {
  Fluid fluid;
};
struct PassTube {};
struct Aspirate {};
struct FreeDrainage {
  bool on = true;
};
struct Infuse {  ///< maintenance: runs until stopped or changed
  Fluid fluid;
  double rate;  ///< mL/kg/h
};
struct AdjustInfusion {  ///< raises or lowers the maintenance that runs
  double by;             ///< mL/kg/h, negative to lower
  double least;          ///< mL/kg/h
  double most;           ///< mL/kg/h
};
struct StopInfusion {};
struct Bolus {
  Fluid fluid;
  double volume;  ///< mL/kg
  double over;    ///< h
  Purpose purpose = Purpose::bolus;
};
struct ReplaceGastricLoss {  ///< what was drained in one period is given over the next
  Fluid fluid;
  double every;      ///< h
  double share = 1;  ///< mL per mL
};
struct LoseBlood {    ///< sample or bleeding
  double volume = 0;  ///< mL/kg
  double share = 0;   ///< of the blood volume at that moment, beside the volume
  double over;        ///< h
  bool to_laboratory = false;
};
struct Breathe {
  Breathing by;
};
struct BeActive {
  double factor;
};  ///< metabolism, breath and skin loss against lying still
struct ReduceBowel {
  double share;
};  ///< of what is outside is put back
struct CloseAbdomen {};
/// Sets one control directly: what an experiment holds, switches off or changes.
struct SetControl {
  std::size_t control;
  double value;
};

using Deed = std::variant<SetWarmer, LayOutFilm, ClampCord, DrySkin, PutOnHat, MoveTo, Place,
                          CoverBowel, UncoverBowel, Rewrap, Rewet, PassTube, Aspirate, FreeDrainage,
                          Infuse, AdjustInfusion, StopInfusion, Bolus, ReplaceGastricLoss,
                          LoseBlood, Breathe, BeActive, ReduceBowel, CloseAbdomen, SetControl>;

/// A dated deed.
struct Act {
  std::string name;  ///< as the case calls it
  double at;         ///< h after birth, negative before
  Deed deed;
};

struct Protocol;  // care/protocol.hpp

struct Case {
  std::string name;  ///< file name without ending
  std::string title;
  std::string note;
  baby::Inputs<double> baby;
  Position position = Position::supine;  ///< at birth
  bool exposed = true;                   ///< false: the bowel lies inside
  bool wet = true;                       ///< amniotic fluid on skin and bowel at birth
  Room room;
  std::vector<Act> timeline;      ///< sorted by time; equal times keep their order
  double until = 6;               ///< h
  std::vector<double> report_at;  ///< h, times of the printed table
  double every = 1.0 / 60;        ///< h, grid of the series
  /// Rules that look and act; what it orders by the clock stands in the timeline. May be null.
  std::shared_ptr<const Protocol> protocol = nullptr;
  std::uint64_t chart_seed = 1;  ///< of the errors of its readings
  std::uint64_t chart_run = 0;   ///< each run has its own errors
};

/// Two acts that can't both be, or one that can't be where it is.
struct Contradiction {
  std::size_t act;    ///< index in the timeline
  std::size_t other;  ///< the act it contradicts, or `npos`
  std::string message;
  static constexpr std::size_t npos = std::numeric_limits<std::size_t>::max();
};

/// Walks the timeline and names every contradiction: covering twice, drying before birth,
/// aspirating without a tube, closing with the wrap on …
std::vector<Contradiction> contradictions(const Case& c);

}  // namespace serosa::care

// SPDX-License-Identifier: Apache-2.0
// What people and the room do to the baby at this moment. `care` fills it, `rates` reads it.
#pragma once
#include <array>
#include <cstddef>
#include <string_view>

// X(name, unit, value at rest, what it is)
#define SEROSA_CONTROLS(X)                                                                     \
  X(born, "1", 0.0, "0 before birth, 1 after")                                                 \
  /* the room */                                                                               \
  X(air_temperature, "degC", 25.0, "Air temperature")                                          \
  X(wall_temperature, "degC", 25.0, "Mean radiant temperature of the walls")                   \
  X(humidity, "1", 0.45, "Relative humidity of the air")                                       \
  X(air_speed, "m/s", 0.05, "Air speed at the baby")                                           \
  X(air_pressure, "kPa", 101.325, "Pressure of the room's air")                                \
  /* the warmer */                                                                             \
  X(irradiance, "W/m2", 0.0, "Irradiance at the mattress; the most it gives when on servo")    \
  X(servo, "1", 0.0, "1 when the warmer follows the skin temperature")                         \
  X(servo_set_point, "degC", 36.5, "Skin temperature the servo aims at")                       \
  /* the baby's surface */                                                                     \
  X(hat, "1", 0.0, "1 with a hat on")                                                          \
  X(head_wet, "1", 1.0, "0 once the head has dried up")                                        \
  X(upper_wet, "1", 1.0, "0 once the skin above the axillae has dried up")                     \
  X(lower_wet, "1", 1.0, "0 once the skin below the axillae has dried up")                     \
  X(dressing_wet, "1", 1.0, "0 once the dressing has dried up")                                \
  X(activity, "1", 1.0, "Metabolism, ventilation and skin loss against lying still")           \
  /* the bowel */                                                                              \
  X(exposed_fraction, "1", 1.0, "Share of the herniated bowel that is outside the abdomen")    \
  X(abdominal_pressure, "mmHg", 0.0, "Rise of pressure in the abdomen by putting bowel back")  \
  X(position_congestion, "mmHg", 0.0, "Rise of mesenteric venous pressure by lie and kinking") \
  /* the cover: none when cover_from is in the future */                                       \
  X(cover_from, "h", 1e9, "Time at which wrapping begins")                                     \
  X(cover_until, "h", 1e9, "Time at which wrapping is complete")                               \
  X(film, "1", 0.0, "1 when the cover has a film")                                             \
  X(permeance, "g/m2/h/kPa", 0.0, "Vapour permeance of one layer of film")                     \
  X(layers, "1", 1.0, "Layers of film")                                                        \
  X(gap, "m", 0.001, "Thickness of the air gap between bowel and film")                        \
  X(leak, "1", 0.0, "Share of the covered surface that the edges leave open to the air")       \
  X(warmer_transmittance, "1", 1.0, "Share of the warmer's radiation that the cover passes")   \
  X(warmer_absorptance, "1", 0.0, "Share of the warmer's radiation that the cover absorbs")    \
  X(longwave_transmittance, "1", 0.0, "Share of long-wave radiation that the cover passes")    \
  X(tension, "mmHg", 0.0, "Rise of mesenteric venous pressure by the wrap's tightness")        \
  X(holds_fluid, "1", 0.0, "1 when the cover collects what drips")                             \
  X(skin_cover, "1", 0.0, "1 when the cover also encloses the body below the axillae")         \
  X(dressing, "1", 0.0, "1 when a dressing that soaks lies on the bowel")                      \
  X(dressing_resistance, "m2 h kPa/g", 0.0, "Vapour resistance of the dressing")               \
  X(dressing_capacity, "g/m2", 1.0, "Water the dressing holds before it drips")                \
  /* drainage and gas */                                                                       \
  X(free_drainage, "1", 0.0, "1 with the stomach on free drainage")                            \
  X(gas_entry, "1/h", 0.0, "Rate at which swallowed or blown-in gas fills the bowel")          \
  X(humidified_gas, "1", 0.0, "1 when the airway is given warm humidified gas")                \
  /* what is given, all running infusions together */                                          \
  X(given_water, "g/h", 0.0, "Water given into the blood")                                     \
  X(given_red_cell_water, "g/h", 0.0, "Water of red cells given")                              \
  X(given_sodium, "mmol/h", 0.0, "Sodium given")                                               \
  X(given_chloride, "mmol/h", 0.0, "Chloride given")                                           \
  X(given_protein, "g/h", 0.0, "Protein given")                                                \
  X(given_heat, "J/h", 0.0, "Heat content of what is given, above 0 degC")                     \
  X(bleeding, "g/h", 0.0, "Volume of whole blood lost or sampled (mL/h)")                      \
  /* what an experiment may hold or switch off */                                              \
  X(insensible, "1", 1.0, "0 switches skin and airway losses and the water of oxidation off")  \
  X(kidney_works, "1", 1.0, "0 switches urine off")                                            \
  X(stomach_secretes, "1", 1.0, "0 switches gastric secretion off")                            \
  X(heat_flows, "1", 1.0, "0 holds all four temperatures")                                     \
  X(core_held, "1", 0.0, "1 holds the core temperature")                                       \
  X(skin_held, "1", 0.0, "1 holds the skin temperature")                                       \
  X(bowel_held, "1", 0.0, "1 holds the bowel temperature")                                     \
  X(age_offset, "h", 0.0, "Added to the time to give the age")                                 \
  X(ageing, "1", 1.0, "0 freezes the age at the offset")

namespace serosa::baby {

template <class Real>
struct Controls {
#define SEROSA_MEMBER(name, unit, rest, text) Real name{rest};
  SEROSA_CONTROLS(SEROSA_MEMBER)
#undef SEROSA_MEMBER
};

struct ControlInfo {
  std::string_view name;
  std::string_view unit;
  std::string_view meaning;
};

inline constexpr ControlInfo control_list[] = {
#define SEROSA_INFO(name, unit, rest, text) {#name, unit, text},
    SEROSA_CONTROLS(SEROSA_INFO)
#undef SEROSA_INFO
};

/// One control by its place in `control_list`. Throws nothing; `index` must be in range.
template <class Real>
Real& control(Controls<Real>& c, std::size_t index) {
  Real* const members[] = {
#define SEROSA_ADDRESS(name, unit, rest, text) &c.name,
      SEROSA_CONTROLS(SEROSA_ADDRESS)
#undef SEROSA_ADDRESS
  };
  return *members[index];
}

}  // namespace serosa::baby

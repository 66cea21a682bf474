// SPDX-License-Identifier: Apache-2.0
#include "simulate/film_warning.hpp"

#include "baby/rates.hpp"

namespace serosa::simulate {

std::vector<WarmUp> warm_up(const care::Room& room, const baby::Parameters<double>& p,
                            std::span<const care::Warmer> warmers) {
  baby::Subject<double> s{};
  s.parameters = p;
  auto& c = s.controls;
  c.air_temperature = room.air_temperature;
  c.wall_temperature = room.wall_temperature;
  c.humidity = room.humidity;
  c.air_speed = room.air_speed;
  c.air_pressure = room.air_pressure;
  const double capacity = p.mattress_heat_capacity * p.mattress_area;  // J/K

  std::vector<WarmUp> levels;
  for (const care::Warmer& warmer : warmers) {
    baby::Surroundings<double> air{};
    air.irradiance = warmer.irradiance;
    const auto slope = [&](double temperature) {  // K per second
      return baby::mattress_heating(temperature, air, s) / capacity;
    };
    WarmUp level{warmer.name, warmer.irradiance, 0, WarmUp::never, WarmUp::never};
    double temperature = room.air_temperature;
    constexpr double step = 6;  // s; the mattress needs minutes, so classical Runge-Kutta is exact
    for (int n = 1; n <= 600; ++n) {
      const double a = slope(temperature);
      const double b = slope(temperature + 0.5 * step * a);
      const double d = slope(temperature + 0.5 * step * b);
      const double e = slope(temperature + step * d);
      temperature += step / 6 * (a + 2 * b + 2 * d + e);
      const double minutes = n * step / 60;
      const auto note = [&](double limit, double& reached) {
        if (temperature >= limit && reached == WarmUp::never) reached = minutes;
      };
      note(p.film_limp_temperature, level.minutes_to_limp);
      note(p.contact_burn_temperature, level.minutes_to_contact);
    }
    level.after_an_hour = temperature;
    levels.push_back(level);
  }
  return levels;
}

}  // namespace serosa::simulate

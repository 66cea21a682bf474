// SPDX-License-Identifier: Apache-2.0
// Water and heat at the two surfaces: skin, and bowel with what covers it.
#pragma once
#include "baby/settled.hpp"
#include "physics/cover_temperature.hpp"
#include "physics/radiation.hpp"

namespace serosa::baby {

/// The air and the warmer around the baby.
template <class Real>
struct Surroundings {
  Real vapour;      ///< kPa, of the air
  Real irradiance;  ///< W/m2, what the warmer gives now
  Real wrapped;     ///< 0 bare to 1 wrapped
};

template <class Real>
SEROSA_INLINE Surroundings<Real> surroundings(const Real& t, const Real& skin_temperature,
                                              const Subject<Real>& s, const Settled<Real>& k) {
  using namespace physics;
  const auto& c = s.controls;
  Surroundings<Real> r;
  r.vapour = k.air_vapour;
  const Real followed = logistic(Real((c.servo_set_point - skin_temperature) * k.per_servo_width));
  r.irradiance = c.irradiance * (1.0 + c.servo * (followed - 1.0));
  // The hands need their time: from the first touch of the cover to the last fold.
  // A division, so that it is one at the last fold and not a rounding less.
  const Real progress = (t - c.cover_from) / (c.cover_until - c.cover_from);
  r.wrapped = max(min(progress, Real(1.0)), Real(0.0));
  return r;
}

template <class Real>
Surroundings<Real> surroundings(const Real& t, const Real& skin_temperature,
                                const Subject<Real>& s) {
  return surroundings(t, skin_temperature, s, settled(s));
}

/// Flows of water in g/h, of heat in W.
template <class Real>
struct SkinSurface {
  Real loss;            ///< body water through dry skin, sweat included
  Real amniotic_head;   ///< amniotic fluid evaporating from the head
  Real amniotic_upper;  ///< … from above the axillae
  Real amniotic_lower;  ///< … from below
  Real convection;
  Real radiation;
  Real warmer;
  Real contact;      ///< to the mattress
  Real latent;       ///< taken by all evaporation
  Real coefficient;  ///< W/m2/K, convective
};

/// The skin: one temperature, three regions that may be wet, hat and bag where they are.
template <class Real>
SEROSA_INLINE SkinSurface<Real> skin_surface(const Real& age, const State<Real>& x,
                                             const Real& temperature, const Real& core,
                                             const Real& mattress, const Surroundings<Real>& air,
                                             const Subject<Real>& s, const Settled<Real>& k) {
  using namespace physics;
  const auto& [p, b, c] = s;
  SkinSurface<Real> f;

  const Real head = p.head_share * b.surface;
  const Real upper = p.upper_share * b.surface;
  const Real lower = p.lower_share * b.surface;
  const Real bagged = c.skin_cover * air.wrapped;
  const auto wet = [&](state::Index region, const Real& per_scale) {
    return wetted(Real(x[region] * per_scale));
  };
  const Real head_wet = c.head_wet * wet(state::head_wetness, k.per_head_scale);
  const Real upper_wet = c.upper_wet * wet(state::upper_wetness, k.per_upper_scale);
  const Real lower_wet = c.lower_wet * wet(state::lower_wetness, k.per_lower_scale);

  // The air at the skin is as moist as the skin is wet; moist air is light.
  const Real saturated = saturation_pressure(temperature);
  const Real difference = saturated - air.vapour;
  const Real wet_share =
      (head * head_wet + upper * upper_wet + lower * lower_wet) * k.per_open_skin;
  const Real buoyancy =
      virtual_rise(temperature, Real(air.vapour + wet_share * difference), c.air_pressure) -
      k.air_virtual;
  const Real h = convection_coefficient(k.body, temperature, c.air_temperature, buoyancy);
  f.coefficient = h;
  const Real layer = h * k.vapour_per_convection;  // the conductance of the boundary layer
  const Real under_hat = 1.0 - c.hat * (1.0 - p.hat_evaporation_ratio);

  // Wet skin gives off vapour as free water does.
  const Real free = c.born * difference * layer;
  f.amniotic_head = head * head_wet * under_hat * free;
  f.amniotic_upper = upper * upper_wet * free;

  // Dry skin is a conductance in series with the air: gestation, age, activity, sweat.
  const Real immature = b.skin_loss_immature * exp(-age * k.per_skin_loss_maturation_time);
  const Real early = 1.0 + p.skin_loss_early_gain * exp(-age * k.per_skin_loss_early_time);
  const Real sweat = 1.0 + p.sweat_gain * b.sweat_maturity *
                               logistic(Real((core - p.sweat_threshold) * k.per_sweat_width - 2.0));
  // The published rate passed the skin and the air of its own condition; the skin alone is
  // their difference as resistances.
  const Real rate = b.skin_loss_settled + immature;
  const Real conductance = early * sweat * c.activity * rate /
                           (p.skin_loss_vapour_difference - rate * p.skin_loss_air_resistance);
  // In a bag the film's resistance comes on top: one over one plus it times the conductance.
  const Real in_bag = 1.0 + layer * p.skin_film_resistance;
  const auto [per_bag, per_dry, per_dry_bagged] =
      inverses(in_bag, Real(layer + conductance), Real(layer + conductance * in_bag));
  f.amniotic_lower = lower * lower_wet * free * (1.0 - bagged + bagged * per_bag);
  const Real through_skin = c.insensible * free * conductance;
  const Real dry = through_skin * per_dry;
  const Real dry_bagged = through_skin * per_dry_bagged;
  f.loss = head * (1.0 - head_wet) * under_hat * dry + upper * (1.0 - upper_wet) * dry +
           lower * (1.0 - lower_wet) * (dry + bagged * (dry_bagged - dry));
  f.latent = latent_heat(temperature) * (1.0 / seconds_per_hour) *
             (f.loss + f.amniotic_head + f.amniotic_upper + f.amniotic_lower);

  // Dry heat, less under hat and bag.
  const Real bare_share = (head * (1.0 - c.hat * (1.0 - p.hat_dry_ratio)) + upper +
                           lower * (1.0 - bagged * (1.0 - p.skin_film_dry_ratio))) *
                          k.per_open_skin;
  f.convection = c.born * h * (temperature - c.air_temperature) * p.convecting_fraction *
                 b.surface * bare_share;
  f.radiation =
      c.born * b.surface * bare_share *
      long_wave_exchange(temperature, c.wall_temperature, p.skin_emissivity, p.radiating_fraction);
  const Real passed = 1.0 - bagged * (1.0 - c.warmer_transmittance) * lower * k.per_open_skin;
  f.warmer =
      c.born * b.surface *
      absorbed_irradiance(air.irradiance, p.facing_up_fraction, passed, p.warmer_absorptivity);
  f.contact =
      c.born * p.contact_conductance * p.contact_fraction * b.surface * (temperature - mattress);
  return f;
}

template <class Real>
SkinSurface<Real> skin_surface(const Real& age, const State<Real>& x, const Real& temperature,
                               const Real& core, const Real& mattress,
                               const Surroundings<Real>& air, const Subject<Real>& s) {
  return skin_surface(age, x, temperature, core, mattress, air, s, settled(s));
}

/// Flows of water in g/h, of heat in W.
template <class Real>
struct BowelSurface {
  Real from_fluid;     ///< evaporation of free fluid on the serosa
  Real from_wall;      ///< evaporation through the drying serosa
  Real from_dressing;  ///< evaporation of dressing water
  Real drip;           ///< body fluid that runs off
  Real dressing_drip;  ///< dressing water that runs off
  Real convection;
  Real radiation;
  Real warmer;
  Real latent;
  Real film_temperature;  ///< degC; bowel temperature when there is no film
  Real flux;              ///< g/m2/h over the exposed area, dressing included
};

/// The bowel: a bare part that shrinks while it is wrapped, and a covered part.
///
/// Bare: free fluid evaporates as water does; where it has gone, the drying serosa adds its
/// resistance. Under film: vapour passes the film's permeance and the leaking edges, the rest
/// condenses on the inner face. Under a soaked dressing alone: the dressing's water goes first.
template <class Real>
SEROSA_INLINE BowelSurface<Real> bowel_surface(const State<Real>& x, const Real& temperature,
                                               const Surroundings<Real>& air,
                                               const Subject<Real>& s, const Settled<Real>& k) {
  using namespace physics;
  const auto& p = s.parameters;
  const auto& b = s.body;
  const auto& c = s.controls;
  BowelSurface<Real> f;
  const Real outside = c.born * c.exposed_fraction;
  const Real bare_area = outside * (1.0 - air.wrapped) * b.spread_area;
  const Real bare_envelope = outside * (1.0 - air.wrapped) * b.packed_area;
  const Real covered_area = outside * air.wrapped * b.packed_area;
  const Real whole_area = b.packed_area + (1.0 - air.wrapped) * (b.spread_area - b.packed_area);

  const Real saturated = saturation_pressure(temperature);
  const Real difference = saturated - air.vapour;
  const Real h = convection_coefficient(
      k.bowel, temperature, c.air_temperature,
      Real(virtual_rise(temperature, saturated, c.air_pressure) - k.air_virtual));
  const Real start = cover_temperature_start(temperature, c.air_temperature);
  const Real film_h = convection_coefficient(k.bowel, start, c.air_temperature, Real(0.0));
  // Conductance of the bare boundary layer; what drying serosa, a dressing or both in series with
  // it leave of a flux.
  const Real layer = h * k.vapour_per_convection;
  const Real drying = layer * p.dried_serosa_resistance;
  const Real dressing = layer * c.dressing_resistance;
  const auto [left_by_drying, left_by_dressing, left_by_both] =
      inverses(Real(1.0 + drying), Real(1.0 + dressing), Real(1.0 + dressing + drying));
  const auto [per_whole_area, film_layer_resistance] =
      inverses(whole_area, Real(film_h * k.vapour_per_convection));
  const Real wet =
      wetted(Real(x[state::surface_water] * per_whole_area * k.per_surface_wetness_scale));
  const Real open_flux = difference * layer;
  const Real dried_flux = open_flux * left_by_drying;

  // The film takes the temperature at which its heat balances.
  CoverExchange<Real> film;
  film.surface_temperature = temperature;
  film.surface_vapour = saturated;
  film.gap_coefficient = still_air_conductivity(temperature) * k.per_gap +
                         (1.0 - c.longwave_transmittance) * p.bowel_emissivity *
                             black_body_coefficient(temperature, temperature);
  film.gap_resistance = still_air_resistance(temperature, c.air_pressure) * c.gap;
  film.permeance = c.permeance;
  film.layers = c.layers;
  film.air_vapour = air.vapour;
  film.air_temperature = c.air_temperature;
  film.wall_temperature = c.wall_temperature;
  film.convection = film_h;
  film.air_resistance = film_layer_resistance;
  film.emissivity =
      (1.0 - c.longwave_transmittance) * p.bowel_emissivity * p.bowel_radiating_fraction;
  film.absorbed = air.irradiance * p.bowel_facing_up_fraction * c.warmer_absorptance;
  const auto [film_temperature, film_flux] = covered_flux(film);
  const auto has_film = c.film > 0.5;
  f.film_temperature = select(has_film, film_temperature, temperature);

  // Covered part: film with leaking edges, or dressing alone.
  // A leak lets go what bare serosa would, wet or dried, in sheltered air.
  const Real under_film = with_leak(film_flux, Real(p.leak_shelter * open_flux), c.leak);
  const Real under_film_dried = with_leak(film_flux, Real(p.leak_shelter * dried_flux), c.leak);
  const Real through_dressing = open_flux * left_by_dressing;
  const Real through_dry_dressing = open_flux * left_by_both;
  const Real soaked =
      c.dressing * c.dressing_wet * wetted(Real(x[state::dressing_water] * k.per_dressing_scale));
  const Real covered_wet = select(has_film, under_film, through_dressing);
  const Real covered_dry = select(has_film, under_film_dried, through_dry_dressing);
  f.from_dressing = covered_area * soaked * covered_wet;
  f.from_fluid = bare_area * wet * open_flux + covered_area * (1.0 - soaked) * wet * covered_wet;
  f.from_wall = bare_area * (1.0 - wet) * dried_flux +
                covered_area * (1.0 - soaked) * (1.0 - wet) * covered_dry;
  const Real evaporation = f.from_dressing + f.from_fluid + f.from_wall;
  f.flux = evaporation / (outside * whole_area + 1e-12);
  f.latent = latent_heat(temperature) * (1.0 / seconds_per_hour) * evaporation;

  // What a cover does not hold back runs off, drop by drop at first.
  const Real kept = c.holds_fluid * air.wrapped;
  const Real first_drops = 0.05 * p.surface_fluid_held * b.packed_area;
  const auto above = [&](const Real& water, const Real& capacity) {
    return max(Real(water - capacity * b.packed_area), Real(0.0));
  };
  const Real fluid = above(x[state::surface_water], p.surface_fluid_held);
  const Real soak = above(x[state::dressing_water], c.dressing_capacity);
  // The same as rising_from_rest, for both with one division.
  const auto [per_fluid, per_soak] = inverses(Real(fluid + first_drops), Real(soak + first_drops));
  const Real running = outside * (1.0 - kept) * p.drip_rate;
  f.drip = running * (fluid * fluid) * per_fluid;
  f.dressing_drip = running * (soak * soak) * per_soak;

  // Dry heat: the envelope radiates and takes up the warmer, the area gives heat to the air.
  const Real outer_h = select(has_film, film.convection, h);
  f.convection = bare_area * h * (temperature - c.air_temperature) +
                 covered_area * outer_h * (f.film_temperature - c.air_temperature);
  const Real bare_radiation = long_wave_exchange(temperature, c.wall_temperature,
                                                 p.bowel_emissivity, p.bowel_radiating_fraction);
  const Real film_radiation = long_wave_exchange(f.film_temperature, c.wall_temperature,
                                                 p.bowel_emissivity, p.bowel_radiating_fraction);
  f.radiation = bare_envelope * bare_radiation +
                covered_area *
                    (film_radiation + c.longwave_transmittance * (bare_radiation - film_radiation));
  f.warmer =
      air.irradiance * p.bowel_facing_up_fraction *
      (bare_envelope * p.warmer_absorptivity +
       covered_area * (c.warmer_transmittance * p.warmer_absorptivity + c.warmer_absorptance));
  return f;
}

template <class Real>
BowelSurface<Real> bowel_surface(const State<Real>& x, const Real& temperature,
                                 const Surroundings<Real>& air, const Subject<Real>& s) {
  return bowel_surface(x, temperature, air, s, settled(s));
}

}  // namespace serosa::baby

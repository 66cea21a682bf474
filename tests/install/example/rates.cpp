// SPDX-License-Identifier: Apache-2.0
// The model's right-hand side used directly, with an integrator of one's own (here Euler's, for
// shortness; the model's fastest mode has a time constant of about 3 minutes).
// For teaching and review. Not dosing advice. Follow local protocols and licensed clinicians.
#include <cstdio>
#include <cstring>

#include "baby/birth.hpp"
#include "baby/rates.hpp"

using namespace serosa::baby;

/// One line `name value`, in the model's unit, as the file that this program reads has it.
static bool read_parameter(Parameters<double>& p, const char* wanted, double value) {
#define READ(name, unit) \
  if (std::strcmp(#name, wanted) == 0) return p.name = value, true;
  SEROSA_PARAMETERS(READ)
#undef READ
  return false;
}

int main(int count, char** arguments) {
  std::FILE* file = count == 2 ? std::fopen(arguments[1], "r") : nullptr;
  if (!file) return 2;
  Subject<double> baby{};
  char name[100];
  for (double value; std::fscanf(file, "%99s %lf", name, &value) == 2;)
    if (!read_parameter(baby.parameters, name, value)) return 3;
  std::fclose(file);

  Inputs<double> newborn;
  newborn.weight = 2560;   // g
  newborn.gestation = 36;  // weeks
  baby.body = prepare(newborn, baby.parameters);
  baby.controls.born = 1;
  baby.controls.irradiance = 200;  // W/m2
  State<double> x = birth_state(baby), slope;
  const double step = 2.0 / 3600;  // h
  for (int i = 0; i < 1800; ++i) {
    rates(i * step, x, baby, slope);
    for (std::size_t s = 0; s < x.size(); ++s) x[s] += step * slope[s];
  }
  std::printf("after 1 h: %.3f g off the bare bowel, core %.2f degC\n", x[state::bowel_evaporation],
              temperatures(x, baby).core);
}

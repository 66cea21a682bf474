// SPDX-License-Identifier: Apache-2.0
// Writes a radial design of Ishigami's function with its indices, and a sample with its rank
// correlations, for check_sensitivity.py to compare with OpenTURNS and SciPy.
#include <cmath>
#include <cstdio>
#include <fstream>

#include "known_functions.hpp"

namespace {

using namespace serosa::study;

// An offset, so that what is done about the mean shows.
double shifted(std::span<const double> u) { return 50 + ishigami(u); }

void write(const std::string& path, const std::vector<double>& numbers) {
  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(numbers.data()),
            static_cast<std::streamsize>(numbers.size() * sizeof(double)));
}

std::vector<double> points_of(const Design& d) {
  Points points(d);
  std::vector<double> u(d.names.size()), all;
  for (std::uint64_t run = 0; run < d.runs; ++run) {
    points.at(run, u);
    all.insert(all.end(), u.begin(), u.end());
  }
  return all;
}

void print(const char* name, const std::vector<Estimate>& e) {
  std::printf("%s", name);
  for (const auto& x : e) std::printf(" %.17g", x.value);
  std::printf("\n");
}

}  // namespace

int main(int count, char** arguments) {
  if (count != 2) return 2;
  const std::string folder = arguments[1];
  const Design d = radial_design(3, 65536, 1);
  const auto y = outputs_of(d, shifted);
  write(folder + "/radial_points", points_of(d));
  write(folder + "/radial_outputs", y);
  IndexSettings settings;
  settings.replicates = 50;
  settings.first = FirstOrder::martinez_2011;
  settings.total = TotalOrder::martinez_2011;
  const auto martinez = IndexEstimator(*d.radial, settings, all_points(*d.radial)).estimate(y);
  print("martinez_first", martinez.first);
  print("martinez_total", martinez.total);
  settings.first = FirstOrder::jansen_1999;
  settings.total = TotalOrder::jansen_1999;
  const auto jansen = IndexEstimator(*d.radial, settings, all_points(*d.radial)).estimate(y);
  print("jansen_first", jansen.first);
  print("jansen_total", jansen.total);
  // A sample of which two inputs go together, rounded so that there are equals.
  Design sample;
  sample.kind = DesignKind::random;
  sample.runs = 300;
  sample.names = {"one", "two", "three"};
  auto x = points_of(sample);
  std::vector<std::vector<double>> columns(3);
  std::vector<double> z, flat;
  for (std::size_t i = 0; i < sample.runs; ++i) {
    const double* const u = x.data() + 3 * i;
    const double own[] = {std::round(20 * u[0]), u[1], 0.7 * u[1] + 0.3 * u[2]};
    for (std::size_t j = 0; j < 3; ++j) columns[j].push_back(own[j]), flat.push_back(own[j]);
    z.push_back(std::round(30 * (std::exp(own[0] / 20) + own[1] * own[2] + 0.3 * own[2])));
  }
  write(folder + "/sample_points", flat);
  write(folder + "/sample_outputs", z);
  const auto r = RankCorrelations(columns, 0.95).of(z);
  print("spearman", r.spearman);
  print("partial", r.partial);
  return 0;
}

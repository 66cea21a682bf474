// SPDX-License-Identifier: Apache-2.0
// Explicit steps of order 3 that stay stable over a long stretch of the negative real axis: the
// methods as data. What they promise is tested in tests/simulate/test_stabilised.cpp.
#pragma once
#include <array>
#include <cstddef>

namespace serosa::simulate {

/// One method. From x, with step h, in the form of van der Houwen (Construction of Integration
/// Formulas for Initial Value Problems, 1977), which needs two vectors beside the rates:
///
///     sum = x + h weight[0] k[0],            k[0] = f(t, x)
///     for j = 1 … stages - 1:
///       y = sum before weight[j-1] was added + h forward[j-1] k[j-1]
///       k[j] = f(t + node[j] h, y);          sum = sum + h weight[j] k[j]
///
/// `sum` is x after the step. Coefficients were computed for this project: the stability polynomial
/// of the wanted degree with the longest damped real interval by linear programming (in the manner
/// of Ketcheson and Ahmadia, Commun Appl Math Comput Sci 2012;7:247), |R| <= 0.9 (0.95 with four
/// stages) beyond -1.5 and <= 1 in a wedge of 3.4 degrees around the axis; then weights and forward
/// coefficients that meet it and the four conditions of order 3 to rounding, with the smallest
/// error of order 4, nodes within the step and stages that stay bounded.
struct Stabilised {
  static constexpr std::size_t most = 9;
  int stages;
  double reach;  ///< h times |eigenvalue| up to which the method is stable, on the real axis
  std::array<double, most> weight, forward, node;
};

// clang-format off
inline constexpr std::array<Stabilised, 7> stabilised_methods{{
    {3, 2.50,
     {0.24951331960203696, 0.01322878776877646, 0.7372578926291866},
     {0.5395368551357573, 0.4189943849304225},
     {0.0, 0.5395368551357573, 0.6685077045324594}},
    {4, 5.83,
     {-0.3354758332825495, 0.7833427880081139, -0.14557282324329782, 0.6977058685177334},
     {0.09438309183653025, 0.9619757287366099, 0.29351572181942714},
     {0.0, 0.09438309183653025, 0.6264998954540604, 0.7413826765449916}},
    {5, 9.78,
     {-0.0014934628561746619, 0.4398176061326387, 0.11136336585255362, -0.549502972968055, 0.9998154638390374},
     {0.24987831658905174, 0.13102373709890727, 0.20100005744686297, 0.17743140924651105},
     {0.0, 0.24987831658905174, 0.1295302742427326, 0.639324200723327, 0.7271189183755287}},
    {6, 14.80,
     {0.08476165142441255, 0.19448047809931512, -0.22721587869057042, 0.4412264904483335, -0.10920884694076426, 0.6159561056592735},
     {0.08447574767308132, -0.0655477189993379, -0.08032574734791577, 0.6112293403803852, 0.2740146395350375},
     {0.0, 0.08447574767308132, 0.01921393242507466, 0.19891638217581192, 0.6632555912135425, 0.7672673808165282}},
    {7, 20.77,
     {0.05685942455394456, 0.5366647366855568, -0.3772782078517042, -0.11413443952115737, 0.40074127253977937, -0.14525982491026562, 0.6424070385038464},
     {0.056891333454624424, -0.04038489416673281, -0.4999638125232356, 0.011710077180757792, 0.559582192731232, 0.2616601462491839},
     {0.0, 0.056891333454624424, 0.01647453038721175, 0.09356034871626578, 0.22795603056855496, 0.6616937065978719, 0.764512932655603}},
    {8, 27.56,
     {0.11496144338863983, 0.03687480283258201, 0.08837233208772202, 0.1383727216810491, 0.28345624470037317, -0.1554044987421109, 0.14099569629489972, 0.3523712577568451},
     {0.13513282017505127, 0.035882686592278785, 0.04531334884533568, 0.5918677296012108, -0.07567430595783456, -0.16069225662847977, 0.046575486436490766},
     {0.0, 0.13513282017505127, 0.15084412998091862, 0.1971495950665575, 0.8320763079101546, 0.30290699403215837, 0.5013452880618864, 0.553208532384746}},
    {9, 35.10,
     {0.04822978182477415, 0.027896047103896256, 0.06531342457454925, 0.06126437074060415, 0.028489067042666284, 0.266657822439527, -0.019414611290235934, 0.07111604245282939, 0.45044805511138947},
     {0.05113160284474874, 0.029342014063320574, 0.05037752944882907, 0.05641084905303315, 0.12421331749793219, 0.022994699121715992, 0.2638629458134583, 0.28460519903087855},
     {0.0, 0.05113160284474874, 0.07757179588809472, 0.1265033583774995, 0.1978501025562528, 0.326916941741756, 0.2541873904082061, 0.7617134595394754, 0.7630411014666598}},
}};
// clang-format on

/// The longest reach of all.
inline constexpr double furthest_reach = stabilised_methods.back().reach;

/// The method with the fewest stages that is stable for `stiffness` = h times |eigenvalue|; the one
/// with most when none is.
constexpr const Stabilised& stable_at(double stiffness) {
  for (const Stabilised& m : stabilised_methods)
    if (stiffness <= m.reach) return m;
  return stabilised_methods.back();
}

/// The method with this many stages; the one with most when there is none.
constexpr const Stabilised& with_stages(int stages) {
  for (const Stabilised& m : stabilised_methods)
    if (m.stages == stages) return m;
  return stabilised_methods.back();
}

}  // namespace serosa::simulate

// SPDX-License-Identifier: Apache-2.0
// Local sensitivities: slopes of the outputs by the inputs at the middle of a study, exact, by
// numbers that carry their derivatives through the whole run.
#pragma once
#include <string>
#include <vector>

#include "study/batch.hpp"
#include "study/sensitivity_figures.hpp"

namespace serosa::study {

/// How a slope was found.
enum class SlopeBy {
  dual_numbers,  ///< parameters, the baby's numbers, those of rooms and acts, and hours of acts
  none           ///< words, and inputs that this arm doesn't have
};

struct LocalSlopes {
  simulate::RunReport report;               ///< of the run in the middle
  std::vector<double> middle;               ///< values of the inputs
  std::vector<SlopeBy> by;                  ///< per input
  std::vector<double> values;               ///< outputs × times
  std::vector<std::vector<double>> slopes;  ///< inputs × (outputs × times), per unit of the input;
                                            ///< NaN where there is none
  std::vector<double> figure_values;
  std::vector<std::vector<double>> figure_slopes;  ///< inputs × figures; NaN where not reached
};

/// Slopes of one arm's outputs at the study's times, and of its figures, by all inputs at once, at
/// the middle value (the median) of every law. Steps are those that the run without derivatives
/// takes, each a fixed share of the segment between two stops, so that hours of acts have exact
/// derivatives too; an act that moves away from another of its hour, or from the birth, is taken 4
/// ms later than it, and so is the end of a bolus, a bleeding or a wrapping. At the very hour of a
/// stop that moves, a slope is NaN: there is one before it and another after it.
LocalSlopes local_slopes(const Study& study, std::size_t arm,
                         const std::vector<RunFigure>& figures = {});

/// Relative change of an output per relative change of an input, slope × input / output. NaN for
/// temperatures in degC, whose zero is arbitrary, and where the output is zero.
double elasticity(double slope, double input, const std::string& input_unit, double output,
                  const std::string& output_unit);

}  // namespace serosa::study

// SPDX-License-Identifier: Apache-2.0
#include "files/study_file.hpp"
#include "files/sensitivity_file.hpp"

namespace serosa::files {

namespace {

std::vector<std::string> output_names() {
  std::vector<std::string> names;
  for (const auto& output : simulate::output_list) names.emplace_back(output.name);
  return names;
}

const KeyTable& arm_keys() {
  static const KeyTable table{
      "arm",
      "One way of caring for the babies.",
      {text("case", "a case file beside the study, or the name of one that comes along").required(),
       anything("set", "inputs that differ from that case, as `timeline.wrap.at: 20 min`")}};
  return table;
}

const KeyTable& design_keys() {
  static const KeyTable table{
      "design",
      "Which combinations of the inputs are run.",
      {word("kind", {"random", "latin-hypercube", "sobol", "full-grid"},
            "how the combinations are chosen")
           .fallback("latin-hypercube"),
       count("runs", "babies; each is run under every arm. A full grid needs none")
           .possible(1, 1e9),
       count("seed", "chooses the random numbers").possible(0, 9007199254740992.0).fallback("1")}};
  return table;
}

const KeyTable& correlation_keys() {
  static const KeyTable table{
      "correlation",
      "Two inputs that go together.",
      {texts("inputs", "the two paths").length(2, 2).required(),
       quantity("rank", "1", "rank correlation (Spearman)").possible(-1, 1).required(),
       text("source", "where it comes from"), text("note", "conditions, doubts")}};
  return table;
}

const KeyTable& series_keys() {
  static const KeyTable table{
      "series",
      "Courses over time, beside the values at single times.",
      {quantity("every", "h", "grid").possible(1.0 / 60, 100).fallback("10 min"),
       words("outputs", output_names(), "which; those of the study when left out").length(1, 100),
       quantities("quantiles", "1", "bands over the runs")
           .possible(0, 1)
           .fallback("[5 %, 25 %, 50 %, 75 %, 95 %]"),
       flag("all_runs", "keep the course of every run too").fallback("false")}};
  return table;
}

const KeyTable& band_keys() {
  static const KeyTable table{
      "band",
      "A range of an output; the share of runs in it is reported.",
      {word("output", output_names(), "which").required(),
       text("above", "its lower end, with unit"), text("below", "its upper end, with unit")}};
  return table;
}

Key vary_key() {
  return anything("vary", "inputs that vary, by their path in a case file, or `parameters.NAME`");
}
Key correlations_key() {
  return maps("correlations", correlation_keys(), "pairs of inputs that go together");
}

}  // namespace

const KeyTable& law_keys() {
  const auto value = [](const char* name, const char* help) { return text(name, help).required(); };
  static const KeyTable table{
      "varied input",
      "How one input varies. In place of the map: a list of values, or `published`.",
      {word("law",
            {"published", "uniform", "normal", "lognormal", "triangular", "beta", "empirical",
             "list", "grid"},
            "the law")
           .required(),
       text("source", "where the law comes from"), text("note", "conditions, doubts")},
      "law",
      {{"published", {}},
       {"uniform", {value("from", "lower end"), value("to", "upper end")}},
       {"normal",
        {value("mean", "before the ends are cut off"), value("sd", "standard deviation"),
         text("from", "lower end"), text("to", "upper end")}},
       {"lognormal",
        {value("median", "before the ends are cut off"),
         quantity("factor", "1", "by which one standard deviation multiplies")
             .possible(1, 1000)
             .required(),
         text("from", "lower end"), text("to", "upper end")}},
       {"triangular",
        {value("from", "lower end"), value("mode", "most frequent value"),
         value("to", "upper end")}},
       {"beta",
        {quantity("a", "1", "exponent at the lower end").possible(0.01, 1000).required(),
         quantity("b", "1", "exponent at the upper end").possible(0.01, 1000).required(),
         value("from", "lower end"), value("to", "upper end")}},
       {"empirical",
        {value("file", "a CSV file beside the study"), value("column", "the column's heading"),
         text("unit", "of its numbers, where the heading does not tell it as `weight [g]` does")}},
       {"list",
        {texts("values", "the values").length(1, 1000).required(),
         quantities("weights", "1", "how often each, against the others")
             .possible(0, 1e9)
             .length(1, 1000)}},
       {"grid",
        {value("from", "first value"), value("to", "last value"),
         count("points", "how many values").possible(2, 10000).required(),
         word("spacing", {"even", "logarithmic"}, "of the values").fallback("even")}}}};
  return table;
}

const KeyTable& cohort_keys() {
  static const KeyTable table{"cohort",
                              "A virtual group of babies.",
                              {text("title", "a few words").required(),
                               text("note", "who they are"), vary_key(), correlations_key()}};
  return table;
}

const KeyTable& study_keys() {
  static const KeyTable table{
      "study",
      "Many babies, each under every arm.",
      {text("title", "a few words for tables and pages").required(), text("note", "what is asked"),
       text("case", "the one case, when there are no arms"),
       entries("arms", arm_keys(), "ways of caring for the same babies, by name"),
       file("cohort", "cohorts", "who the babies are"), vary_key(), correlations_key(),
       map("design", design_keys(), "which combinations are run").fallback("{}"),
       words("outputs", output_names(), "what is kept").length(1, 100).required(),
       quantities("times", "h", "when; the last is the end of the runs")
           .possible(0, 1000)
           .length(1, 50)
           .required(),
       map("series", series_keys(), "courses over time"),
       entries("bands", band_keys(), "ranges whose share is reported").fallback("{}"),
       quantities("quantiles", "1", "of the outputs")
           .possible(0, 1)
           .length(1, 50)
           .fallback("[5 %, 25 %, 50 %, 75 %, 95 %]"),
       quantity("confidence", "1", "of all intervals").possible(0.5, 0.9999).fallback("95 %"),
       word("failed_runs", {"report", "exclude"},
            "report: no statistics when a run failed; exclude: statistics of the others")
           .fallback("report"),
       map("sensitivity", sensitivity_keys(), "which inputs carry the answer")}};
  return table;
}

}  // namespace serosa::files

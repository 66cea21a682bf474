// SPDX-License-Identifier: Apache-2.0
// The sections of a page of a batch: `sweep` and `merge`.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>

#include "files/results.hpp"
#include "runner/page_batch.hpp"
#include "runner/page_common.hpp"
#include "runner/page_section.hpp"
#include "runner/page_words.hpp"
#include "runner/text_table.hpp"
#include "simulate/run.hpp"
#include "study/statistics.hpp"
#include "units/units.hpp"

namespace serosa::runner {

namespace {

using Json = PageData;
using page::said;

/// More numbers than this in all bands together make no line smoother, only the page larger.
constexpr std::size_t most_band_numbers = 40000;
/// More panels than this of one kind are no help; what is left out is said.
constexpr std::size_t most_outputs = 12;

/// Quantiles of every column, and where they stand among them.
constexpr double levels[] = {0.001, 0.05, 0.5, 0.95, 0.999};
enum Level : std::size_t { lowest, low_end, middle_one, high_end, highest };
double quantile(const study::Description& d, Level which) { return d.quantiles[which].value; }
page::Reach reach(const study::Description& d) {
  return {d.least, d.most, quantile(d, lowest), quantile(d, highest)};
}

std::string lower(std::string text) {
  if (text.size() > 1 && !std::isupper(static_cast<unsigned char>(text[1])))
    text[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(text[0])));
  return text;
}

std::string per_cent(double share) { return said(100 * share) + " %"; }

/// `1 run`, `3 runs`.
std::string counted(double n, const std::string& one, const std::string& many) {
  return fmt::format("{:.0f} {}", n, n == 1 ? one : many);
}

class SweepPage {
 public:
  explicit SweepPage(const BatchData& batch) : batch_(batch) {
    for (const auto& o : batch.outputs)
      words_.push_back(output_in_words(o.name, o.meaning, o.unit));
    const bool cohort = std::any_of(batch.inputs.begin(), batch.inputs.end(),
                                    [](const auto& i) { return i.of_cohort; });
    whom_ = cohort ? "babies" : batch.sampled ? "draws" : "combinations";
    if (batch.statistics)
      for (std::size_t o = 0; o < batch.outputs.size(); ++o) figures_.push_back(look_at(o));
    for (const auto& input : batch.inputs) inputs_.push_back(look_at(input));
  }

  Json page() {
    Json made = page::document(batch_.title, question());
    made["made_by"] = made_by();
    made["cases"] = cases();
    Json& list = made["sections"];
    list.push_back(arms_in_words());
    if (!batch_.manifest.value("warnings", Json::array()).empty()) list.push_back(warnings());
    if (batch_.statistics) {
      if (arms() > 1) list.push_back(differences());
      if (!batch_.series.empty()) list.push_back(over_time());
      list.push_back(distributions());
      if (arms() > 1) list.push_back(paired_distributions());
      if (!batch_.bands.empty()) list.push_back(shares());
    }
    list.push_back(failed());
    if (Json s = cohort(); !s.is_null()) list.push_back(std::move(s));
    list.push_back(inputs());
    if (batch_.statistics) list.push_back(numbers());
    list.push_back(limits());
    list.push_back(words_section(
        {{"5 to 95 %", "nine in ten of the " + whom_ + " lie between"},
         {"Median", "half of the " + whom_ + " lie below it, half above"},
         {"Paired", "the same baby under both kinds of care, one result less the other"},
         {"95 % interval",
          "where the figure would come to lie, as a rule, if other babies had been drawn; it says "
          "nothing about faults of the model"}}));
    list.push_back(origin());
    return made;
  }

 private:
  // ---- What is looked at

  std::size_t arms() const { return batch_.arms.size(); }
  std::size_t last() const { return batch_.times.size() - 1; }
  std::string time_words(std::size_t t) const { return files::time_label(batch_.times[t]); }
  /// For a table: the number and its unit stay on one line.
  std::string time_cell(std::size_t t) const {
    std::string words = time_words(t);
    for (auto at = words.find(' '); at != std::string::npos; at = words.find(' ', at))
      words.replace(at, 1, "\u00a0");
    return words;
  }
  std::string when(const OutputInWords& w, std::size_t t) const {
    return (w.flows ? "by " : "at ") + time_words(t);
  }
  /// `95 %`.
  std::string level() const { return fmt::format("{:.4g} %", 100 * batch_.confidence); }
  std::size_t shown_outputs() const { return std::min(batch_.outputs.size(), most_outputs); }

  /// A column described and counted.
  struct Figures {
    study::Description d;
    page::Binned::Sample bins;
    double above_zero = 0;
  };
  /// An output: its columns (arms × times), and what the arms differ by from the first, baby by
  /// baby (arms but the first × times); each as the page shows it: per kg, in the shown unit.
  struct OutputFigures {
    std::vector<Figures> own, paired;
    std::vector<std::vector<double>> own_edges, paired_edges;  ///< of the bins, by time
    std::vector<std::vector<double>> hits;  ///< of bands × own columns: runs inside
  };
  const Figures& own(std::size_t o, std::size_t a, std::size_t t) const {
    return figures_[o].own[a * batch_.times.size() + t];
  }
  const Figures& paired(std::size_t o, std::size_t a, std::size_t t) const {
    return figures_[o].paired[(a - 1) * batch_.times.size() + t];
  }

  /// Calls `see(k, values)` for every column of an output, own ones first, some runs at a time, and
  /// `raw(k, values)` for own ones in the file's unit.
  template <class See, class Raw>
  void for_columns(std::size_t o, const See& see, const Raw& raw) const {
    const std::size_t times = batch_.times.size();
    std::vector<double> shown;
    batch_.for_rows(batch_.outputs[o], [&](const BatchData::Rows& rows) {
      shown = rows.values;
      const auto column = [&](std::size_t a, std::size_t t) {
        return std::span(shown).subspan((a * times + t) * rows.runs, rows.runs);
      };
      for (std::size_t a = 0; a < arms(); ++a)
        for (std::size_t t = 0; t < times; ++t) {
          raw(a * times + t, rows.column(a, t));
          const auto values = column(a, t);
          if (words_[o].per_kg) {
            const auto weights = rows.weights_of(a);
            for (std::size_t i = 0; i < rows.runs; ++i) values[i] /= weights[i];
          } else if (words_[o].factor != 1) {
            for (double& x : values) x *= words_[o].factor;
          }
          see(a * times + t, std::span<const double>(values));
        }
      for (std::size_t a = 1; a < arms(); ++a)
        for (std::size_t t = 0; t < times; ++t) {
          const auto values = column(a, t), first = column(0, t);
          for (std::size_t i = 0; i < rows.runs; ++i) values[i] -= first[i];
          see((arms() + a - 1) * times + t, std::span<const double>(values));
        }
    });
  }

  /// Without the numbers that are missing.
  static std::span<const double> present(std::span<const double> piece, std::vector<double>& kept) {
    kept.clear();
    for (const double x : piece)
      if (!std::isnan(x)) kept.push_back(x);
    return kept;
  }

  OutputFigures look_at(std::size_t o) const {
    const std::size_t times = batch_.times.size(), all = (2 * arms() - 1) * times;
    std::vector<double> kept;
    const auto described = study::describe_each(
        all,
        [&](const auto& see) {
          for_columns(
              o, [&](std::size_t k, auto piece) { see(k, present(piece, kept)); },
              [](std::size_t, auto) {});
        },
        levels, batch_.confidence);
    OutputFigures found;
    std::vector<Figures> columns(all);
    for (std::size_t k = 0; k < all; ++k) {
      columns[k].d = described[k];
      if (described[k].n > 0) columns[k].bins.median = quantile(described[k], middle_one);
    }
    const auto edges = [&](std::size_t from, std::size_t to, std::size_t t) {
      std::vector<page::Reach> reaches;
      for (std::size_t a = from; a < to; ++a)
        if (const auto& d = described[a * times + t]; d.n > 0) reaches.push_back(reach(d));
      return page::bin_edges(reaches);
    };
    for (std::size_t t = 0; t < times; ++t) {
      found.own_edges.push_back(edges(0, arms(), t));
      found.paired_edges.push_back(edges(arms(), 2 * arms() - 1, t));
    }
    found.hits.assign(batch_.bands.size(), std::vector<double>(arms() * times));
    for_columns(
        o,
        [&](std::size_t k, std::span<const double> piece) {
          const auto& of = k < arms() * times ? found.own_edges : found.paired_edges;
          page::count_in_bins(of[k % times], piece, columns[k].bins);
          for (const double x : piece) columns[k].above_zero += x > 0;
        },
        [&](std::size_t k, std::span<const double> piece) {
          for (std::size_t b = 0; b < batch_.bands.size(); ++b)
            if (batch_.bands[b].output == batch_.outputs[o].name)
              for (const double x : piece) found.hits[b][k] += inside(x, batch_.bands[b]);
        });
    const auto split = columns.begin() + static_cast<std::ptrdiff_t>(arms() * times);
    found.own.assign(columns.begin(), split);
    found.paired.assign(split, columns.end());
    return found;
  }

  /// An input: a number described, one of the cohort also counted in bins; of words, how often
  /// each.
  struct InputFigures {
    study::Description d;
    page::Binned bins;
    std::vector<double> words;
  };
  InputFigures look_at(const BatchData::Input& input) const {
    InputFigures found;
    const auto pieces = [&](const auto& see) { batch_.for_pieces(input, see); };
    if (!input.words.empty()) {
      found.words.resize(input.words.size());
      pieces([&](std::span<const double> piece) {
        for (const double x : piece)
          if (x >= 0 && x < static_cast<double>(found.words.size()))
            ++found.words[static_cast<std::size_t>(x)];
      });
      return found;
    }
    std::vector<double> kept;
    found.d = study::describe_each(
        1,
        [&](const auto& see) {
          pieces([&](std::span<const double> piece) { see(0, present(piece, kept)); });
        },
        levels, batch_.confidence)[0];
    if (!input.of_cohort || found.d.n == 0) return found;
    found.bins.edges = page::bin_edges({reach(found.d)});
    found.bins.samples.resize(1);
    found.bins.samples[0].median = quantile(found.d, middle_one);
    pieces([&](std::span<const double> piece) {
      page::count_in_bins(found.bins.edges, piece, found.bins.samples[0]);
    });
    return found;
  }

  /// The mean with its interval; of a full grid, which is no sample, with the spread instead.
  page::Interval middle(const study::Description& d) const {
    if (d.n == 0) return {};
    if (batch_.sampled) return {d.mean.value, d.mean.low, d.mean.high};
    return {d.mean.value, quantile(d, low_end), quantile(d, high_end)};
  }
  std::string interval_words() const {
    return batch_.sampled ? level() + " interval of the mean" : "5 to 95 % of the " + whom_;
  }

  /// A difference has kelvin where the output has degrees; both are shown as °C of difference.
  static std::string difference_unit(const OutputInWords& w) { return w.unit; }

  /// The output that the page speaks of first.
  std::size_t main_output() const {
    for (const char* wanted : {"external_deficit", "bowel_evaporation", "circulating_deficit"})
      for (std::size_t o = 0; o < batch_.outputs.size(); ++o)
        if (batch_.outputs[o].name == wanted) return o;
    return 0;
  }

  // ---- Head

  std::string question() const {
    if (!batch_.note.empty()) return batch_.note;
    return arms() > 1 ? "What difference does the care make, baby by baby?"
                      : "How far do the results spread?";
  }

  std::string made_by() const {
    return fmt::format("serosa {}, source {}", batch_.manifest.value("version", "unknown"),
                       batch_.manifest.value("commit", "unknown"));
  }

  Json cases() const {
    Json list = Json::array();
    for (std::size_t a = 0; a < arms(); ++a)
      list.push_back({{"name", batch_.arms[a].name},
                      {"letter", std::string(1, static_cast<char>('A' + a % 26))},
                      {"title", batch_.arms[a].label},
                      {"note", ""},
                      {"weight_kg", batch_.arms[a].weight}});
    return list;
  }

  Json arms_in_words() const {
    const std::string who = fmt::format("{} {}", batch_.runs, whom_);
    Json s = page_section(
        "arms", "cases", "Kinds of care compared",
        arms() == 1 ? "One kind of care, " + who
                    : fmt::format("The same {} under {} kinds of care", who, arms()),
        {whom_ == "babies"
             ? "The words below are those of the middle of the cohort; each baby has a weight, "
               "gestation and bowel of its own (“Who is in it”)."
             : "The words below are those of the middle of all inputs that are varied (“Inputs "
               "varied”)."});
    Json facts = Json::array(), rows = Json::array();
    std::vector<const files::Node*> nodes;
    for (const auto& arm : batch_.arms) {
      facts.push_back(facts_in_words(arm.understood));
      nodes.push_back(&arm.understood);
    }
    if (arms() > 1)
      for (const auto& d : differences_in_words(nodes))
        rows.push_back({{"label", d.label}, {"words", d.words}});
    s["data"] = {{"facts", facts}, {"differences", rows}};
    return s;
  }

  Json warnings() const {
    page::List list;
    for (const auto& w : batch_.manifest.at("warnings")) list.items.push_back(w);
    return page::section(
        {"watch", "What must not be overlooked",
         list.items.size() == 1 ? "One warning" : fmt::format("{} warnings", list.items.size())},
        list);
  }

  // ---- Differences, baby by baby

  /// `Wrapped early instead of exposed: 5.75 mL/kg less lost … by 2 h (5.18 to 6.32)`.
  std::string finding(std::size_t o, std::size_t a, std::size_t t) const {
    const auto& w = words_[o];
    const auto& d = paired(o, a, t).d;
    const auto x = middle(d);
    const std::string who =
        batch_.arms[a].label + " instead of " + lower(batch_.arms[0].label) + ": ";
    if (d.n == 0) return who + "no run of both finished";
    if (x.low <= 0 && x.high >= 0 && d.least < d.most)
      return fmt::format("{}no difference to be told in {} {} ({} to {} {})", who, lower(w.label),
                         when(w, t), said(x.low), said(x.high), w.unit);
    const double low = std::min(std::abs(x.low), std::abs(x.high)),
                 high = std::max(std::abs(x.low), std::abs(x.high));
    const std::string side = x.value < 0 ? w.less : w.more;
    const std::string size = said(std::abs(x.value)) + (w.unit.empty() ? "" : " " + w.unit);
    const std::string ends = said(low) + " to " + said(high);
    if (w.flows)
      return fmt::format("{}{} {} {} {} ({})", who, size, side, w.phrase, when(w, t), ends);
    return fmt::format("{}{} {} {} {} ({})", who, lower(w.label), size, side, when(w, t), ends);
  }

  Json differences() const {
    const std::size_t o = main_output();
    std::vector<std::string> text;
    for (std::size_t a = 2; a < arms(); ++a) text.push_back(finding(o, a, last()) + ".");
    text.push_back(fmt::format(
        "The same {} were computed under each kind of care; what is shown is one result less that "
        "of “{}”, averaged, with the {}.{}",
        whom_, lower(batch_.arms[0].label), interval_words(),
        batch_.sampled ? "" : " A full grid is no sample, so there are no other intervals."));
    page::Intervals chart;
    page::Table table{{"Paired difference from “" + lower(batch_.arms[0].label) + "”", "Time",
                       "Mean", batch_.sampled ? level() + " interval" : "",
                       "5 to 95 % of the " + whom_, "Share of the " + whom_ + " with more"},
                      {}};
    for (std::size_t k = 0; k < shown_outputs(); ++k) {
      const auto& w = words_[k];
      page::IntervalPanel panel{w.label, {"Difference", difference_unit(w)}, {}};
      for (std::size_t t = 0; t < batch_.times.size(); ++t)
        panel.categories.push_back((w.flows ? "By " : "At ") + time_words(t));
      for (std::size_t a = 1; a < arms(); ++a) {
        page::IntervalSeries series{batch_.arms[a].label, style(a), {}};
        for (std::size_t t = 0; t < batch_.times.size(); ++t) {
          const auto& figures = paired(k, a, t);
          const auto& d = figures.d;
          series.points.push_back(middle(d));
          const auto share =
              study::share(static_cast<std::uint64_t>(figures.above_zero), d.n, batch_.confidence);
          table.rows.push_back(
              {batch_.arms[a].label + ": " + lower(w.label) + (w.unit.empty() ? "" : ", " + w.unit),
               time_cell(t), said(d.mean.value),
               batch_.sampled ? said(d.mean.low) + " to " + said(d.mean.high) : "",
               said(quantile(d, low_end)) + " to " + said(quantile(d, high_end)),
               batch_.sampled ? per_cent(share.value) + " (" + said(100 * share.low) + " to " +
                                    said(100 * share.high) + ")"
                              : per_cent(share.value)});
        }
        panel.series.push_back(std::move(series));
      }
      panel.references = {{0, "no difference"}};
      chart.panels.push_back(std::move(panel));
    }
    Json s = page::section(
        {"differences", "The difference, baby by baby", finding(o, 1, last()), text}, chart);
    s["below"] = page::section({"differences-table", "Numbers", "Numbers"}, table)["data"];
    return s;
  }

  std::string style(std::size_t a) const { return "case:" + std::to_string(a); }

  // ---- Over time

  Json over_time() const {
    const auto& q = batch_.series_quantiles;
    page::Bands chart;
    const std::size_t times = batch_.series_times.size();
    const std::size_t all =
        batch_.series.size() * arms() * times * std::max<std::size_t>(q.size(), 1);
    const std::size_t stride =
        std::max<std::size_t>(1, (all + most_band_numbers - 1) / most_band_numbers);
    std::vector<std::size_t> at;
    for (std::size_t t = 0; t < times; ++t)
      if (t % stride == 0 || t + 1 == times) at.push_back(t);
    for (const auto t : at) chart.times.push_back(batch_.series_times[t]);
    // The middle is the quantile nearest to one half; the others go together from outside inwards.
    const auto centre = static_cast<std::size_t>(
        std::min_element(q.begin(), q.end(),
                         [](double x, double y) { return std::abs(x - 0.5) < std::abs(y - 0.5); }) -
        q.begin());
    std::string title;
    for (const auto& series : batch_.series) {
      const auto w = output_in_words(series.output.name, series.output.meaning, series.output.unit);
      const double factor = w.per_kg ? 1 : w.factor;
      const std::string unit = w.per_kg ? "mL, whole baby" : w.unit;
      page::CoursePanel panel{w.label, unit.empty() ? "ratio" : unit, {}};
      for (std::size_t a = 0; a < arms(); ++a) {
        const auto course = [&](std::size_t k) {
          std::vector<double> values;
          for (const auto t : at)
            values.push_back(factor * series.values[(a * times + t) * q.size() + k]);
          return values;
        };
        page::Course c{batch_.arms[a].label, style(a), course(centre)};
        for (std::size_t low = 0, high = q.size(); low + 1 < high; ++low) {
          --high;
          if (low >= centre || high <= centre) break;
          c.bands.push_back(
              {fmt::format("{:.3g} to {:.3g} % of the {}", 100 * q[low], 100 * q[high], whom_),
               course(low), course(high)});
        }
        if (title.empty() || panel.courses.size() == a)
          if (&series == &batch_.series.front())
            title += (a ? "; "
                        : w.label + " " + (w.flows ? "by " : "at ") +
                              files::time_label(chart.times.back()) + ", median: ") +
                     lower(batch_.arms[a].label) + " " + said(c.middle.back()) +
                     (a + 1 == arms() ? " " + unit : "");
        panel.courses.push_back(std::move(c));
      }
      chart.panels.push_back(std::move(panel));
    }
    return page::section(
        {"over-time",
         "Over the hours",
         title,
         {fmt::format("The line is the {}; the bands hold the {} between two quantiles, taken at "
                      "each time by itself. Amounts are those of the whole baby, not per kg, as "
                      "the {} differ in weight.",
                      std::abs(q[centre] - 0.5) < 1e-9
                          ? std::string("median")
                          : fmt::format("{:.3g} % quantile", 100 * q[centre]),
                      whom_, whom_)}},
        chart);
  }

  // ---- Distributions

  Json distributions() const {
    std::vector<std::pair<std::string, Json>> choices;
    std::string title;
    const std::size_t first = main_output();
    for (std::size_t t = 0; t < batch_.times.size(); ++t) {
      page::Distribution chart;
      chart.counted = whom_;
      for (std::size_t o = 0; o < shown_outputs(); ++o) {
        const auto& w = words_[o];
        page::DistributionPanel panel{
            w.label, {w.label, w.unit}, {}, {figures_[o].own_edges[t], {}}};
        for (std::size_t a = 0; a < arms(); ++a) {
          panel.series.push_back({batch_.arms[a].label, style(a)});
          panel.bins.samples.push_back(own(o, a, t).bins);
        }
        add_band_limits(panel.references, o);
        chart.panels.push_back(std::move(panel));
        if (o == first && t == last()) {
          title = w.label.substr(0, w.label.find(':')) + " " + when(w, t) + ", 5 to 95 % of the " +
                  whom_ + ": ";
          for (std::size_t a = 0; a < arms(); ++a) {
            const auto& d = own(o, a, t).d;
            title += fmt::format("{}{}{} to {}", a ? "; " : "",
                                 arms() > 1 ? lower(batch_.arms[a].label) + " " : "",
                                 said(quantile(d, low_end)), said(quantile(d, high_end)));
          }
          title += w.unit.empty() ? "" : " " + w.unit;
        }
      }
      choices.emplace_back(time_words(t), page::section({"d", "d", "d"}, chart));
    }
    return page::alternatives(
        {"distributions",
         "How far the " + whom_ + " differ",
         title,
         {fmt::format("Share of the {} in each step; dotted upright lines are medians. {}", whom_,
                      left_out())}},
        "Results at", choices);
  }

  std::string left_out() const {
    if (batch_.outputs.size() <= most_outputs) return {};
    return fmt::format("Shown are the first {} of {} results; all are in runs.nc.", most_outputs,
                       batch_.outputs.size());
  }

  /// Ends of bands, as lines across the distribution of their output.
  void add_band_limits(std::vector<page::Reference>& list, std::size_t o) const {
    if (words_[o].per_kg) return;  // a limit of the whole baby has no place on an axis per kg
    for (const auto& band : batch_.bands)
      if (band.output == batch_.outputs[o].name)
        for (const double end : {band.low, band.high})
          if (std::isfinite(end)) list.push_back({end * words_[o].factor, plain_name(band.name)});
  }

  Json paired_distributions() const {
    std::vector<std::pair<std::string, Json>> choices;
    std::string title;
    const std::size_t first = main_output();
    for (std::size_t t = 0; t < batch_.times.size(); ++t) {
      page::Distribution chart;
      chart.counted = whom_;
      for (std::size_t o = 0; o < shown_outputs(); ++o) {
        const auto& w = words_[o];
        page::DistributionPanel panel{w.label,
                                      {"Difference", difference_unit(w)},
                                      {},
                                      {figures_[o].paired_edges[t], {}},
                                      {{0, "no difference"}}};
        for (std::size_t a = 1; a < arms(); ++a) {
          panel.series.push_back(
              {batch_.arms[a].label + " less " + lower(batch_.arms[0].label), style(a)});
          panel.bins.samples.push_back(paired(o, a, t).bins);
        }
        chart.panels.push_back(std::move(panel));
        if (o == first && t == last()) {
          const auto& d = paired(o, 1, t).d;
          title = fmt::format(
              "{} instead of {}: in nine of ten {} the difference lies between {} and {} {}",
              batch_.arms[1].label, lower(batch_.arms[0].label), whom_, said(quantile(d, low_end)),
              said(quantile(d, high_end)), w.unit);
        }
      }
      choices.emplace_back(time_words(t), page::section({"d", "d", "d"}, chart));
    }
    return page::alternatives({"paired",
                               "How far the difference differs",
                               title,
                               {"One result less the other of the same baby; negative is less than "
                                "under “" +
                                lower(batch_.arms[0].label) + "”."}},
                              "Differences at", choices);
  }

  // ---- Bands

  /// Bands of one output that together divide it: below, between, above.
  struct Divided {
    std::string title;
    std::size_t output;
    std::vector<const BatchData::Band*> bands;  ///< below and above, or one
  };

  std::vector<Divided> divided() const {
    std::vector<Divided> list;
    std::vector<bool> used(batch_.bands.size());
    const auto output_of = [&](const BatchData::Band& b) {
      for (std::size_t o = 0; o < batch_.outputs.size(); ++o)
        if (batch_.outputs[o].name == b.output) return o;
      return std::size_t{0};
    };
    for (std::size_t i = 0; i < batch_.bands.size(); ++i) {
      if (used[i]) continue;
      const auto& band = batch_.bands[i];
      const std::size_t o = output_of(band);
      const std::string label = words_[o].label.substr(0, words_[o].label.find(':'));
      for (std::size_t k = i + 1; k < batch_.bands.size(); ++k) {
        const auto& other = batch_.bands[k];
        if (used[k] || other.output != band.output) continue;
        const auto *under = &band, *over = &other;
        if (!std::isinf(under->low)) std::swap(under, over);
        if (std::isinf(under->low) && std::isinf(over->high) && under->high <= over->low) {
          used[i] = used[k] = true;
          list.push_back({label, o, {under, over}});
          break;
        }
      }
      if (!used[i]) list.push_back({label, o, {&band}});
      used[i] = true;
    }
    return list;
  }

  static std::string limits_of(const BatchData::Band& b, const OutputInWords& w) {
    const auto shown = [&](double x) {
      return said(x * w.factor) + (w.unit.empty() ? "" : " " + w.unit);
    };
    if (std::isinf(b.low)) return "below " + shown(b.high);
    if (std::isinf(b.high)) return "above " + shown(b.low);
    return said(b.low * w.factor) + " to " + shown(b.high);
  }

  Json shares() const {
    std::vector<std::pair<std::string, Json>> choices;
    const auto groups = divided();
    page::Table table{{"Share of the " + whom_ + " that finished", "Time"}, {}};
    for (const auto& arm : batch_.arms) table.head.push_back(arm.label);
    std::string title;
    for (std::size_t t = 0; t < batch_.times.size(); ++t) {
      page::Shares chart;
      chart.counted = whom_;
      for (const auto& group : groups) {
        // Bands are counted in the file's own unit, as the study says them.
        OutputInWords w = words_[group.output];
        if (w.per_kg) w.unit = "mL, whole baby", w.factor = 1;
        page::SharePanel panel{group.title, {}, {}, {}};
        const bool two = group.bands.size() == 2;
        const auto name = [&](const BatchData::Band& b) {
          return plain_name(b.name) + " (" + limits_of(b, w) + ")";
        };
        if (two)
          panel.parts = {{name(*group.bands[0]), "under"},
                         {"between", "inside"},
                         {name(*group.bands[1]), "over"}};
        else
          panel.parts = {
              {name(*group.bands[0]), std::isinf(group.bands[0]->high) ? "over" : "under"},
              {"not " + plain_name(group.bands[0]->name), "inside"}};
        panel.parts.push_back({"run failed", "failed"});
        std::vector<std::vector<std::string>> rows(group.bands.size());
        for (std::size_t a = 0; a < arms(); ++a) {
          std::vector<double> in;
          for (const auto* band : group.bands)
            in.push_back(figures_[group.output].hits[static_cast<std::size_t>(
                band - batch_.bands.data())][a * batch_.times.size() + t]);
          const auto finished = static_cast<double>(own(group.output, a, t).d.n);
          const double all = static_cast<double>(batch_.runs);
          std::vector<double> row{in[0] / all};
          row.push_back((finished - in[0] - (two ? in[1] : 0)) / all);
          if (two) row.push_back(in[1] / all);
          row.push_back((all - finished) / all);
          panel.categories.push_back(batch_.arms[a].label);
          panel.shares.push_back(row);
          for (std::size_t k = 0; k < in.size(); ++k) {
            const auto e = study::share(static_cast<std::uint64_t>(in[k]),
                                        static_cast<std::uint64_t>(finished), batch_.confidence);
            rows[k].push_back(batch_.sampled ? per_cent(e.value) + " (" + said(100 * e.low) +
                                                   " to " + said(100 * e.high) + ")"
                                             : per_cent(e.value));
            if (t == last() && k == 0 && &group == &groups.front())
              title += fmt::format(
                  "{}{} {}",
                  a ? "; "
                    : capital_of(plain_name(group.bands[0]->name)) + " at " + time_words(t) + ": ",
                  lower(batch_.arms[a].label), per_cent(e.value));
          }
        }
        for (std::size_t k = 0; k < rows.size(); ++k) {
          std::vector<std::string> cells{capital_of(name(*group.bands[k])), time_cell(t)};
          cells.insert(cells.end(), rows[k].begin(), rows[k].end());
          table.rows.push_back(std::move(cells));
        }
        // Nothing failed: no part for it.
        if (std::all_of(panel.shares.begin(), panel.shares.end(),
                        [](const auto& r) { return r.back() == 0; })) {
          panel.parts.pop_back();
          for (auto& row : panel.shares) row.pop_back();
        }
        chart.panels.push_back(std::move(panel));
      }
      choices.emplace_back(time_words(t), page::section({"s", "s", "s"}, chart));
    }
    Json s = page::alternatives(
        {"bands",
         "Shares in bands",
         title,
         {batch_.sampled ? "In brackets below: " + level() + " intervals of the shares." : ""}},
        "Shares at", choices);
    s["below"] = page::section({"bands-table", "Numbers", "Numbers"}, table)["data"];
    return s;
  }

  static bool inside(double x, const BatchData::Band& b) {
    return x >= b.low && x < b.high;  // as bands.csv counts
  }

  static std::string capital_of(std::string text) {
    if (!text.empty())
      text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
    return text;
  }

  // ---- Failed runs

  Json failed() const {
    page::Table table{{"Kind of care", "How the run ended", "Runs", "Share", level() + " interval"},
                      {}};
    std::uint64_t all = 0;
    for (const auto& arm : batch_.arms) {
      for (const auto& [status, n] : arm.ends) {
        if (status == static_cast<int>(simulate::RunStatus::finished)) continue;
        all += n;
        const auto e = study::share(n, batch_.runs, batch_.confidence);
        table.rows.push_back(
            {arm.label, std::string(simulate::message(static_cast<simulate::RunStatus>(status))),
             fmt::format("{}", n), per_cent(e.value),
             batch_.sampled ? said(100 * e.low) + " to " + said(100 * e.high) + " %" : ""});
      }
    }
    const std::uint64_t total = batch_.runs * arms();
    const auto e = study::share(all, total, batch_.confidence);
    if (all == 0) {
      page::List list;
      list.items.push_back(fmt::format("All {} runs finished.", total));
      if (batch_.sampled)
        list.items.push_back("A share of failed runs of up to " + per_cent(e.high) +
                             " could still go unseen in so many (" + level() + " interval).");
      return page::section({"failed", "Failed runs", "No run failed"}, list);
    }
    std::vector<std::string> text{
        batch_.statistics
            ? "Figures on this page are those of the runs that finished, as the study asks; a kind "
              "of care whose worst runs failed looks better than it is."
            : "The study does not ask to leave failed runs out, so no figures were made of the "
              "others: that would hide the worst.",
        "Which runs, and when: failed_runs.csv."};
    return page::section(
        {"failed", "Failed runs",
         fmt::format("{} of {} runs failed ({})", all, total, per_cent(e.value)), text},
        table);
  }

  // ---- Who is in it, and what was varied

  static std::string input_label(const BatchData::Input& i) { return varied_in_words(i.path); }

  std::string cohort_title() const {
    for (std::size_t k = 0; k < batch_.inputs.size(); ++k)
      if (const auto& i = batch_.inputs[k]; i.path == "baby.weight" && i.words.empty()) {
        const auto& d = inputs_[k].d;
        const double to_kg = units::to_model("1 " + i.unit, "kg");
        return fmt::format(
            "{} {}, birth weight {} kg in the middle, nine of ten between {} and {} kg",
            batch_.runs, whom_, said(to_kg * quantile(d, middle_one)),
            said(to_kg * quantile(d, low_end)), said(to_kg * quantile(d, high_end)));
      }
    return fmt::format("{} {}", batch_.runs, whom_);
  }

  Json cohort() const {
    page::Distribution chart;
    chart.counted = whom_;
    page::Table words{{"Input", "Values and their shares"}, {}};
    for (std::size_t k = 0; k < batch_.inputs.size(); ++k) {
      const auto& i = batch_.inputs[k];
      if (!i.of_cohort) continue;
      if (i.words.empty()) {
        if (chart.panels.size() == most_outputs) continue;
        chart.panels.push_back({input_label(i),
                                {input_label(i), shown_unit(i.unit)},
                                {{capital_of(whom_), "case:0"}},
                                inputs_[k].bins});
      } else {
        std::string text;
        for (std::size_t w = 0; w < i.words.size(); ++w)
          text += (w ? ", " : "") + yes_no(i.words[w]) + " " +
                  per_cent(inputs_[k].words[w] / static_cast<double>(batch_.runs));
        words.rows.push_back({input_label(i), text});
      }
    }
    if (chart.panels.empty() && words.rows.empty()) return {};
    if (chart.panels.empty()) return page::section({"who", "Who is in it", cohort_title()}, words);
    Json s =
        page::section({"who",
                       "Who is in it",
                       cohort_title(),
                       {"Nobody in it exists: each is drawn by the laws under “Inputs varied”."}},
                      chart);
    if (!words.rows.empty()) s["below"] = page::section({"who-table", "w", "w"}, words)["data"];
    return s;
  }

  static std::string yes_no(const std::string& word) {
    return word == "true" ? "yes" : word == "false" ? "no" : word;
  }

  Json inputs() const {
    page::Table table{
        {"Input", "Drawn from", "Drawn between", "How well known", "Source", "Remark"}, {}};
    for (std::size_t k = 0; k < batch_.inputs.size(); ++k) {
      const auto& i = batch_.inputs[k];
      std::string range = "–";
      if (i.words.empty()) {
        const auto& d = inputs_[k].d;
        range = said(d.least) + " to " + said(d.most) + behind_figure(i.unit);
      }
      const auto told = [&](const char* key) {
        return i.described.is_object() ? i.described.value(key, std::string()) : std::string();
      };
      const std::string law = law_in_words(i.law, !i.words.empty());
      std::string source = told("work");
      if (source.empty()) source = told("source");
      if (source.empty()) source = "none given: assumed";
      table.rows.push_back({input_label(i), law, range, told("grade").empty() ? "–" : told("grade"),
                            source, told("remark")});
    }
    std::string design = batch_.design == "latin-hypercube"
                             ? "a Latin hypercube: each input's range is covered evenly"
                         : batch_.design == "sobol"
                             ? "a Sobol' sequence, which fills the space of inputs evenly"
                         : batch_.design == "full-grid" ? "every combination of the values"
                                                        : "drawn independently at random";
    Json s = page::section(
        {"inputs",
         "Inputs varied",
         fmt::format("{} varied, all others as they are",
                     counted(static_cast<double>(batch_.inputs.size()), "input is", "inputs are")),
         {fmt::format("The {} {} are {}{}.", batch_.runs, whom_, design,
                      batch_.sampled
                          ? fmt::format(" (seed {})", batch_.manifest.at("design").value("seed", 0))
                          : "")}},
        table);
    s["data"]["prose"] = true;
    return s;
  }

  Json numbers() const {
    page::Table table{{"Result", "Time"}, {}};
    for (const auto& arm : batch_.arms) table.head.push_back(arm.label);
    for (std::size_t o = 0; o < batch_.outputs.size(); ++o)
      for (std::size_t t = 0; t < batch_.times.size(); ++t) {
        std::vector<std::string> row{
            words_[o].label + (words_[o].unit.empty() ? "" : ", " + words_[o].unit), time_cell(t)};
        for (std::size_t a = 0; a < arms(); ++a) {
          const auto& d = own(o, a, t).d;
          row.push_back(said(quantile(d, middle_one)) + " (" + said(quantile(d, low_end)) + " to " +
                        said(quantile(d, high_end)) + ")");
        }
        table.rows.push_back(std::move(row));
      }
    return page::section(
        {"numbers", "Bare numbers", "Every result: median, and 5 to 95 % of the " + whom_}, table);
  }

  Json limits() const {
    std::vector<std::string> more{
        "The babies are drawn by laws, not taken from records; the laws are partly assumed.",
        "Bands and distributions show how far the inputs that were varied spread the results; "
        "inputs that were not varied, and the form of the model itself, add to that."};
    if (!batch_.sampled)
      more.push_back(
          "A full grid is no sample of babies: its shares say how much of the grid lies where.");
    return limits_section(more);
  }

  Json origin() const {
    page::Table table{{"What", ""}, {}};
    table.rows.push_back({"Computed by", made_by()});
    table.rows.push_back({"Study", batch_.manifest.value("study", "")});
    table.rows.push_back({"Numbers", std::string("runs.nc (every run), summary.csv, ") +
                                         (arms() > 1 ? "differences.csv, " : "") +
                                         (batch_.series.empty() ? "" : "series.nc (over time), ") +
                                         "study.yaml, cases (as understood)"});
    table.rows.push_back(
        {"One run again", "serosa case STUDY --run NUMBER --arm NAME writes its case file"});
    return page::section(
        {"origin", "Where this page comes from",
         "Made from the data files of its folder, and can be made again from them"},
        table);
  }

  const BatchData& batch_;
  std::vector<OutputInWords> words_;
  std::vector<OutputFigures> figures_;  ///< by output; empty without statistics
  std::vector<InputFigures> inputs_;
  std::string whom_;
};

}  // namespace

PageData page_of_batch(const std::filesystem::path& folder) {
  const BatchData batch(folder);
  return SweepPage(batch).page();
}

}  // namespace serosa::runner

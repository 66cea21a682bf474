// SPDX-License-Identifier: Apache-2.0
#include "files/review_results.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "files/csv.hpp"
#include "files/netcdf.hpp"

namespace serosa::files {

namespace judgement = study::judgement;
using study::paired_difference;
using study::place;
using study::summarise;
using study::judgement_list;

namespace {

/// Birth weights, kg.
std::vector<double> weights_of(const study::Study& s) {
  const auto varied = std::find_if(s.inputs.begin(), s.inputs.end(),
                                   [](const auto& i) { return i.path == "baby.weight"; });
  if (varied == s.inputs.end())
    return std::vector<double>(s.runs(), s.arms.front().scenes.front().c.baby.weight / 1000.0);
  const auto j = static_cast<std::size_t>(varied - s.inputs.begin());
  study::Drawer drawer(s);
  std::vector<double> values, weights;
  for (std::uint64_t run = 0; run < s.runs(); ++run) {
    drawer.draw(run, values);
    weights.push_back(values[j] / 1000.0);
  }
  return weights;
}

std::array<double, 3> levels_of(std::vector<double> values) {
  std::erase_if(values, [](double x) { return std::isnan(x); });
  if (values.empty()) return {std::nan(""), std::nan(""), std::nan("")};
  std::sort(values.begin(), values.end());
  const auto at = [&](double q) {
    const double where = q * static_cast<double>(values.size() - 1);
    const auto below = static_cast<std::size_t>(where);
    const double next = values[std::min(below + 1, values.size() - 1)];
    return values[below] + (where - static_cast<double>(below)) * (next - values[below]);
  };
  return {at(0.05), at(0.5), at(0.95)};
}

/// The courses of all babies under one arm, output by output: times × babies.
struct ArmTable {
  std::array<std::vector<double>, place(study::Followed::count)> series;
  std::array<std::vector<double>, place(study::AtEnd::count)> end;
  std::vector<double> status;

  ArmTable(const Blocks& blocks, std::size_t arm) {
    const auto& layout = blocks.layout();
    const auto n = static_cast<std::size_t>(layout.runs);
    const auto column = [&](std::size_t which, double* to) {
      blocks.read(which, 0, std::span(to, n));
    };
    for (std::size_t o = 0; o < series.size(); ++o) {
      series[o].resize(layout.series_times * n);
      for (std::size_t t = 0; t < layout.series_times; ++t)
        column(layout.series(arm, o, t), series[o].data() + t * n);
    }
    for (std::size_t o = 0; o < end.size(); ++o) {
      end[o].resize(n);
      column(layout.value(arm, o, layout.times - 1), end[o].data());
    }
    status.resize(n);
    column(layout.fixed(arm, study::Layout::status), status.data());
  }
};

std::vector<study::Judgement> judge_arm(const ArmTable& table, const std::vector<double>& weights,
                                      const ReviewFile& review, const std::vector<double>& times) {
  const std::size_t n = weights.size();
  std::vector<study::Judgement> all(n);
  std::array<std::vector<double>, place(study::Followed::count)> one;
  for (auto& s : one) s.resize(times.size());
  for (std::size_t i = 0; i < n; ++i) {
    study::Course c{times, {}, {}, weights[i]};
    for (std::size_t o = 0; o < one.size(); ++o) {
      for (std::size_t t = 0; t < times.size(); ++t) one[o][t] = table.series[o][t * n + i];
      c.series[o] = one[o];
    }
    for (std::size_t o = 0; o < c.end.size(); ++o) c.end[o] = table.end[o][i];
    all[i] = judge(c, review.bands, review.utility);
  }
  return all;
}

ReviewResult::Courses courses_of(const ArmTable& table, const std::vector<double>& weights,
                                 std::size_t times) {
  const auto course = [&](study::Followed which) {
    std::vector<std::array<double, 3>> levels;
    std::vector<double> values(weights.size());
    for (std::size_t t = 0; t < times; ++t) {
      for (std::size_t i = 0; i < values.size(); ++i)
        values[i] = table.series[place(which)][t * values.size() + i] / weights[i];
      levels.push_back(levels_of(values));
    }
    return levels;
  };
  return {course(study::Followed::circulating_deficit), course(study::Followed::external_deficit),
          course(study::Followed::charted_deficit)};
}

void rank(const ReviewFile& review, ReviewResult& r) {
  const double confidence = review.study.study.confidence;
  const std::size_t n = r.verdicts.front().size();
  // Each baby's mean over the covers stands in the place of its utility.
  std::vector<std::vector<study::Judgement>> mean(review.protocols.size());
  std::vector<double> value;
  for (std::size_t p = 0; p < mean.size(); ++p) {
    mean[p].resize(n);
    for (std::size_t i = 0; i < n; ++i) {
      double sum = 0;
      for (std::size_t c = 0; c < review.covers.size(); ++c)
        sum += r.verdicts[review.arm(p, c)][i][judgement::utility];
      mean[p][i].fill(std::nan(""));
      mean[p][i][judgement::utility] = sum / static_cast<double>(review.covers.size());
    }
    r.ranking.push_back({p, summarise(mean[p], confidence)[judgement::utility], {}});
  }
  std::stable_sort(r.ranking.begin(), r.ranking.end(), [](const auto& a, const auto& b) {
    return a.utility.value > b.utility.value ||
           (std::isnan(b.utility.value) && !std::isnan(a.utility.value));
  });
  for (auto& one : r.ranking)
    one.less_best = paired_difference(mean[one.protocol], mean[r.ranking.front().protocol],
                                      judgement::utility, confidence);
}

void head(CsvWriter& csv, std::initializer_list<const char*> cells) {
  for (const char* cell : cells) csv.text(cell);
  csv.end_row();
}

std::string method(const study::JudgementInfo& info) {
  return info.is_share ? "share of babies, interval by Wilson 1927"
                       : "mean over babies, interval by Student 1908";
}

}  // namespace

ReviewResult evaluate(const ReviewFile& review, const Blocks& blocks) {
  const auto& s = review.study.study;
  ReviewResult r;
  r.times = s.series_times;
  const auto weights = weights_of(s);
  for (std::size_t a = 0; a < s.arms.size(); ++a) {
    const ArmTable table(blocks, a);
    r.failed += static_cast<std::uint64_t>(
        std::count_if(table.status.begin(), table.status.end(), [](double x) { return x != 0; }));
    r.verdicts.push_back(judge_arm(table, weights, review, r.times));
    r.courses.push_back(courses_of(table, weights, r.times.size()));
    r.arms.push_back(summarise(r.verdicts.back(), s.confidence));
  }
  if (!review.corridor) rank(review, r);
  return r;
}

std::string review_csv(const ReviewFile& review, const ReviewResult& result) {
  CsvWriter csv;
  head(csv, {"protocol", "cover", "verdict", "meaning", "unit", "value", "low", "high", "method",
             "note"});
  for (std::size_t c = 0; c < review.covers.size(); ++c)
    for (std::size_t p = 0; p < review.protocols.size(); ++p)
      for (std::size_t v = 0; v < judgement::count; ++v) {
        const auto& e = result.arms[review.arm(p, c)][v];
        const auto& info = judgement_list[v];
        csv.text(review.protocols[p].name).text(review.covers[c]).text(info.name);
        csv.text(info.meaning).text(info.unit).number(e.value).number(e.low).number(e.high);
        csv.text(method(info)).text(exploration).end_row();
      }
  return csv.bytes();
}

std::string ranking_csv(const ReviewFile& review, const ReviewResult& result) {
  CsvWriter csv;
  head(csv, {"rank", "protocol", "title", "stands for", "source", "utility", "low", "high",
             "less the first in rank", "low of that", "high of that", "method", "note"});
  for (std::size_t i = 0; i < result.ranking.size(); ++i) {
    const auto& r = result.ranking[i];
    const auto& p = review.protocols[r.protocol];
    csv.number(static_cast<double>(i + 1)).text(p.name).text(p.title).text(p.stands_for);
    csv.text(p.source);
    csv.number(r.utility.value).number(r.utility.low).number(r.utility.high);
    csv.number(r.less_best.value).number(r.less_best.low).number(r.less_best.high);
    csv.text("mean over babies and covers, interval by Student 1908").text(exploration).end_row();
  }
  return csv.bytes();
}

std::string chart_csv(const ReviewFile& review, const ReviewResult& result) {
  CsvWriter csv;
  head(csv, {"arm", "time [h]", "deficit", "5 % of babies [mL/kg]", "middle [mL/kg]",
             "95 % of babies [mL/kg]"});
  const auto rows = [&](const std::string& arm, const char* what, const auto& levels) {
    for (std::size_t t = 0; t < result.times.size(); ++t)
      csv.text(arm)
          .number(result.times[t])
          .text(what)
          .number(levels[t][0])
          .number(levels[t][1])
          .number(levels[t][2])
          .end_row();
  };
  for (std::size_t a = 0; a < result.courses.size(); ++a) {
    const auto& name = review.study.study.arms[a].name;
    rows(name, "charted", result.courses[a].charted);
    rows(name, "all routes", result.courses[a].external);
    rows(name, "circulating", result.courses[a].circulating);
  }
  return csv.bytes();
}

std::string corridor_csv(const ReviewFile& review, const ReviewResult& result) {
  const Corridor& c = *review.corridor;
  CsvWriter csv;
  csv.text(c.x.label).text(c.y.label);
  head(csv, {"verdict", "meaning", "unit", "value", "low", "high", "method", "note"});
  for (std::size_t iy = 0; iy < c.y.values.size(); ++iy)
    for (std::size_t ix = 0; ix < c.x.values.size(); ++ix)
      for (std::size_t v = 0; v < judgement::count; ++v) {
        const auto& e = result.arms[c.arm(ix, iy)][v];
        const auto& info = judgement_list[v];
        csv.text(c.x.values[ix]).text(c.y.values[iy]).text(info.name).text(info.meaning);
        csv.text(info.unit).number(e.value).number(e.low).number(e.high).text(method(info));
        csv.text(exploration).end_row();
      }
  return csv.bytes();
}

void write_review_nc(const std::filesystem::path& path, const ReviewFile& review,
                     const ReviewResult& result, const BuildInfo& build) {
  const auto& s = review.study.study;
  NetcdfWriter file(path);
  const auto arm = file.dimension("arm", s.arms.size());
  const auto run = file.dimension("run", s.runs());
  const auto names = file.texts("arm", {arm});
  const auto titles = file.texts("arm_title", {arm});
  std::vector<NetcdfWriter::Variable> variables;
  for (const auto& info : judgement_list) {
    variables.push_back(file.doubles(std::string(info.name), {arm, run}));
    file.attribute(variables.back(), "long_name", std::string(info.meaning));
    file.attribute(variables.back(), "units", std::string(info.unit));
  }
  const auto whole = NetcdfWriter::whole_file;
  file.attribute(whole, "Conventions", "CF-1.10");
  file.attribute(whole, "title", s.title);
  file.attribute(whole, "source", "serosa " + build.version + ", source " + build.commit);
  file.attribute(whole, "comment", std::string(exploration) + " " + std::string(caution));
  file.end_definitions();
  std::vector<std::string> words, long_words;
  for (const auto& a : s.arms) words.push_back(a.name), long_words.push_back(a.title);
  file.put(names, words);
  file.put(titles, long_words);
  for (std::size_t v = 0; v < judgement::count; ++v) {
    std::vector<double> values;
    for (const auto& babies : result.verdicts)
      for (const auto& baby : babies) values.push_back(baby[v]);
    file.put(variables[v], values);
  }
  file.close();
}

}  // namespace serosa::files

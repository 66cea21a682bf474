// SPDX-License-Identifier: Apache-2.0
#include "runner/page_section.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include "runner/build_info.hpp"
#include "runner/text_table.hpp"

namespace serosa::runner::page {

namespace {

using Json = PageData;

void agree(const About& about, std::size_t found, std::size_t wanted, const char* what) {
  if (found != wanted)
    throw std::logic_error("section " + about.id + ": " + std::to_string(found) + " " + what +
                           " where " + std::to_string(wanted) + " belong");
}

void named(const About& about, const std::string& label) {
  if (label.empty()) throw std::logic_error("section " + about.id + ": an axis without a label");
}

Json opened(const About& about, const char* kind, Json data) {
  named(about, about.id);
  named(about, about.topic);
  Json s = page_section(about.id, kind, about.topic, about.title, about.text);
  s["data"] = std::move(data);
  return s;
}

Json axis(const About& about, const Axis& a) {
  named(about, a.label);
  Json json{{"label", a.label}, {"unit", a.unit}};
  if (a.logarithmic) json["log"] = true;
  return json;
}

Json references(const std::vector<Reference>& list) {
  Json json = Json::array();
  for (const auto& r : list) json.push_back({{"value", r.value}, {"label", r.label}});
  return json;
}

/// 1, 2, 2.5 or 5 times a power of ten, not below x.
double round_step(double x) {
  const double power = std::pow(10, std::floor(std::log10(x)));
  for (const double digit : {1.0, 2.0, 2.5, 5.0})
    if (digit * power >= x * (1 - 1e-9)) return digit * power;
  return 10 * power;
}

}  // namespace

PageData section(const About& about, const Bands& chart) {
  const std::size_t count = chart.times.size();
  Json panels = Json::array();
  for (const auto& panel : chart.panels) {
    named(about, panel.unit);
    Json series = Json::array();
    for (const auto& course : panel.courses) {
      agree(about, course.middle.size(), count, "values of a course");
      Json bands = Json::array();
      for (const auto& band : course.bands) {
        agree(about, band.low.size(), count, "lower ends of a band");
        agree(about, band.high.size(), count, "upper ends of a band");
        bands.push_back({{"label", band.label}, {"low", band.low}, {"high", band.high}});
      }
      series.push_back({{"label", course.label},
                        {"style", course.style},
                        {"scale", 1},
                        {"values", course.middle},
                        {"bands", bands}});
    }
    Json ranges = Json::array();
    for (const auto& r : panel.ranges)
      ranges.push_back({{"low", r.low}, {"high", r.high}, {"label", r.label}});
    panels.push_back({{"title", panel.title},
                      {"unit", panel.unit},
                      {"series", series},
                      {"ranges", ranges},
                      {"references", references(panel.references)}});
  }
  Json data{{"times", chart.times}, {"panels", panels}};
  if (chart.same_scale) data["same_scale"] = true;
  if (chart.zero) data["zero"] = true;
  return opened(about, "bands", std::move(data));
}

std::vector<double> bin_edges(const std::vector<Reach>& samples, std::size_t about) {
  double low = HUGE_VAL, high = -HUGE_VAL, inner_low = HUGE_VAL, inner_high = -HUGE_VAL;
  for (const auto& s : samples) {
    if (std::isnan(s.least)) continue;
    low = std::min(low, s.least);
    high = std::max(high, s.most);
    inner_low = std::min(inner_low, s.inner_low);
    inner_high = std::max(inner_high, s.inner_high);
  }
  if (!(low <= high)) return {};
  // A few runs far out would press all others into one bin.
  const double inner = inner_high - inner_low;
  if (inner > 0 && low < inner_low - inner / 2) low = inner_low;
  if (inner > 0 && high > inner_high + inner / 2) high = inner_high;
  const double span = high > low ? high - low : std::max(std::abs(high), 1.0) * 0.1;
  const double width = round_step(span / static_cast<double>(std::max<std::size_t>(about, 1)));
  const double first = std::floor(low / width + 1e-9);
  const auto bins = static_cast<std::size_t>(std::floor(high / width - first + 1e-9)) + 1;
  std::vector<double> edges;
  for (std::size_t i = 0; i <= bins; ++i) edges.push_back((first + static_cast<double>(i)) * width);
  return edges;
}

namespace {

/// The number between the two halves of a sample without NaN; the sample is put in another order.
double median(std::vector<double>& sample) {
  if (sample.empty()) return missing;
  const auto middle = sample.begin() + static_cast<std::ptrdiff_t>(sample.size() / 2);
  std::nth_element(sample.begin(), middle, sample.end());
  if (sample.size() % 2 == 1) return *middle;
  return (*middle + *std::max_element(sample.begin(), middle)) / 2;
}

}  // namespace

void count_in_bins(const std::vector<double>& edges, std::span<const double> piece,
                   Binned::Sample& sample) {
  if (edges.empty()) {
    sample.missing += static_cast<double>(piece.size());
    return;
  }
  const std::size_t bins = edges.size() - 1;
  sample.counts.resize(bins, 0);
  const double first = edges.front(),
               per_width = static_cast<double>(bins) / (edges.back() - first);
  for (const double x : piece) {
    if (!std::isfinite(x)) {
      ++sample.missing;
    } else if (x < first) {
      ++sample.below;
    } else if (x >= edges.back()) {
      ++sample.above;
    } else {
      // The bin whose edges hold it, whatever the division rounds to.
      auto bin = std::min(static_cast<std::size_t>((x - first) * per_width), bins - 1);
      while (x < edges[bin]) --bin;
      while (x >= edges[bin + 1]) ++bin;
      ++sample.counts[bin];
    }
  }
}

Binned binned(const std::vector<std::vector<double>>& samples, std::size_t about) {
  std::vector<Reach> reaches;
  for (const auto& sample : samples) {
    std::vector<double> sorted;
    std::copy_if(sample.begin(), sample.end(), std::back_inserter(sorted),
                 [](double x) { return std::isfinite(x); });
    if (sorted.empty()) continue;
    std::sort(sorted.begin(), sorted.end());
    const auto at = [&](double share) {
      return sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1) + 0.5)];
    };
    reaches.push_back({sorted.front(), sorted.back(), at(0.001), at(0.999)});
  }
  Binned result{bin_edges(reaches, about), {}};
  for (const auto& sample : samples) {
    std::vector<double> finite;
    std::copy_if(sample.begin(), sample.end(), std::back_inserter(finite),
                 [](double x) { return std::isfinite(x); });
    Binned::Sample counted;
    count_in_bins(result.edges, sample, counted);
    counted.median = median(finite);
    result.samples.push_back(std::move(counted));
  }
  return result;
}

PageData section(const About& about, const Distribution& chart) {
  Json panels = Json::array();
  for (const auto& panel : chart.panels) {
    agree(about, panel.bins.samples.size(), panel.series.size(), "samples");
    Json series = Json::array();
    for (std::size_t k = 0; k < panel.series.size(); ++k) {
      const auto& sample = panel.bins.samples[k];
      if (!panel.bins.edges.empty())
        agree(about, sample.counts.size() + 1, panel.bins.edges.size(), "edges of bins");
      series.push_back({{"label", panel.series[k].label},
                        {"style", panel.series[k].style},
                        {"counts", sample.counts},
                        {"below", sample.below},
                        {"above", sample.above},
                        {"missing", sample.missing},
                        {"median", sample.median}});
    }
    panels.push_back({{"title", panel.title},
                      {"axis", axis(about, panel.axis)},
                      {"edges", panel.bins.edges},
                      {"series", series},
                      {"references", references(panel.references)}});
  }
  return opened(about, "distribution", {{"panels", panels}, {"counted", chart.counted}});
}

PageData section(const About& about, const Intervals& chart) {
  Json panels = Json::array();
  for (const auto& panel : chart.panels) {
    Json series = Json::array();
    for (const auto& of : panel.series) {
      agree(about, of.points.size(), panel.categories.size(), "points of a series");
      Json points = Json::array();
      for (const auto& p : of.points) {
        if (std::isnan(p.value)) {
          points.push_back(nullptr);
          continue;
        }
        Json point{{"value", p.value}, {"low", p.low}, {"high", p.high}};
        if (of.hollow ||
            (panel.hollow && !panel.references.empty() && p.low <= panel.references[0].value &&
             panel.references[0].value <= p.high))
          point["hollow"] = true;
        points.push_back(point);
      }
      series.push_back({{"label", of.label}, {"style", of.style}, {"points", points}});
    }
    panels.push_back({{"title", panel.title},
                      {"axis", axis(about, panel.axis)},
                      {"categories", panel.categories},
                      {"series", series},
                      {"references", references(panel.references)}});
    if (panel.together) panels.back()["together"] = true;
  }
  return opened(about, "intervals", {{"panels", panels}});
}

PageData section(const About& about, const Map& chart) {
  Json panels = Json::array();
  for (const auto& panel : chart.panels) {
    const std::size_t cells = panel.xs.size() * panel.ys.size();
    agree(about, panel.values.size(), cells, "values of a map");
    if (!panel.marked.empty()) agree(about, panel.marked.size(), cells, "marks of a map");
    Json json{{"title", panel.title},
              {"x", axis(about, panel.x)},
              {"y", axis(about, panel.y)},
              {"value", axis(about, panel.value)},
              {"xs", panel.xs},
              {"ys", panel.ys},
              {"values", panel.values},
              {"levels", references(panel.levels)}};
    if (!panel.marked.empty()) {
      Json marked = Json::array();
      for (std::size_t i = 0; i < cells; ++i)
        if (panel.marked[i]) marked.push_back(i);
      json["marked"] = marked;
      json["marked_means"] = panel.marked_means;
    }
    if (!std::isnan(panel.centre)) json["centre"] = panel.centre;
    panels.push_back(std::move(json));
  }
  return opened(about, "map", {{"panels", panels}});
}

PageData section(const About& about, const Points& chart) {
  Json panels = Json::array();
  for (const auto& panel : chart.panels) {
    Json series = Json::array();
    for (const auto& of : panel.series) {
      Json points = Json::array();
      for (const auto& p : of.points) {
        Json point{{"x", p.x}, {"y", p.y}};
        if (!p.label.empty()) point["label"] = p.label;
        const auto end = [&](const char* name, double value) {
          if (!std::isnan(value)) point[name] = value;
        };
        end("x_low", p.x_low);
        end("x_high", p.x_high);
        end("y_low", p.y_low);
        end("y_high", p.y_high);
        if (p.hollow) point["hollow"] = true;
        points.push_back(std::move(point));
      }
      Json one{{"label", of.label}, {"style", of.style}, {"points", points}};
      if (of.joined) one["joined"] = true;
      series.push_back(std::move(one));
    }
    Json lines = Json::array();
    for (const auto& line : panel.lines)
      lines.push_back({{"slope", line.slope}, {"offset", line.offset}, {"label", line.label}});
    panels.push_back({{"title", panel.title},
                      {"x", axis(about, panel.x)},
                      {"y", axis(about, panel.y)},
                      {"series", series},
                      {"at_x", references(panel.at_x)},
                      {"at_y", references(panel.at_y)},
                      {"lines", lines}});
  }
  return opened(about, "points", {{"panels", panels}, {"head", chart.head}});
}

PageData section(const About& about, const Shares& chart) {
  Json panels = Json::array();
  for (const auto& panel : chart.panels) {
    agree(about, panel.shares.size(), panel.categories.size(), "rows of shares");
    Json parts = Json::array();
    for (const auto& part : panel.parts)
      parts.push_back({{"label", part.label}, {"style", part.style}});
    for (const auto& row : panel.shares)
      agree(about, row.size(), panel.parts.size(), "shares of a row");
    panels.push_back({{"title", panel.title},
                      {"categories", panel.categories},
                      {"parts", parts},
                      {"shares", panel.shares}});
  }
  return opened(about, "shares", {{"panels", panels}, {"counted", chart.counted}});
}

PageData section(const About& about, const List& list) {
  return opened(about, "list", {{"items", list.items}});
}

PageData section(const About& about, const Table& table) {
  Json rows = Json::array();
  for (const auto& row : table.rows) {
    agree(about, row.size(), table.head.size(), "cells of a row");
    rows.push_back({{"cells", row}});
  }
  return opened(about, "table", {{"head", table.head}, {"rows", rows}, {"text", table.text}});
}

PageData alternatives(const About& about, const std::string& choice,
                      const std::vector<std::pair<std::string, PageData>>& sections) {
  Json list = Json::array();
  for (const auto& [label, section] : sections)
    list.push_back({{"label", label}, {"text", section.at("text")}, {"data", section.at("data")}});
  agree(about, std::min<std::size_t>(sections.size(), 1), 1, "alternatives");
  return opened(about, sections.front().second.at("kind").get<std::string>().c_str(),
                {{"choice", choice}, {"alternatives", list}});
}

PageData document(const std::string& title, const std::string& question) {
  const auto build = build_info();
  return {{"format", 1},
          {"title", title},
          {"question", question},
          {"caution", files::caution},
          {"made_by", "serosa " + build.version + ", source " + build.commit},
          {"cases", Json::array()},
          {"sections", Json::array()}};
}

void write(files::ResultsFolder& folder, const PageData& page) {
  folder.write("page.json", page.dump(-1, ' ', false, PageData::error_handler_t::replace) + "\n");
  folder.write("report.html", page_html(page));
}

std::string said(double x) {
  std::string text = figure(x);
  if (text == "-") return "–";
  if (text.size() > 1 && text[0] == '-') text.replace(0, 1, "−");
  return text;
}

std::string said(const Interval& x) {
  return said(x.value) + " (" + said(x.low) + " to " + said(x.high) + ")";
}

}  // namespace serosa::runner::page

// SPDX-License-Identifier: Apache-2.0
// What a command puts on its page: plain numbers in, a section with its charts out.
//
//   namespace page = serosa::runner::page;
//   page::Intervals dots{{"Water lost by 2 h", {"Difference from wrapped late", "mL/kg"}, {"Wrapped
//   early", "Left exposed"}}}; dots.panels[0].series.push_back({"All babies", "case:0", {{-12.1,
//   -14.2, -10.3}, {8.4, 7.0, 9.9}}}); PageData one = page::document("When to wrap", "How much is
//   lost by waiting?"); one["sections"].push_back(page::section({"lost", "Water lost", "Wrapped
//   early: 12 mL/kg less"}, dots)); page::write(results_folder, one);   // page.json and
//   report.html
//
// Every text is for people: no name of a variable, every axis with its unit. Missing values are
// NaN. A `style` names a colour with its dashes: `case:0`, `case:1` … for arms and inputs in their
// order, or a route, store or deficit of `runner/page/source/colours.js`.
#pragma once
#include <array>
#include <limits>
#include <span>
#include <string>
#include <vector>

#include "files/results_folder.hpp"
#include "runner/page.hpp"

namespace serosa::runner::page {

inline constexpr double missing = std::numeric_limits<double>::quiet_NaN();

/// What every section has: `id` (letters, digits and hyphens, one of its kind on the page), what it
/// is about, what it found, and paragraphs below the title.
struct About {
  std::string id, topic, title;
  std::vector<std::string> text = {};
};

/// An axis: what it shows and in which unit. An empty unit is for pure numbers whose label says so.
struct Axis {
  std::string label, unit;
  bool logarithmic = false;
};

/// A line across a chart at a value that means something, with its name.
struct Reference {
  double value;
  std::string label;
};

/// A range with a name, drawn behind the lines: a class of temperature, a published band. An open
/// end is NaN.
struct Range {
  double low, high;
  std::string label;
};

// ---- bands: medians with quantile bands, or estimates with their intervals, over time

/// `low` and `high` have one value per time. The widest band comes first.
struct Band {
  std::string label;  ///< `5 to 95 % of babies`
  std::vector<double> low, high;
};
struct Course {
  std::string label, style;
  std::vector<double> middle;  ///< one value per time
  std::vector<Band> bands = {};
};
struct CoursePanel {
  std::string title, unit;
  std::vector<Course> courses;
  std::vector<Range> ranges = {};
  std::vector<Reference> references = {};
};
struct Bands {
  std::vector<double> times;  ///< h
  std::vector<CoursePanel> panels;
  bool same_scale = false;  ///< all panels on one axis, so that they can be held side by side
  bool zero = false;        ///< the axis reaches nought
};

// ---- distribution: how many runs lie where, in bins

/// Bins of equal width with round edges that all samples share. Of samples with far outliers the
/// bins hold the middle 99.8 %; what lies outside is counted in `below` and `above`.
struct Binned {
  std::vector<double> edges;
  struct Sample {
    std::vector<double> counts;  ///< one fewer than edges
    double below = 0, above = 0, missing = 0;
    double median = std::numeric_limits<double>::quiet_NaN();
  };
  std::vector<Sample> samples;
};
Binned binned(const std::vector<std::vector<double>>& samples, std::size_t about = 30);
/// The same in two steps, for samples too long to be held: where a sample lies (its ends and the
/// middle 99.8 %), and its numbers counted piece by piece.
struct Reach {
  double least, most, inner_low, inner_high;
};
std::vector<double> bin_edges(const std::vector<Reach>& samples, std::size_t about = 30);
/// Counts a piece of a sample; its median is for the caller to add.
void count_in_bins(const std::vector<double>& edges, std::span<const double> piece,
                   Binned::Sample& sample);

struct Histogram {
  std::string label, style;
};
struct DistributionPanel {
  std::string title;
  Axis axis;
  std::vector<Histogram> series;  ///< one per sample
  Binned bins;
  std::vector<Reference> references = {};
};
struct Distribution {
  std::vector<DistributionPanel> panels;
  std::string counted = "runs";  ///< what is counted: `babies`, `runs`
};

// ---- intervals: a dot with its interval for each category, by series

struct Interval {
  double value = missing, low = missing, high = missing;
};
struct IntervalSeries {
  std::string label, style;
  std::vector<Interval> points;  ///< one per category; NaN where there is none
  bool hollow = false;           ///< all its dots are hollow
};
struct IntervalPanel {
  std::string title;
  Axis axis;
  std::vector<std::string> categories;
  std::vector<IntervalSeries> series = {};
  /// With a reference, dots whose interval holds it are hollow: they cannot be told from it.
  std::vector<Reference> references = {};
  bool hollow = true;
  bool together = false;  ///< all series of a category on one line, over each other
};
struct Intervals {
  std::vector<IntervalPanel> panels;
};

// ---- map: a result over two inputs

struct MapPanel {
  std::string title;
  Axis x, y;
  Axis value;
  std::vector<double> xs, ys;          ///< rising
  std::vector<double> values;          ///< ys × xs, row by row; NaN where no run finished
  std::vector<Reference> levels = {};  ///< contours
  std::vector<bool> marked = {};       ///< ys × xs, or empty; marked cells carry a dot
  std::string marked_means = {};       ///< `inside every band`
  double centre = missing;  ///< a value that the colours part at, such as 0; NaN: light to dark
};
struct Map {
  std::vector<MapPanel> panels;
};

// ---- points: a plane of dots, labelled

struct Point {
  double x, y;
  std::string label = {};
  double x_low = missing, x_high = missing, y_low = missing, y_high = missing;
  bool hollow = false;
};
struct PointSeries {
  std::string label, style;
  std::vector<Point> points;
  bool joined = false;  ///< a line from dot to dot in their order
};
struct PointPanel {
  std::string title;
  Axis x, y;
  std::vector<PointSeries> series;
  std::vector<Reference> at_x = {}, at_y = {};
  /// Straight lines y = slope · x + offset (on logarithmic axes log10 y = slope · log10 x +
  /// offset).
  struct Line {
    double slope, offset;
    std::string label;
  };
  std::vector<Line> lines = {};
};
struct Points {
  std::vector<PointPanel> panels;
  std::string head = "Name";  ///< of the labels, in the table behind
};

// ---- shares: bars of 100 %

/// `under`, `inside`, `over` and `failed` are styles with colours of their own.
struct Part {
  std::string label, style;
};
struct SharePanel {
  std::string title;
  std::vector<std::string> categories;
  std::vector<Part> parts;
  std::vector<std::vector<double>> shares;  ///< categories × parts, 0 to 1, each row adds up to 1
};
struct Shares {
  std::vector<SharePanel> panels;
  std::string counted = "babies";
};

// ---- text

struct List {
  std::vector<std::string> items;
};
struct Table {
  std::vector<std::string> head;
  std::vector<std::vector<std::string>> rows;
  bool text = true;  ///< cells are words, not figures
};

/// Sections. Each throws std::logic_error when lengths do not agree or an axis has no label: a
/// fault of the command, never of its user.
PageData section(const About&, const Bands&);
PageData section(const About&, const Distribution&);
PageData section(const About&, const Intervals&);
PageData section(const About&, const Map&);
PageData section(const About&, const Points&);
PageData section(const About&, const Shares&);
PageData section(const About&, const List&);
PageData section(const About&, const Table&);

/// Several sections of one kind as one, of which a reader chooses: `choice` says what between
/// (`At`), each label which (`2 h`); the last one shows first.
PageData alternatives(const About&, const std::string& choice,
                      const std::vector<std::pair<std::string, PageData>>& sections);

/// A page without sections, with the caution and the program's version.
PageData document(const std::string& title, const std::string& question);

/// Writes `page.json` and `report.html`. `serosa page FOLDER` makes the page of a folder with a
/// `page.json` again from it.
void write(files::ResultsFolder& folder, const PageData& page);

/// Figures of sentences: three significant digits and a true minus sign; `–` for NaN.
std::string said(double x);
/// `12.0 (10.1 to 14.2)`.
std::string said(const Interval& x);

}  // namespace serosa::runner::page

// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>

#include "files/document.hpp"
#include "files/problems.hpp"

namespace serosa::files {

/// One work of the bibliography.
struct Reference {
  std::string key;
  std::string type;                           ///< article, book, …, in lower case
  std::map<std::string, std::string> fields;  ///< names in lower case; braces taken off
  Origin origin;

  /// The field, or an empty text.
  std::string field(std::string_view name) const;
  /// "Landis & Pappenheimer 1963", "Lamke et al. 1977"; of a work whose authors are "(not stated)"
  /// the journal or the title instead. "year not known" where howpublished or booktitle ends so.
  std::string short_citation() const;
  /// Author, year, title, where it appeared, DOI or address, in one line.
  std::string full_citation() const;
};

using Bibliography = std::map<std::string, Reference, std::less<>>;

/// Reads a BibTeX file: entries `@type{key, field = {value}, …}` with values in braces or quotes
/// or bare numbers; lines that begin with % are comments. Strict: reports duplicate keys and
/// fields, unknown entry types, missing title, year or author (editor, organization and institution
/// will do), `@string` and `#`, TeX commands other than \& \% \_ \$ \# (letters stand as
/// themselves, in UTF-8). Reading stops at the first fault of syntax.
std::optional<Bibliography> parse_bibliography(std::shared_ptr<const Source> source,
                                               Problems& problems);
std::optional<Bibliography> read_bibliography(const std::filesystem::path& path, Problems& problems,
                                              const Limits& limits = {});

}  // namespace serosa::files

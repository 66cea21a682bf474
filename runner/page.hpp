// SPDX-License-Identifier: Apache-2.0
// report.html: one file that opens from disk, made from the data files of a run folder alone.
#pragma once
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "runner/page_folder.hpp"

namespace serosa::runner {

/// What a page shows: title, cases and a list of sections, each `{id, kind, topic, title, text,
/// data}`. `kind` names the module of `runner/page/source/kinds` that draws it. DEVELOPERS.md
/// ("The page") lists the kinds with their data.
using PageData = nlohmann::ordered_json;

/// A section without data. `topic` says what it is about, `title` what it found.
PageData page_section(const std::string& id, const std::string& kind, const std::string& topic,
                      const std::string& title, const std::vector<std::string>& text = {});

/// The page of `run` and `compare`.
PageData page_of_runs(const RunFolder& folder);

/// The whole HTML text. Nothing in `data` can become markup or script: it is embedded as JSON
/// without `<`, and the scripts put it into the page as text only. The page's own content-security
/// policy allows its one script and one style by their SHA-256 and nothing else.
std::string page_html(const PageData& data);

/// The page of `sweep` and `merge`. Throws files::InputError for what is no finished batch.
PageData page_of_batch(const std::filesystem::path& folder);

/// The page of a folder, whatever command made it: of its `page.json` where there is one, else of
/// its runs. Throws files::InputError for what is no finished results folder.
PageData page_of_folder(const std::filesystem::path& folder);

/// Reads the folder, whatever command made it, and writes `report.html` into it, over one that is
/// there. Throws files::InputError for what is no finished run folder, files::WriteError.
void write_page(const std::filesystem::path& folder);

}  // namespace serosa::runner

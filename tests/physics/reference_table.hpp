// SPDX-License-Identifier: Apache-2.0
#pragma once
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

/// The rows of tests/physics/reference/`name`, a comment line and a header line left out.
inline std::vector<std::vector<double>> reference_table(const std::string& name) {
  const std::string path = std::string(SEROSA_TESTS) + "/physics/reference/" + name;
  std::ifstream file(path);
  std::string line;
  std::getline(file, line);
  std::getline(file, line);
  std::vector<std::vector<double>> rows;
  while (std::getline(file, line)) {
    std::vector<double> row;
    std::istringstream cells(line);
    for (std::string cell; std::getline(cells, cell, ',');) row.push_back(std::stod(cell));
    rows.push_back(row);
  }
  if (rows.empty()) throw std::runtime_error("no rows in " + path);
  return rows;
}

# SPDX-License-Identifier: Apache-2.0
# What serosa is made of beside its own source: looked up when the build is set up, told by
# `serosa about`, and written as a bill of materials (SPDX 2.3, JSON) into the build folder.

# material(NAME VERSION LICENSE USE TRUST): what it is for, and why it is trusted.
set(MATERIAL_ROWS "")
set(MATERIAL_PACKAGES "")
set(MATERIAL_RELATIONS "")
function(material NAME VERSION LICENSE USE TRUST)
  if(NOT VERSION)
    return()
  endif()
  string(REGEX REPLACE "[^A-Za-z0-9.-]" "-" ID "${NAME}")
  set(MATERIAL_ROWS "${MATERIAL_ROWS}    {\"${NAME}\", \"${VERSION}\", \"${LICENSE}\", \"${USE}\", \"${TRUST}\"},\n"
      PARENT_SCOPE)
  string(APPEND MATERIAL_PACKAGES ",
    {\"SPDXID\": \"SPDXRef-${ID}\", \"name\": \"${NAME}\", \"versionInfo\": \"${VERSION}\",
     \"downloadLocation\": \"NOASSERTION\", \"filesAnalyzed\": false, \"licenseConcluded\": \"${LICENSE}\",
     \"licenseDeclared\": \"${LICENSE}\", \"copyrightText\": \"NOASSERTION\", \"comment\": \"${USE}\"}")
  set(MATERIAL_PACKAGES "${MATERIAL_PACKAGES}" PARENT_SCOPE)
  string(APPEND MATERIAL_RELATIONS ",
    {\"spdxElementId\": \"SPDXRef-serosa\", \"relationshipType\": \"DEPENDS_ON\",
     \"relatedSpdxElement\": \"SPDXRef-${ID}\"}")
  set(MATERIAL_RELATIONS "${MATERIAL_RELATIONS}" PARENT_SCOPE)
endfunction()

find_package(PkgConfig REQUIRED)
function(version_of MODULE RESULT)
  execute_process(COMMAND ${PKG_CONFIG_EXECUTABLE} --modversion ${MODULE}
                  OUTPUT_VARIABLE VERSION OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET)
  set(${RESULT} "${VERSION}" PARENT_SCOPE)
endfunction()

find_package(Boost QUIET)
set(Boost_FOUND_VERSION "${Boost_VERSION_STRING}")
foreach(MODULE yaml-cpp CLI11 fmt nlohmann_json netcdf udunits nlopt)
  version_of(${MODULE} VERSION_${MODULE})
endforeach()

set(REVIEWED "reviewed and distributed by Debian, security fixes through it")
material(Boost "${Boost_FOUND_VERSION}" BSL-1.0 "Odeint steppers, Sobol points, root search"
         "steppers measured for order and against GSL and SciPy in the tests; ${REVIEWED}")
material(yaml-cpp "${VERSION_yaml-cpp}" MIT "syntax of YAML"
         "behind a reader of our own that limits size and depth and refuses aliases, tags and duplicate keys; fuzzed")
material(UDUNITS-2 "${VERSION_udunits}" UCAR "factors between units"
         "behind a white list of symbols and one lock; fuzzed; ${REVIEWED}")
material(NetCDF-C "${VERSION_netcdf}" NetCDF "results"
         "behind one lock; damaged files are tested at every 4 KiB; ${REVIEWED}")
material(CLI11 "${VERSION_CLI11}" BSD-3-Clause "the command line" "header only, ${REVIEWED}")
material(fmt "${VERSION_fmt}" MIT "text of numbers" "header only, ${REVIEWED}")
material(nlohmann-json "${VERSION_nlohmann_json}" MIT "JSON" "header only, ${REVIEWED}")
material(NLopt "${VERSION_nlopt}" MIT "fitting"
         "a fit is compared with SciPy's in the tests; ${REVIEWED}")
if(MPI_C_FOUND)
  material(MPI "${MPI_C_VERSION}" BSD-3-Clause "ranks; a part loaded only under mpirun"
           "results are compared byte for byte with those of one process")
endif()

# What the page's bundle holds, by its lock file; only what is no tool of the build.
file(READ ${CMAKE_CURRENT_SOURCE_DIR}/page/package-lock.json LOCK)
string(JSON COUNT LENGTH "${LOCK}" packages)
math(EXPR LAST "${COUNT} - 1")
foreach(I RANGE 1 ${LAST})
  string(JSON PATH MEMBER "${LOCK}" packages ${I})
  string(JSON DEVELOPMENT ERROR_VARIABLE NONE GET "${LOCK}" packages "${PATH}" dev)
  if(DEVELOPMENT STREQUAL "ON" OR DEVELOPMENT STREQUAL "true")
    continue()
  endif()
  string(JSON VERSION GET "${LOCK}" packages "${PATH}" version)
  string(JSON LICENSE ERROR_VARIABLE NONE GET "${LOCK}" packages "${PATH}" license)
  string(REGEX REPLACE ".*node_modules/" "" NAME "${PATH}")
  material("${NAME}" "${VERSION}" "${LICENSE}" "charts of the page"
           "pinned by checksum; runs in a page whose policy allows no request")
endforeach()

file(CONFIGURE OUTPUT ${CMAKE_CURRENT_BINARY_DIR}/generated/runner/materials.hpp @ONLY CONTENT
"// Generated: what this build is made of.
#pragma once
namespace serosa::runner {
struct Material {
  const char* name;
  const char* version;
  const char* license;  ///< SPDX identifier
  const char* use;
  const char* trust;
};
inline constexpr Material materials[] = {
@MATERIAL_ROWS@};
}  // namespace serosa::runner
")

# Dated by the commit, so that the same commit gives the same bill.
set(CREATED "1970-01-01T00:00:00Z")
set(COMMIT "unknown")
find_program(GIT git)
if(GIT AND EXISTS ${PROJECT_SOURCE_DIR}/.git)
  execute_process(COMMAND ${CMAKE_COMMAND} -E env TZ=UTC ${GIT} -C ${PROJECT_SOURCE_DIR} log -1
                          "--format=%H %cd" "--date=format-local:%Y-%m-%dT%H:%M:%SZ"
                  OUTPUT_VARIABLE FOUND OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET)
  if(FOUND MATCHES "^([0-9a-f]+) (.+)$")
    set(COMMIT "${CMAKE_MATCH_1}")
    set(CREATED "${CMAKE_MATCH_2}")
  endif()
endif()
file(CONFIGURE OUTPUT ${PROJECT_BINARY_DIR}/serosa.spdx.json @ONLY CONTENT
"{
  \"spdxVersion\": \"SPDX-2.3\",
  \"dataLicense\": \"CC0-1.0\",
  \"SPDXID\": \"SPDXRef-DOCUMENT\",
  \"name\": \"serosa-@PROJECT_VERSION@\",
  \"documentNamespace\": \"urn:serosa:@PROJECT_VERSION@:@COMMIT@\",
  \"creationInfo\": {\"created\": \"@CREATED@\", \"creators\": [\"Tool: serosa-build-@PROJECT_VERSION@\"]},
  \"documentDescribes\": [\"SPDXRef-serosa\"],
  \"packages\": [
    {\"SPDXID\": \"SPDXRef-serosa\", \"name\": \"serosa\", \"versionInfo\": \"@PROJECT_VERSION@ @COMMIT@\",
     \"downloadLocation\": \"NOASSERTION\", \"filesAnalyzed\": false, \"licenseConcluded\": \"Apache-2.0\",
     \"licenseDeclared\": \"Apache-2.0\", \"copyrightText\": \"NOASSERTION\"}@MATERIAL_PACKAGES@
  ],
  \"relationships\": [
    {\"spdxElementId\": \"SPDXRef-DOCUMENT\", \"relationshipType\": \"DESCRIBES\",
     \"relatedSpdxElement\": \"SPDXRef-serosa\"}@MATERIAL_RELATIONS@
  ]
}
")
install(FILES ${PROJECT_BINARY_DIR}/serosa.spdx.json DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT runtime)

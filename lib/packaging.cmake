# SPDX-License-Identifier: Apache-2.0
# What `cmake --install` and `cpack` put where: the program with its data files (component runtime),
# the library with its headers and CMake package (component dev).
include(CMakePackageConfigHelpers)

set(SEROSA_INSTALL_MODELS ${CMAKE_INSTALL_DATADIR}/serosa/models)
set(SEROSA_INSTALL_CMAKE ${CMAKE_INSTALL_LIBDIR}/cmake/serosa)

install(DIRECTORY ${PROJECT_SOURCE_DIR}/models/ DESTINATION ${SEROSA_INSTALL_MODELS}
        COMPONENT runtime)
install(FILES ${PROJECT_SOURCE_DIR}/LICENSE ${PROJECT_SOURCE_DIR}/README.md
        DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT runtime)
install(DIRECTORY ${PROJECT_SOURCE_DIR}/lib/ DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/serosa
        COMPONENT dev FILES_MATCHING PATTERN "*.hpp")

set(SEROSA_INSTALLED_ROOMS)
foreach(ROOM units physics baby care simulate study fitting files)
  if(TARGET serosa_${ROOM})
    list(APPEND SEROSA_INSTALLED_ROOMS serosa_${ROOM})
  endif()
endforeach()
install(TARGETS ${SEROSA_INSTALLED_ROOMS} EXPORT serosaTargets
        ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT dev)
install(EXPORT serosaTargets NAMESPACE serosa:: DESTINATION ${SEROSA_INSTALL_CMAKE} COMPONENT dev)
configure_package_config_file(
  ${CMAKE_CURRENT_LIST_DIR}/serosaConfig.cmake.in ${PROJECT_BINARY_DIR}/serosaConfig.cmake
  INSTALL_DESTINATION ${SEROSA_INSTALL_CMAKE} PATH_VARS SEROSA_INSTALL_MODELS)
# Before 1.0 every minor version may change the interface.
write_basic_package_version_file(${PROJECT_BINARY_DIR}/serosaConfigVersion.cmake
                                 COMPATIBILITY SameMinorVersion)
install(FILES ${PROJECT_BINARY_DIR}/serosaConfig.cmake
              ${PROJECT_BINARY_DIR}/serosaConfigVersion.cmake
        DESTINATION ${SEROSA_INSTALL_CMAKE} COMPONENT dev)

# Debian packages: `cpack` in the build folder.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME serosa)
set(CPACK_PACKAGE_VENDOR "the authors of serosa")
set(CPACK_PACKAGE_CONTACT "the authors of serosa <serosa@localhost>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "${PROJECT_DESCRIPTION}")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_VERBATIM_VARIABLES ON)
set(CPACK_COMPONENTS_ALL runtime dev)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_RUNTIME_PACKAGE_NAME serosa)
set(CPACK_DEBIAN_RUNTIME_PACKAGE_SECTION science)
set(CPACK_DEBIAN_RUNTIME_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_DEV_PACKAGE_NAME libserosa-dev)
set(CPACK_DEBIAN_DEV_PACKAGE_SECTION libdevel)
set(CPACK_DEBIAN_DEV_PACKAGE_SHLIBDEPS OFF)
set(CPACK_DEBIAN_DEV_PACKAGE_DEPENDS
    "serosa (= ${PROJECT_VERSION}), libyaml-cpp-dev, libfmt-dev, nlohmann-json3-dev, libnetcdf-dev, libnlopt-dev, libudunits2-dev, pkg-config")
if(TARGET serosa_mpi)
  list(APPEND CPACK_COMPONENTS_ALL mpi)
  set(CPACK_DEBIAN_MPI_PACKAGE_NAME serosa-mpi)
  set(CPACK_DEBIAN_MPI_PACKAGE_SECTION science)
  set(CPACK_DEBIAN_MPI_PACKAGE_SHLIBDEPS ON)
  set(CPACK_DEBIAN_MPI_PACKAGE_DEPENDS "serosa (= ${PROJECT_VERSION})")
endif()
if(TARGET serosa_python)
  list(APPEND CPACK_COMPONENTS_ALL python)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_NAME python3-serosa)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_SECTION python)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_SHLIBDEPS ON)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_DEPENDS
      "serosa (= ${PROJECT_VERSION}), python3, python3-numpy, python3-xarray, python3-netcdf4")
endif()
include(CPack)

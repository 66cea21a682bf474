# SPDX-License-Identifier: Apache-2.0
# One kernel source, compiled for several instruction sets, chosen when the program runs.
#
# serosa_isa_kernel(TARGET SOURCE [USES rooms...] [OPTIONS options...])
#
# Compiles SOURCE once for each of x86-64-v2, v3 and v4 with SEROSA_ISA="v2" … and
# SEROSA_ISA_NAMESPACE=isa_v2 … defined, and adds the objects to TARGET. Each object keeps as
# global symbols only those in its namespace: everything else it defines, such as a template that
# the rest of the program instantiates too, becomes local, so that the linker cannot hand code for
# a newer processor to the rest of the program.
#
# Elsewhere (another processor, another compiler, sanitizers, whose run-time library wants to see
# every symbol) SOURCE is compiled once, with SEROSA_ISA="baseline", as an ordinary source.
#
# TARGET gets SEROSA_ISA_LEVELS=1 or 0 as a private definition, and the paths of its isolated
# objects in the property SEROSA_ISOLATED_KERNELS. A static variable in a header exists once per kernel.

include(CheckCXXCompilerFlag)

set(LEVELS OFF)
if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU" AND CMAKE_SYSTEM_NAME STREQUAL "Linux"
   AND CMAKE_SYSTEM_PROCESSOR MATCHES "^(x86_64|AMD64)$" AND NOT SEROSA_SANITIZE)
  check_cxx_compiler_flag(-march=x86-64-v4 SEROSA_KNOWS_X86_64_LEVELS)
  set(LEVELS ${SEROSA_KNOWS_X86_64_LEVELS})
endif()
set(SEROSA_ISA_LEVELS ${LEVELS} CACHE INTERNAL
    "Whether kernels are compiled for several instruction sets")

function(serosa_isa_kernel TARGET SOURCE)
  cmake_parse_arguments(KERNEL "" "" "USES;OPTIONS" ${ARGN})
  get_filename_component(SOURCE ${SOURCE} ABSOLUTE)
  get_filename_component(STEM ${SOURCE} NAME_WE)
  if(NOT SEROSA_ISA_LEVELS)
    target_sources(${TARGET} PRIVATE ${SOURCE})
    set_property(SOURCE ${SOURCE} APPEND PROPERTY COMPILE_DEFINITIONS
                 SEROSA_ISA="baseline" SEROSA_ISA_NAMESPACE=isa_baseline)
    set_property(SOURCE ${SOURCE} APPEND PROPERTY COMPILE_OPTIONS ${KERNEL_OPTIONS})
    target_compile_definitions(${TARGET} PRIVATE SEROSA_ISA_LEVELS=0)
    return()
  endif()
  target_compile_definitions(${TARGET} PRIVATE SEROSA_ISA_LEVELS=1)
  foreach(LEVEL v2 v3 v4)
    set(PART ${TARGET}_${STEM}_${LEVEL})
    add_library(${PART} OBJECT ${SOURCE})
    set_target_properties(${PART} PROPERTIES POSITION_INDEPENDENT_CODE ON
                          INTERPROCEDURAL_OPTIMIZATION OFF)
    target_link_libraries(${PART} PRIVATE $<BUILD_INTERFACE:serosa_flags>)
    target_include_directories(${PART} PRIVATE
      $<TARGET_PROPERTY:${TARGET},INCLUDE_DIRECTORIES>)
    foreach(USED IN LISTS KERNEL_USES)
      target_link_libraries(${PART} PRIVATE serosa_${USED})
    endforeach()
    target_compile_features(${PART} PRIVATE cxx_std_20)
    target_compile_definitions(${PART} PRIVATE SEROSA_ISA="${LEVEL}"
                               SEROSA_ISA_NAMESPACE=isa_${LEVEL})
    # Without -fno-gnu-unique, tables of std::visit would stay global in every object.
    target_compile_options(${PART} PRIVATE -march=x86-64-${LEVEL} -Wno-psabi -fno-gnu-unique
                           ${KERNEL_OPTIONS})
    set(ALONE ${CMAKE_CURRENT_BINARY_DIR}/${PART}.alone.o)
    add_custom_command(
      OUTPUT ${ALONE}
      COMMAND ${CMAKE_LINKER} -r --force-group-allocation -o ${ALONE} $<TARGET_OBJECTS:${PART}>
      COMMAND ${CMAKE_OBJCOPY} --wildcard --keep-global-symbol=*isa_${LEVEL}* ${ALONE}
      DEPENDS ${PART} $<TARGET_OBJECTS:${PART}>
      COMMENT "Isolating the ${LEVEL} kernel of ${TARGET}"
      COMMAND_EXPAND_LISTS VERBATIM)
    set_source_files_properties(${ALONE} PROPERTIES EXTERNAL_OBJECT ON GENERATED ON)
    target_sources(${TARGET} PRIVATE ${ALONE})
    set_property(TARGET ${TARGET} APPEND PROPERTY SEROSA_ISOLATED_KERNELS ${ALONE})
  endforeach()
endfunction()

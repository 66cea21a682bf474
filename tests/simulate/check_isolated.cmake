# SPDX-License-Identifier: Apache-2.0
# cmake -DNM=… -DOBJDUMP=… "-DOBJECTS=…;…" -P check_isolated.cmake
# Fails when an isolated kernel object still offers a symbol outside its own namespace, or has code
# that runs when the program starts, before the processor has been asked what it can do.
if(NOT OBJECTS)
  message(FATAL_ERROR "no kernel objects were given")
endif()
foreach(OBJECT IN LISTS OBJECTS)
  string(REGEX MATCH "_(v[234])\\.alone\\.o$" IGNORED ${OBJECT})
  set(LEVEL ${CMAKE_MATCH_1})
  execute_process(COMMAND ${NM} --defined-only --extern-only --format=posix ${OBJECT}
                  OUTPUT_VARIABLE SYMBOLS COMMAND_ERROR_IS_FATAL ANY)
  string(REGEX REPLACE "\n$" "" SYMBOLS "${SYMBOLS}")
  string(REPLACE "\n" ";" SYMBOLS "${SYMBOLS}")
  set(OWN 0)
  foreach(SYMBOL IN LISTS SYMBOLS)
    if(NOT SYMBOL MATCHES "^[^ ]*isa_${LEVEL}")
      message(FATAL_ERROR "${OBJECT} offers ${SYMBOL}")
    endif()
    math(EXPR OWN "${OWN} + 1")
  endforeach()
  if(OWN EQUAL 0)
    message(FATAL_ERROR "${OBJECT} offers nothing")
  endif()
  execute_process(COMMAND ${OBJDUMP} --section-headers ${OBJECT}
                  OUTPUT_VARIABLE SECTIONS COMMAND_ERROR_IS_FATAL ANY)
  if(SECTIONS MATCHES "\\.(init_array|ctors|init)")
    message(FATAL_ERROR "${OBJECT} has start-up code (a static variable with a constructor, "
                        "or <iostream>): section ${CMAKE_MATCH_0}")
  endif()
  message(STATUS "${LEVEL}: ${OWN} symbols, all in its own namespace")
endforeach()

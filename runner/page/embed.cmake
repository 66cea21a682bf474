# SPDX-License-Identifier: Apache-2.0
# Writes a C++ file that holds the page's template, style and script as raw strings.
# cmake -DSOURCE=runner/page -DTARGET=page_parts.cpp -P embed.cmake
set(TEXT "// Made by runner/page/embed.cmake.\n#include \"runner/page_parts.hpp\"\n\n")
string(APPEND TEXT "namespace serosa::runner::page_parts {\n\n")
foreach(PAIR form:page.html style:page.css bundle:bundle.js)
  string(REPLACE ":" ";" PAIR ${PAIR})
  list(GET PAIR 0 NAME)
  list(GET PAIR 1 FILE)
  file(READ ${SOURCE}/${FILE} CONTENT)
  string(FIND "${CONTENT}" ")serosa\"" ENDS)
  string(FIND "${CONTENT}" "</script" CLOSES)
  if(NOT ENDS EQUAL -1 OR (NAME STREQUAL "bundle" AND NOT CLOSES EQUAL -1))
    message(FATAL_ERROR "${FILE} holds what would end its own element or string")
  endif()
  string(APPEND TEXT "const std::string_view ${NAME} = R\"serosa(${CONTENT})serosa\";\n\n")
endforeach()
string(APPEND TEXT "}  // namespace serosa::runner::page_parts\n")
file(WRITE ${TARGET} "${TEXT}")

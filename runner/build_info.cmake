# SPDX-License-Identifier: Apache-2.0
# Writes TARGET, the header that names the build, when it would change. NAMESPACE: runner or python.
if(NOT NAMESPACE)
  set(NAMESPACE runner)
endif()
find_program(GIT git)
set(COMMIT unknown)
if(GIT AND EXISTS ${SOURCE}/.git)
  execute_process(COMMAND ${GIT} -C ${SOURCE} rev-parse --short=12 HEAD
                  OUTPUT_VARIABLE FOUND OUTPUT_STRIP_TRAILING_WHITESPACE
                  ERROR_QUIET RESULT_VARIABLE FAILED)
  if(NOT FAILED)
    set(COMMIT ${FOUND})
    execute_process(COMMAND ${GIT} -C ${SOURCE} status --porcelain --untracked-files=no
                    OUTPUT_VARIABLE CHANGED ERROR_QUIET)
    if(CHANGED)
      string(APPEND COMMIT " with changes")
    endif()
  endif()
endif()
file(WRITE ${TARGET}.new
"#pragma once
#include \"files/results.hpp\"
namespace serosa::${NAMESPACE} {
inline files::BuildInfo build_info() {
  return {\"${VERSION}\", \"${COMMIT}\", \"${COMPILER}\", \"${BUILD_TYPE}\"};
}
}  // namespace serosa::${NAMESPACE}
")
execute_process(COMMAND ${CMAKE_COMMAND} -E copy_if_different ${TARGET}.new ${TARGET})
file(REMOVE ${TARGET}.new)

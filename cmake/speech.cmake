# The spoken words: a table for src/meter, and a recording of each by espeak-ng and opusenc, which are
# needed to build only. Without them the page speaks by the browser's own voice, where there is one.
find_program(GRIDLEAK_VOICE NAMES espeak-ng)
find_program(GRIDLEAK_OPUS NAMES opusenc)
set(spoken ${CMAKE_SOURCE_DIR}/data/spoken.txt)
set_property(DIRECTORY APPEND PROPERTY CMAKE_CONFIGURE_DEPENDS ${spoken})
set(clips ${CMAKE_BINARY_DIR}/clips)
set(clips_made)

file(STRINGS ${spoken} lines REGEX "^[a-z0-9]+ = ")
list(SORT lines)
set(table)
foreach(line IN LISTS lines)
  string(REGEX MATCH "^([a-z0-9]+) = (.+)$" matched "${line}")
  string(APPEND table "{\"${CMAKE_MATCH_1}\", \"${CMAKE_MATCH_2}\"},\n")
endforeach()
file(CONFIGURE OUTPUT ${CMAKE_BINARY_DIR}/spoken/spoken.inc CONTENT "${table}" @ONLY)
target_include_directories(gridleak_meter PRIVATE ${CMAKE_BINARY_DIR}/spoken)

if(GRIDLEAK_VOICE AND GRIDLEAK_OPUS)
  set(clips_made ${clips}/files.txt)
  add_custom_command(
    OUTPUT ${clips_made}
    COMMAND ${CMAKE_COMMAND} -D VOICE=${GRIDLEAK_VOICE} -D OPUS=${GRIDLEAK_OPUS} -D SPOKEN=${spoken}
            -D CLIPS=${clips} -P ${CMAKE_SOURCE_DIR}/cmake/clips.cmake
    DEPENDS ${spoken} ${CMAKE_SOURCE_DIR}/cmake/clips.cmake COMMENT "The spoken words" VERBATIM)
else()
  set(clips)
  message(STATUS "The program is built without its voice: espeak-ng or opusenc is missing")
endif()

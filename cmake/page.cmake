# The bench page as a library: node builds web/ into the build folder, and an assembler file takes
# the compressed files in. Without node and npm the program is built without its page.
option(GRIDLEAK_PAGE "Build the bench page (needs node and npm)" ON)
find_program(GRIDLEAK_NODE NAMES node nodejs)
find_program(GRIDLEAK_NPM NAMES npm)
set(page_table ${CMAKE_BINARY_DIR}/page.S)

if(GRIDLEAK_PAGE AND GRIDLEAK_NODE AND GRIDLEAK_NPM)
  set(web ${CMAKE_SOURCE_DIR}/web)
  set(page ${CMAKE_BINARY_DIR}/page)
  file(GLOB_RECURSE sources CONFIGURE_DEPENDS ${web}/src/*)
  add_custom_command(
    OUTPUT ${page}.modules
    COMMAND ${CMAKE_COMMAND} -D NPM=${GRIDLEAK_NPM} -D WEB=${web} -D STAMP=${page}.modules
            -P ${CMAKE_SOURCE_DIR}/cmake/page_modules.cmake
    DEPENDS ${web}/package-lock.json ${CMAKE_SOURCE_DIR}/cmake/page_modules.cmake
    COMMENT "The page's packages" VERBATIM)
  add_custom_command(
    OUTPUT ${page}/files.txt COMMAND ${GRIDLEAK_NODE} ${web}/build.mjs ${page}
    DEPENDS ${page}.modules ${sources} ${web}/build.mjs ${web}/index.html ${web}/tsconfig.json
    COMMENT "The bench page" VERBATIM)
  add_custom_command(
    OUTPUT ${page_table}
    COMMAND ${CMAKE_COMMAND} -D PAGE=${page} -D CLIPS=${clips} -D TABLE=${page_table}
            -P ${CMAKE_SOURCE_DIR}/cmake/page_table.cmake
    DEPENDS ${page}/files.txt ${clips_made} ${CMAKE_SOURCE_DIR}/cmake/page_table.cmake VERBATIM)
else()
  message(STATUS "The program is built without its bench page: node or npm is missing")
  execute_process(COMMAND ${CMAKE_COMMAND} -D TABLE=${page_table}
                          -P ${CMAKE_SOURCE_DIR}/cmake/page_table.cmake)
endif()

add_library(gridleak_page STATIC src/cli/page.c ${page_table})
target_include_directories(gridleak_page PUBLIC src/cli)
target_link_libraries(gridleak_page PUBLIC gridleak_http PkgConfig::JANSSON)

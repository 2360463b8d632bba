# The page in a browser: tests/web/X.mjs on the program itself, run as web_X; web/test/X.test.mjs on
# the page alone, run as page_X. Slow, and not for the sanitizers: they are of the page, not of C.
find_program(GRIDLEAK_CHROMIUM NAMES chromium PATHS /usr/bin NO_DEFAULT_PATH)

function(gridleak_web_test name file)
  add_test(NAME ${name} COMMAND ${GRIDLEAK_NODE} --test ${file})
  set_tests_properties(${name} PROPERTIES TIMEOUT 600 LABELS "slow;web"
                       ENVIRONMENT "GRIDLEAK=$<TARGET_FILE:gridleak>")
endfunction()

if(GRIDLEAK_PAGE AND GRIDLEAK_NODE AND GRIDLEAK_NPM AND GRIDLEAK_CHROMIUM AND TARGET gridleak
   AND NOT GRIDLEAK_FUZZ AND NOT GRIDLEAK_SANITIZE)
  foreach(name screens focus together job guided input signals evidence paper) # the longest first
    gridleak_web_test(web_${name} ${CMAKE_SOURCE_DIR}/tests/web/${name}.mjs)
    set_tests_properties(web_${name} PROPERTIES COST 100)
  endforeach()
  file(GLOB sources CONFIGURE_DEPENDS web/test/*.test.mjs)
  foreach(source ${sources})
    get_filename_component(stem ${source} NAME_WE)
    gridleak_web_test(page_${stem} ${source})
  endforeach()
elseif(NOT GRIDLEAK_SANITIZE AND NOT GRIDLEAK_FUZZ)
  message(STATUS "The page is not tested in a browser: node, npm or chromium is missing")
endif()

# Tests: tests/ROOM/test_X.c is one program on that room, named test_ROOM_X, run as ROOM_X.
# Named test_*_slow.c it is labelled slow (left out under the sanitizers); named test_oom*.c its
# malloc, calloc and realloc can be made to fail (tests/oom.h).
enable_testing()
set(rooms base tube circuit solve diagnose service job meter practice report http)
set(program_rooms gridleak_files gridleak_service)

function(gridleak_test room source)
  get_filename_component(stem ${source} NAME_WE)
  string(REPLACE test_ "" stem ${stem})
  set(name test_${room}_${stem})
  add_executable(${name} ${source})
  target_include_directories(${name} PRIVATE tests)
  target_compile_definitions(${name} PRIVATE SOURCE_DIR="${CMAKE_SOURCE_DIR}")
  target_link_libraries(${name} PRIVATE ${ARGN} PkgConfig::JANSSON
                        PkgConfig::CMOCKA m)
  if(room STREQUAL "solve") # may look inside, and at the sparse solver's own allocations
    target_link_libraries(${name} PRIVATE klu suitesparseconfig)
  endif()
  if(room STREQUAL "practice") # its library of amps is that of the store's tests
    target_link_libraries(${name} PRIVATE gridleak_job)
  endif()
  if(room STREQUAL "http")
    target_link_libraries(${name} PRIVATE PkgConfig::MICROHTTPD PkgConfig::SODIUM)
  endif()
  if(stem MATCHES "^oom")
    target_link_options(${name} PRIVATE -Wl,--wrap=malloc,--wrap=calloc,--wrap=realloc)
  endif()
  add_test(NAME ${room}_${stem} COMMAND ${name})
  set_tests_properties(${room}_${stem} PROPERTIES TIMEOUT 300 ENVIRONMENT
                       LSAN_OPTIONS=suppressions=${CMAKE_SOURCE_DIR}/tests/lsan.supp)
  # The store's allocations failing in turn take minutes under the sanitizers: make check-oom.
  if(stem MATCHES "_slow$" OR (room STREQUAL job AND stem MATCHES "^oom"))
    set_tests_properties(${room}_${stem} PROPERTIES LABELS slow TIMEOUT 900)
  endif()
endfunction()

# Posteriors by importance sampling, for perf/reference.c and a test.
if(GSL_FOUND)
  file(GLOB sources CONFIGURE_DEPENDS perf/reference/*.c)
  add_library(reference STATIC EXCLUDE_FROM_ALL ${sources})
  target_include_directories(reference PUBLIC perf/reference)
  target_link_libraries(reference PUBLIC gridleak_diagnose gridleak_files PkgConfig::GSL PkgConfig::LAPACKE m)
endif()

if(CMOCKA_FOUND AND NOT GRIDLEAK_FUZZ)
  foreach(room ${rooms})
    file(GLOB sources CONFIGURE_DEPENDS tests/${room}/test_*.c)
    foreach(source ${sources})
      gridleak_test(${room} ${source} gridleak_${room})
    endforeach()
  endforeach()
  # Against the general-purpose libraries, of which test_ida.c asks SUNDIALS.
  find_package(SUNDIALS QUIET CONFIG)
  file(GLOB sources CONFIGURE_DEPENDS tests/outside/test_*.c)
  foreach(source ${sources})
    if(GSL_FOUND AND (SUNDIALS_FOUND OR NOT source MATCHES "test_ida"))
      gridleak_test(outside ${source} ${program_rooms} PkgConfig::GSL)
    endif()
  endforeach()
  if(TARGET test_outside_ida)
    target_link_libraries(test_outside_ida PRIVATE klu SUNDIALS::ida SUNDIALS::sunlinsolklu
                          SUNDIALS::sunmatrixsparse SUNDIALS::nvecserial)
  endif()
  if(TARGET test_outside_posterior)
    target_link_libraries(test_outside_posterior PRIVATE reference)
  endif()
  file(GLOB sources CONFIGURE_DEPENDS tests/cli/test_*.c)
  foreach(source ${sources})
    if(TARGET gridleak)
      gridleak_test(cli ${source} ${program_rooms})
      get_filename_component(stem ${source} NAME_WE)
      string(REPLACE test_ test_cli_ name ${stem})
      target_compile_definitions(${name} PRIVATE PROGRAM="$<TARGET_FILE:gridleak>")
      add_dependencies(${name} gridleak)
    endif()
  endforeach()
endif()

# Shell tests of the program: tests/cli/test_X.sh PROGRAM, run in the source folder.
file(GLOB sources CONFIGURE_DEPENDS tests/cli/test_*.sh)
foreach(source ${sources})
  if(TARGET gridleak AND NOT GRIDLEAK_FUZZ)
    get_filename_component(stem ${source} NAME_WE)
    string(REPLACE test_ "" stem ${stem})
    add_test(NAME cli_${stem} COMMAND bash ${source} $<TARGET_FILE:gridleak>
             WORKING_DIRECTORY ${CMAKE_SOURCE_DIR})
    set_tests_properties(cli_${stem} PROPERTIES TIMEOUT 300)
  endif()
endforeach()

# Fuzzing: tests/fuzz/fuzz_X.c holds LLVMFuzzerTestOneInput; tests/fuzz/corpus_X its inputs, which
# replay as the ordinary test fuzz_X. With GRIDLEAK_FUZZ each is a libFuzzer program instead.
file(GLOB sources CONFIGURE_DEPENDS tests/fuzz/fuzz_*.c)
foreach(source ${sources})
  get_filename_component(name ${source} NAME_WE)
  string(REPLACE fuzz_ corpus_ corpus ${name})
  if(GRIDLEAK_FUZZ)
    add_executable(${name} ${source})
    target_link_options(${name} PRIVATE -fsanitize=fuzzer)
  else()
    add_executable(${name} ${source} tests/fuzz/replay.c)
    add_test(NAME ${name} COMMAND ${name} ${CMAKE_SOURCE_DIR}/tests/fuzz/${corpus})
    set_tests_properties(${name} PROPERTIES TIMEOUT 300)
  endif()
  target_link_libraries(${name} PRIVATE ${program_rooms} gridleak_http gridleak_meter PkgConfig::JANSSON m)
endforeach()

# The include path is the architecture: each header compiles alone on its room's path, and a room
# cannot include one that stands after it.
set(path_of "-I$<JOIN:$<TARGET_PROPERTY:gridleak_ROOM,INCLUDE_DIRECTORIES>,$<SEMICOLON>-I>")
set(compile ${CMAKE_C_COMPILER} -std=gnu17 -Wall -Wextra -Werror -fsyntax-only)
set(after ${rooms})
foreach(room ${rooms})
  string(REPLACE ROOM ${room} path "${path_of}")
  list(REMOVE_ITEM after ${room})
  add_test(NAME header_${room} COMMAND_EXPAND_LISTS COMMAND ${compile} "${path}" -x c
           ${CMAKE_SOURCE_DIR}/src/${room}/${room}.h)
  foreach(later ${after})
    set(wrong ${CMAKE_BINARY_DIR}/arrows/${later}.c)
    file(CONFIGURE OUTPUT ${wrong} CONTENT "#include \"${later}.h\"\n")
    add_test(NAME arrow_${room}_to_${later} COMMAND_EXPAND_LISTS COMMAND ${compile} "${path}"
             ${wrong})
    set_tests_properties(arrow_${room}_to_${later} PROPERTIES PASS_REGULAR_EXPRESSION
                         "${later}.h: No such file|'${later}.h' file not found")
  endforeach()
endforeach()

# No room keeps mutable global state: its library has nothing to write to outside of the heap.
if(NOT GRIDLEAK_SANITIZE AND NOT GRIDLEAK_FUZZ)
  foreach(room ${rooms})
    add_test(NAME globals_${room} COMMAND sh ${CMAKE_SOURCE_DIR}/tools/globals
             $<TARGET_FILE:gridleak_${room}>)
  endforeach()
endif()

# Benchmarks: perf/X.c is one program, perf_X; and the fitting of tube curves to published figures.
# They alone may use the GPL's GSL and the reference solver; neither is part of the program.
find_package(SUNDIALS QUIET CONFIG)
file(GLOB sources CONFIGURE_DEPENDS perf/*.c)
add_custom_target(perf_programs)
if(SUNDIALS_FOUND AND GSL_FOUND AND CMOCKA_FOUND AND TARGET gridleak)
  foreach(source ${sources})
    get_filename_component(stem ${source} NAME_WE)
    add_executable(perf_${stem} EXCLUDE_FROM_ALL ${source})
    target_include_directories(perf_${stem} PRIVATE tests)
    target_compile_definitions(perf_${stem} PRIVATE SOURCE_DIR="${CMAKE_SOURCE_DIR}")
    target_link_libraries(perf_${stem} PRIVATE gridleak_files gridleak_http gridleak_job PkgConfig::SQLITE klu PkgConfig::GSL
                          PkgConfig::JANSSON PkgConfig::CMOCKA PkgConfig::MICROHTTPD PkgConfig::SODIUM SUNDIALS::kinsol SUNDIALS::ida SUNDIALS::sunlinsolklu
                          SUNDIALS::sunmatrixsparse SUNDIALS::nvecserial m)
    target_compile_definitions(perf_${stem} PRIVATE PROGRAM="$<TARGET_FILE:gridleak>")
    add_dependencies(perf_${stem} gridleak)
    add_dependencies(perf_programs perf_${stem})
  endforeach()
endif()

file(GLOB sources CONFIGURE_DEPENDS tools/tubefit/*.c)
if(sources AND GSL_FOUND)
  add_executable(tubefit ${sources})
  target_link_libraries(tubefit PRIVATE gridleak_tube PkgConfig::GSL m)
endif()
if(TARGET test_outside_tubefit)
  target_compile_definitions(test_outside_tubefit PRIVATE TUBEFIT="$<TARGET_FILE:tubefit>")
  add_dependencies(test_outside_tubefit tubefit)
endif()

# What the probabilities are worth: a program of several files, and a quick version of it as a test.
# The engine's measure of a place's worth is wrapped, so that others can be tried in its place.
file(GLOB sources CONFIGURE_DEPENDS perf/accuracy/*.c)
list(REMOVE_ITEM sources ${CMAKE_SOURCE_DIR}/perf/accuracy/main.c)
if(GSL_FOUND AND TARGET gridleak_files AND NOT GRIDLEAK_FUZZ)
  add_library(accuracy STATIC EXCLUDE_FROM_ALL ${sources})
  target_include_directories(accuracy PUBLIC perf/accuracy)
  target_link_libraries(accuracy PUBLIC gridleak_files gridleak_diagnose klu PkgConfig::LAPACKE
                        PkgConfig::GSL m)
  target_link_options(accuracy PUBLIC -Wl,--wrap=diagnose_information)
  add_executable(perf_accuracy EXCLUDE_FROM_ALL perf/accuracy/main.c)
  target_link_libraries(perf_accuracy PRIVATE accuracy)
  add_dependencies(perf_programs perf_accuracy)
  if(TARGET test_outside_accuracy)
    target_link_libraries(test_outside_accuracy PRIVATE accuracy)
  endif()
endif()

# The program: src/cli over every room, with the data files inside it.
file(GLOB cli_sources CONFIGURE_DEPENDS src/cli/*.c)
if(cli_sources)
  add_executable(gridleak ${cli_sources})
  target_link_libraries(gridleak PRIVATE gridleak_service gridleak_diagnose gridleak_solve
                        gridleak_circuit gridleak_tube gridleak_base PkgConfig::JANSSON m)
endif()

# The program's version, its man page from its own table, and its tests.
if(TARGET gridleak)
  target_compile_definitions(gridleak PRIVATE GRIDLEAK_VERSION="${PROJECT_VERSION}")
  add_custom_command(TARGET gridleak POST_BUILD
    COMMAND gridleak manual > ${CMAKE_BINARY_DIR}/gridleak.1
    BYPRODUCTS ${CMAKE_BINARY_DIR}/gridleak.1 VERBATIM)
endif()

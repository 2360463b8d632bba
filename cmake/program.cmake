# The data files as a library: an assembler file takes each in by .incbin, and lays out the table.
function(gridleak_embed target)
  file(GLOB files RELATIVE ${CMAKE_SOURCE_DIR}/data CONFIGURE_DEPENDS
       data/tubes/*.yaml data/amps/*.yaml data/priors/*.yaml data/demo/*.yaml data/meters/*.yaml)
  list(SORT files)
  set(bytes "    .section .rodata\n")
  set(table "    .section .data.rel.ro, \"aw\"\n    .balign 8\n    .globl cli_files_table\ncli_files_table:\n")
  set(number 0)
  foreach(file ${files})
    string(APPEND bytes "name${number}: .asciz \"${file}\"\n"
           "data${number}: .incbin \"${CMAKE_SOURCE_DIR}/data/${file}\"\n"
           "end${number}: .byte 0\n")
    string(APPEND table "    .quad name${number}, data${number}, end${number} - data${number}\n")
    set_property(SOURCE ${CMAKE_BINARY_DIR}/files.S APPEND
                 PROPERTY OBJECT_DEPENDS ${CMAKE_SOURCE_DIR}/data/${file})
    math(EXPR number "${number} + 1")
  endforeach()
  string(APPEND table "    .globl cli_files_count\ncli_files_count: .quad ${number}\n")
  string(APPEND table "    .section .note.GNU-stack, \"\", %progbits\n")
  file(CONFIGURE OUTPUT ${CMAKE_BINARY_DIR}/files.S CONTENT "${bytes}${table}" @ONLY)
  add_library(${target} STATIC src/cli/files.c ${CMAKE_BINARY_DIR}/files.S)
  target_include_directories(${target} PUBLIC src/cli)
endfunction()
gridleak_embed(gridleak_files)
include(cmake/page.cmake)

# The program: src/cli over every room, with the data files inside it.
file(GLOB cli_sources CONFIGURE_DEPENDS src/cli/*.c)
list(REMOVE_ITEM cli_sources ${CMAKE_SOURCE_DIR}/src/cli/files.c ${CMAKE_SOURCE_DIR}/src/cli/page.c)
if(cli_sources)
  add_executable(gridleak ${cli_sources})
  target_compile_definitions(gridleak PRIVATE GRIDLEAK_VERSION="${PROJECT_VERSION}")
  target_link_libraries(gridleak PRIVATE gridleak_files gridleak_page gridleak_http gridleak_practice gridleak_meter gridleak_job
                        gridleak_service gridleak_diagnose
                        gridleak_solve gridleak_circuit gridleak_tube gridleak_base
                        PkgConfig::JANSSON m)

  # The man page, from the same table as --help.
  set(manual ${CMAKE_BINARY_DIR}/gridleak.1)
  add_custom_command(OUTPUT ${manual} COMMAND gridleak manual > ${manual}.part
                     COMMAND ${CMAKE_COMMAND} -E rename ${manual}.part ${manual} DEPENDS gridleak)
  add_custom_target(manual ALL DEPENDS ${manual})
  include(GNUInstallDirs)
  install(TARGETS gridleak)
  install(FILES ${manual} DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
endif()

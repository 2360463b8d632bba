# Writes TABLE: an assembler file with the page's files as PAGE/files.txt and CLIPS/files.txt list
# them, and the table of them. Without either: an empty one.
set(bytes "    .section .rodata\n")
set(table "    .section .data.rel.ro, \"aw\"\n    .balign 8\n    .globl cli_page_table\ncli_page_table:\n")
set(number 0)
foreach(folder ${PAGE} ${CLIPS})
  file(STRINGS ${folder}/files.txt lines)
  foreach(line IN LISTS lines)
    string(REPLACE "\t" "|" line "${line}")
    string(REGEX MATCH "^([^|]+)\\|(.+)$" matched "${line}")
    string(APPEND bytes "name${number}: .asciz \"${CMAKE_MATCH_1}\"\n"
           "type${number}: .asciz \"${CMAKE_MATCH_2}\"\n"
           "data${number}: .incbin \"${folder}/${CMAKE_MATCH_1}.gz\"\nend${number}:\n")
    string(APPEND table "    .quad name${number}, type${number}, data${number}, "
           "end${number} - data${number}\n")
    math(EXPR number "${number} + 1")
  endforeach()
endforeach()
string(APPEND table "    .quad 0\n    .globl cli_page_count\ncli_page_count: .quad ${number}\n")
string(APPEND table "    .section .note.GNU-stack, \"\", %progbits\n")
file(WRITE ${TABLE} "${bytes}${table}")

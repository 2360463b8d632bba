/* schema.sql as a text inside the program: job_schema, ended by a 0. */
    .section .rodata
    .globl job_schema
    .type job_schema, @object
job_schema:
    .incbin "schema.sql"
    .byte 0
    .size job_schema, . - job_schema
    .section .note.GNU-stack, "", %progbits

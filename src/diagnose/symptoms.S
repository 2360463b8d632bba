/* data/symptoms.yaml as a text inside the program: diagnose_symptoms_text, ended by a 0. */
    .section .rodata
    .globl diagnose_symptoms_text
    .type diagnose_symptoms_text, @object
diagnose_symptoms_text:
    .incbin "../../data/symptoms.yaml"
    .byte 0
    .size diagnose_symptoms_text, . - diagnose_symptoms_text
    .section .note.GNU-stack, "", %progbits

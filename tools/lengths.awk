# Length of each function in C files formatted by clang-format: prints
#   LINES PARAMETERS FILE:LINE NAME
# LINES counts from the first line of the definition to its closing brace.

function trimmed(text) {
    gsub(/^[ \t]+|[ \t]+$/, "", text)
    return text
}

# Parameters between the first parenthesis and the one that closes it.
function parameters(head,    i, c, depth, count, first, inside) {
    first = index(head, "(")
    count = 1
    for (i = first; i <= length(head); i++) {
        c = substr(head, i, 1)
        if (c == "(") depth++
        if (c == ")" && --depth == 0) break
        if (c == "," && depth == 1) count++
    }
    inside = trimmed(substr(head, first + 1, i - first - 1))
    return inside == "void" || inside == "" ? 0 : count
}

function name_of(head) {
    sub(/\(.*/, "", head)
    sub(/.*[ *]/, "", head)
    return head
}

function report(last) {
    print last - start + 1, parameters(head), FILENAME ":" start, name_of(head)
    inside = 0
    head = ""
}

FNR == 1 {
    inside = 0
    head = ""
}
inside && /^}/ {
    report(FNR)
    next
}
inside || /^#/ || /^\/[\/*]/ || /^ \*/ {
    next
}
/^[A-Za-z_]/ && head == "" {
    start = FNR
}
/^[A-Za-z_]/ || head != "" {
    head = head $0 " "
    if ($0 ~ /\{\}$/ && head ~ /\(/) report(FNR)
    else if ($0 ~ /\{$/ && head ~ /\(/ && head !~ /=/ && head !~ /^(typedef|enum)/) inside = 1
    else if ($0 ~ /[;{}]$/ || $0 ~ /;[ \t]*\/[*\/]/) head = ""
}

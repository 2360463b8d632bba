#!/bin/bash
# test_bench_refused PROGRAM: what keeps the bench from opening is said in one clear sentence with a
# remedy, by the exit status, and leaves every file as it was.
set -u
program=$1
folder=$(mktemp -d)
bench=
trap '[ -n "$bench" ] && kill "$bench"; chmod -R u+w "$folder"; rm -rf "$folder"' EXIT
failed=0

fail() {
    echo "FAILED: $1"
    failed=1
}

# refused NAME STATUS WORDS [COMMAND...]: WORDS is a pattern that the complaint must match.
refused() {
    local name=$1 status=$2 words=$3 said got
    shift 3
    said=$("$@" 2>&1 >"$folder/out")
    got=$?
    [ "$got" = "$status" ] || fail "$name: exit status $got, not $status"
    grep -Eq -- "$words" <<<"$said" || fail "$name: said \"$said\""
    [ "$(wc -l <<<"$said")" = 1 ] || fail "$name: more than one line: $said"
    [ -s "$folder/out" ] && fail "$name: printed on standard output: $(cat "$folder/out")"
}

shop=$folder/shop.db
"$program" bench "$shop" --port 0 --once >"$folder/first" || fail "a new shop does not open"
grep -q '^The page answers\.$' "$folder/first" || fail "the page does not answer: $(cat "$folder/first")"

# A store of a newer version: the version is the header's, in the bytes at 60 (SQLite file format).
newer=$folder/newer.db
cp "$shop" "$newer"
printf '\0\0\0\143' | dd of="$newer" bs=1 seek=60 conv=notrunc status=none
cp "$newer" "$folder/before"
refused "a newer store" 66 "newer\.db: the store is of version 99.*; use the newer program" "$program" bench "$newer" --once
cmp -s "$newer" "$folder/before" || fail "a newer store was changed"

echo "no store at all" >"$folder/text.db"
refused "no store" 66 "text\.db: the file is no store; " "$program" bench "$folder/text.db" --once
[ "$(cat "$folder/text.db")" = "no store at all" ] || fail "a foreign file was changed"

head -c 4000 "$shop" >"$folder/cut.db"
cp "$folder/cut.db" "$folder/before"
refused "a store cut short" 66 "cut\.db: .*; " "$program" bench "$folder/cut.db" --once
cmp -s "$folder/cut.db" "$folder/before" || fail "a store cut short was changed"

# Whoever may write everywhere must become somebody else for this.
mkdir "$folder/locked"
cp "$shop" "$folder/locked/shop.db"
chmod 755 "$folder"
cp "$program" "$folder/gridleak" # where everybody can run it
chmod 444 "$folder/locked/shop.db"
chmod 555 "$folder/locked"
other=
[ "$(id -u)" = 0 ] && other="setpriv --reuid=65534 --regid=65534 --clear-groups"
# shellcheck disable=SC2086 # words
refused "a folder that cannot be written" 66 "locked/new\.db: .*; .*written" \
    $other "$folder/gridleak" bench "$folder/locked/new.db" --once
# shellcheck disable=SC2086
refused "a store that cannot be written" 66 "locked/shop\.db: .*; " \
    $other "$folder/gridleak" bench "$folder/locked/shop.db" --once

"$program" bench "$shop" --port 0 --no-browser >"$folder/open" &
bench=$!
for _ in $(seq 100); do
    port=$(sed -n 's|.*http://127\.0\.0\.1:\([0-9]*\)/.*|\1|p' "$folder/open")
    [ -n "$port" ] && break
    sleep 0.1
done
refused "a port in use" 66 "port $port.*; .*--port" \
    "$program" bench "$folder/second.db" --port "$port" --once
refused "no port" 64 "--port 99999 is no port; " "$program" bench "$shop" --port 99999 --once

[ "$failed" = 0 ] && echo "ok"
exit "$failed"

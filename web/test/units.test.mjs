// Numbers as the bench writes them.
import assert from "node:assert/strict";
import test from "node:test";
import { load } from "./load.mjs";

const { readNumber, readColumn, volts, quantity, seconds, coins, inCoins } = await load("units.ts");

const NUMBERS = [
  ["182", 182],
  ["1.2", 1.2],
  ["1,5", 1.5],
  ["-42", -42],
  ["\u221242", -42],
  ["+3", 3],
  [".5", 0.5],
  ["0,123", 0.123],
  [" 24.1 V ", 24.1],
  ["420 mV", 0.42],
  ["420mv", 0.42],
  ["1.2k", 1200],
  ["1.2 kV", 1200],
  ["4k7", 4700],
  ["12 mA", 0.012],
];
for (const [text, value] of NUMBERS)
  test(`${text} reads ${value}`, () => {
    const typed = readNumber(text);
    assert.equal(typed.kind, "number");
    assert.ok(Math.abs(typed.value - value) <= 1e-9 * Math.abs(value), `${typed.value}`);
  });

for (const text of ["-", ".", "1.", "1,", "-12.", "V"])
  test(`${text} is half a number`, () => assert.equal(readNumber(text).kind, "half"));

for (const text of ["abc", "1.2.3", "--4", "1e5", "12 apples", "1,500", "12,345", "<b>1</b>"])
  test(`${text} is refused with a sentence`, () => {
    const typed = readNumber(text);
    assert.equal(typed.kind, "wrong");
    assert.match(typed.words, /\.$/);
  });

test("nothing typed is no complaint", () => assert.equal(readNumber("  ").kind, "empty"));

test("a pasted column gives each line its place or none", () => {
  const rows = readColumn("V2.5\t3.8\r\nB1 = 382\nB1-V6.3: 1,2\n\n24.1\n");
  assert.deepEqual(
    rows.map(({ at, typed }) => [at, typed.value]),
    [
      ["V2.5", 3.8],
      ["B1", 382],
      ["B1-V6.3", 1.2],
      [null, 24.1],
    ],
  );
});

test("volts show what a bench meter shows", () => {
  const shown = [0.004, 1.71, 9.996, 24, 99.96, 381.4, -42.04, -0.001, null].map(volts);
  assert.deepEqual(shown, [
    "0.00",
    "1.71",
    "10.0",
    "24.0",
    "100",
    "381",
    "\u221242.0",
    "0.00",
    "\u2013",
  ]);
});

test("quantities stand in three figures with their prefix", () => {
  const shown = [
    quantity(4700, "ohm"),
    quantity(1.2293, "J"),
    quantity(2.2e-5, "F"),
    quantity(0, "W"),
  ];
  assert.deepEqual(shown, ["4.7 kohm", "1.23 J", "22 \u00b5F", "0 W"]);
  assert.equal(quantity(999.9, "W"), "1 kW");
});

test("seconds are rounded up: a capacitor is not emptier than said", () => {
  assert.deepEqual([0.2, 3.1, 99.5, 130].map(seconds), ["under 1 s", "4 s", "100 s", "3 min"]);
});

test("money goes to the smallest coin and back", () => {
  assert.equal(coins(65.55, "EUR"), 6555);
  assert.equal(coins(0.29, "USD"), 29);
  assert.equal(coins(1200, "JPY"), 1200);
  assert.equal(inCoins(6500, "EUR"), "65.00");
  assert.equal(inCoins(1200, "JPY"), "1200");
  assert.equal(coins(12.5, "nonsense"), 1250);
});

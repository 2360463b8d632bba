// What the bench panels work out by themselves: places by letters, pasted columns, money, pins.
import assert from "node:assert/strict";
import test from "node:test";
import { load } from "./load.mjs";

// The store listens to the window as soon as it is loaded.
globalThis.window = { addEventListener() {} };
globalThis.location = { hash: "" };
globalThis.localStorage = {};

const { placeNamed, band, grouped, meterReads } = await load("panels/measure-readings.ts");
const { bandUnits } = await load("panels/measure-scale.tsx");
const { readMoney, addUp } = await load("panels/decide-lines.tsx");
const { hours, linesOf } = await load("panels/decide-estimate.tsx");
const { stopwatch } = await load("panels/repair-clock.ts");
const { pinsOf } = await load("panels/repair-list.tsx");
const { listed, wordsOf } = await load("panels/hand-back-words.ts");

const line = (at, what = "plate") => ({ at, what, quantity: "DC volts", low: 1, high: 2 });
const LINES = ["V1.1", "V1.5", "V2.5", "V15.1", "V2.2-V2.7", "B1", "R12"].map((at) => line(at));

for (const [typed, at] of [
  ["v25", "V2.5"],
  ["V2.5", "V2.5"],
  ["v2 5", "V2.5"],
  ["v15", "V1.5"],
  ["v151", "V15.1"],
  ["r12", "R12"],
  ["b", "B1"],
  ["v22v27", "V2.2-V2.7"],
])
  test(`${typed} leads to ${at}`, () => assert.equal(placeNamed(LINES, typed)?.at, at));

test("what leads nowhere leads nowhere", () => {
  for (const typed of ["", "x", "v99", "."]) assert.equal(placeNamed(LINES, typed), undefined);
});

test("a band near nothing is written so", () => {
  assert.equal(band({ low: -0.001, high: 0.02 }), "about 0");
  assert.equal(band({ low: 197.4, high: 236.4 }), "197 to 236");
  assert.equal(band({ low: null, high: null }), "\u2013");
});

test("the chart stands by tube, supply, parts", () => {
  const lines = [line("V1.1"), line("B1", "supply"), line("V2.5"), line("V5.4-B2", "across")];
  const names = grouped([...lines, line("V1.2"), line("fb", "tie point")]).map(({ name }) => name);
  assert.deepEqual(names, ["V1", "Supply and tie points", "V2", "Across parts"]);
});

test("meters are written as the program reads them", () => {
  for (const text of ["10M", "20k per volt", "20k per volt on 300", "1M"])
    assert.ok(meterReads(text), text);
  for (const text of ["", "ten", "20k per", "20k per volt on", "<b>"])
    assert.ok(!meterReads(text), text);
});

test("a reading is told in half-widths of its band", () => {
  assert.equal(bandUnits(20, 10, 20), 1);
  assert.equal(bandUnits(15, 10, 20), 0);
  assert.equal(bandUnits(0.02, 0, 0, 0.02), 1);
  assert.equal(bandUnits(1, 1, 1), 0);
});

test("money is read to the smallest coin, or not at all", () => {
  assert.equal(readMoney("12.50", "EUR"), 1250);
  assert.equal(readMoney("12,5", "EUR"), 1250);
  assert.equal(readMoney("-3", "EUR"), -300);
  assert.equal(readMoney("1200", "JPY"), 1200);
  for (const text of ["", "12.5.1", "a", "1,000.00", "1e3"])
    assert.equal(readMoney(text, "EUR"), null);
});

test("lines add up with tax; half-typed ones hold it back", () => {
  const typed = [
    { text: "C7", amount: "2.40" },
    { text: "Labour", amount: "43.33" },
    { text: "", amount: "" },
  ];
  const sum = addUp(typed, 20, "EUR");
  assert.deepEqual([sum.net, sum.tax, sum.total, sum.problem], [4573, 915, 5488, null]);
  assert.equal(sum.lines.length, 2);
  assert.match(addUp([{ text: "C7", amount: "2.4x" }], 0, "EUR").problem, /C7/);
  assert.match(addUp([], 0, "EUR").problem, /no line/);
});

test("lines follow from decisions and time", () => {
  const decisions = [
    { part: "C7", action: "replace", substitute: "22n film", price: 240 },
    { part: "R3", action: "leave", price: null },
  ];
  assert.deepEqual(linesOf(decisions, 90, { hourly: 6000 }), [
    { text: "C7 22n film", amount: 240 },
    { text: "Labour, 1 h 30 min", amount: 9000 },
  ]);
  assert.equal(hours(0), "0 min");
  assert.equal(hours(120), "2 h");
});

test("clocks", () => {
  assert.equal(stopwatch(7_400), "0:07");
  assert.equal(stopwatch(760_000), "12:40");
  assert.equal(stopwatch(3_760_000), "1:02:40");
});

test("pins say where the + goes", () => {
  assert.equal(pinsOf({ material: "electrolytic", nodes: ["B3", "ground"] }), "B3 (+) to ground");
  assert.equal(pinsOf({ material: "paper", nodes: ["V1.6", "drive"] }), "V1.6 to drive");
  assert.equal(pinsOf(undefined), "");
});

test("the report's words come from the facts", () => {
  const view = {
    decisions: [
      { part: "C6", action: "replace", reason: "failing", what: "leaky" },
      { part: "R3", action: "leave", reason: "originality", what: null },
    ],
    work: [
      { text: "Replace C6 by 22n", done: true },
      { text: "Clean P1", done: false },
    ],
    checks: [{ what: "P1 volume", result: "poor", note: "scratchy" }],
    cord: { wires: 2, chassis_capacitor: true },
    amp: { transformerless: false },
    soak: null,
  };
  const words = wordsOf(view, [], { places: [], tubes: [] });
  assert.equal(words.found, "At fault: C6 (leaky).");
  assert.equal(words.done, "Replaced C6 by 22n.");
  assert.equal(words.kept, "R3 left in, to keep it original.");
  assert.match(words.cautions, /no earth.*mains to the chassis.*P1 volume: scratchy/);
  assert.deepEqual([words.cause_part, words.cause_what], ["C6", "leaky"]);
  assert.equal(listed(["a", "b", "c"]), "a, b and c");
});

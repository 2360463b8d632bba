// Evidence beside plain volts: symptoms and findings from the list, AC volts, cold ohms; two faults.
import assert from "node:assert/strict";
import { after, test } from "node:test";
import {
  addFact,
  ask,
  closePage,
  factsOf,
  folder,
  newJob,
  openPage,
  remove,
  startBench,
  startBrowser,
} from "./bench.mjs";

const shop = folder("evidence");
const bench = await startBench(`${shop}/shop.db`);
const browser = await startBrowser();
const { base } = bench;
after(async () => {
  await browser.end();
  await bench.end();
  remove(shop);
});

async function openOther(job) {
  const page = await openPage(browser.context, base, `jobs/${job}/measure`);
  await page.getByRole("button", { name: "Understood: show the chart" }).click();
  await page.getByRole("radio", { name: "Other" }).check();
  await page.getByRole("heading", { name: "Other readings" }).waitFor();
  return page;
}

test("told from the list only, weighed, and taken back", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openOther(job);
  const field = page.getByLabel("Symptom or finding");
  const button = page.getByRole("button", { name: "Record", exact: true });
  await field.fill("haunted");
  await page.keyboard.press("Enter");
  await page.getByText("From the list only").waitFor();
  assert.ok(await button.isDisabled());
  await field.fill("loud hum");
  await page.keyboard.press("Enter");
  await page.getByText(/% with the leader, \d+ % in a good amp|under 1 %/).waitFor();
  await field.fill("bulged: C8");
  await page.keyboard.press("Enter");
  await page.getByRole("button", { name: "Take back bulged: C8" }).waitFor();
  assert.equal((await factsOf(base, job, "symptom"))[0].body.said, "loud hum");
  assert.equal((await factsOf(base, job, "finding"))[0].body.said, "bulged: C8");
  await page.getByRole("button", { name: "Take back loud hum" }).click();
  await page.getByRole("button", { name: "Take back loud hum" }).waitFor({ state: "detached" });
  assert.equal((await factsOf(base, job, "symptom")).length, 0);
  await closePage(page);
});

test("hands are asked out before cold ohms, not before hum", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openOther(job);
  await page.getByLabel("It read").waitFor();
  await page.getByRole("radio", { name: "Cold ohms" }).check();
  await page.getByText("Hands out: not every filter capacitor").waitFor();
  assert.equal(await page.getByLabel("It read").count(), 0);
  await page.getByRole("button", { name: /my hands stay out/ }).click();
  await page.getByLabel("What was read").fill("R12 alone");
  await page.getByLabel("It read").fill("banana");
  await page.keyboard.press("Enter");
  await page.getByText("Refused: R12 alone banana").waitFor();
  await closePage(page);
});

test("hum moves the suspects; two faults at once stand in Find and in Decide", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  for (const [at, volts] of [
    ["V2.3", 365],
    ["V2.8", 28.1],
    ["V2.5", 9.5],
    ["V1.6", 209],
    ["V1.1", 205],
    ["V3.8", 378],
  ])
    await addFact(base, job, "reading", { phase: "before", at, volts, meter: "10M" });
  const page = await openOther(job);
  await page.getByLabel("What was read").fill("B2 hum");
  await page.getByLabel("It read").fill("4.8 V");
  await page.keyboard.press("Enter");
  await page.getByRole("button", { name: "Take back B2 hum" }).waitFor();
  const found = await ask(base, `api/jobs/${job}/suspects`);
  assert.ok(found.pairs.length, "no pair explains hum and a leaky coupling capacitor");
  const { at, caution } = found.tests[0];
  const step = page.locator(".evidence-step", { hasText: at }).first();
  await step.getByText(caution).waitFor();
  await step.getByRole("button", { name: `Enter it: ${at}` }).click();
  assert.equal(await page.getByLabel("What was read").inputValue(), at);
  const name = found.pairs[0].both.map(({ part }) => part).join(" + ");
  await page.locator(".suspects").getByText(name, { exact: true }).first().waitFor();
  await page.goto(`${base}#/jobs/${job}/find`);
  await page.locator(".find-part", { hasText: name }).first().waitFor();
  await page.getByRole("radio", { name: "Table" }).check();
  await page.getByRole("row", { name: /^B2 hum .* 4.8 V/ }).waitFor();
  await page.goto(`${base}#/jobs/${job}/decide`);
  for (const { part } of found.pairs[0].both)
    await page.locator(".part-name", { hasText: part }).first().waitFor();
  await closePage(page);
});

test("a lead on the wrong node is named; halves exchanged are said to be no fault", async () => {
  const read = async (amp, readings) => {
    const job = await newJob(base, { amp });
    for (const [at, volts] of Object.entries(readings))
      await addFact(base, job, "reading", { phase: "before", at, volts, meter: "10M" });
    return job;
  };
  const wrong = { "V1.8": 4.47, "V1.6": 0.01, "V1.1": 191, "V1.3": 1.52, B3: 293, B2: 380 };
  const job = await read("wren-hollow", wrong);
  const page = await openPage(browser.context, base, `jobs/${job}/find`);
  await page.getByText("joined to V1.8 instead of V1.6").first().waitFor();
  const halves = { "V2.1": 221, "V2.2": 19.4, "V2.3": 52.8, "V2.6": 159, "V2.8": 1.31, B3: 280 };
  const other = await read("tidemark", halves);
  await page.goto(`${base}#/jobs/${other}/find`);
  await page.getByText(/drawn as V2a, wired as V2b, which is no fault/).first().waitFor();
  await page.goto(`${base}#/jobs/${other}/decide`);
  await page.getByText("No suspect yet, and nothing poor was seen").waitFor();
  await closePage(page);
});

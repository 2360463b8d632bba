// On paper, in a job: a change tried before the iron is hot, ratings, fuses; what is kept stands in
// the report.
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
  pdfText,
  remove,
  startBench,
  startBrowser,
} from "./bench.mjs";

const shop = folder("paper");
const bench = await startBench(`${shop}/shop.db`);
const browser = await startBrowser();
const { base } = bench;
const job = await newJob(base, { amp: "wren-hollow" });
after(async () => {
  await browser.end();
  await bench.end();
  remove(shop);
});

const tab = (page, name) => page.getByRole("radio", { name }).check();

test("a change is tried, refused with the reason, and kept for the report", async () => {
  const page = await openPage(browser.context, base, `jobs/${job}/decide`);
  await tab(page, "Try on paper");
  const field = page.getByLabel("Try a change on paper");
  await field.fill("V2=EL34");
  await page.keyboard.press("Enter");
  await page.getByText(/EL34 does not fit the socket of V2/).waitFor();
  await page.getByRole("button", { name: "Leave out V2=EL34" }).click();

  await field.fill("R12=1k");
  await page.keyboard.press("Enter");
  await page.getByText(/Mended:.*V2 6V6GT plate dissipation/).waitFor();
  const { tubes } = await ask(base, `api/jobs/${job}/swap`, { changes: ["R12=1k"] });
  const { after: output } = tubes.find(({ tube }) => tube === "V2");
  const row = page.getByRole("row", { name: /^V2 6V6GT/ });
  assert.match(await row.textContent(), new RegExp(`${Math.round(output.plate_percent)} %`));

  await page.getByRole("button", { name: "Keep it for the report" }).click();
  await page.getByText(/Kept, \d\d:\d\d/).waitFor();
  const [{ body }] = await factsOf(base, job, "paper");
  assert.match(body.what, /R12 value 470 to 1k/);
  await addFact(base, job, "hand back", { found: "it ran hot", done: "R12" });
  const report = await pdfText(base, `api/jobs/${job}/report.pdf`);
  assert.match(report, /Worked out beforehand, on paper/);
  assert.match(report, /R12 value 470\s+to 1k/);
  assert.match(report, /mended: V2 6V6GT plate dissipation/);
  await closePage(page);
});

test("a part's substitute goes from its form to the paper", async () => {
  const page = await openPage(browser.context, base, `jobs/${job}/decide`);
  await tab(page, "Parts");
  await page.getByLabel("Any other part").fill("R12");
  await page.getByRole("radio", { name: "replace" }).check();
  await page.getByRole("button", { name: /^Try on paper: / }).first().click();
  await page.getByRole("button", { name: /^Leave out R12=/ }).waitFor();
  await page.getByRole("heading", { name: "Tubes at idle, before and after" }).waitFor();
  await closePage(page);
});

test("the value for a target goes from its table to the paper; out of reach is said", async () => {
  const page = await openPage(browser.context, base, `jobs/${job}/decide`);
  await tab(page, "Try on paper");
  for (const left of await page.getByRole("button", { name: /^Leave out/ }).all()) await left.click();
  await page.getByLabel("Part", { exact: true }).fill("R12");
  const target = page.getByLabel("What it is to reach");
  await target.fill("V2 dissipation 85%");
  await page.keyboard.press("Enter");
  const query = "part=R12&for=V2%20dissipation%2085%25";
  const { above } = await ask(base, `api/jobs/${job}/value?${query}`);
  assert.ok(above.percent < 85);
  await page.getByRole("row", { name: /^stock, above 1k/ }).waitFor();
  await page.getByRole("button", { name: "Try it: 1k" }).click();
  await page.getByRole("button", { name: "Leave out R12=1k" }).waitFor();
  await target.fill("V2 dissipation 900%");
  await page.keyboard.press("Enter");
  const far = await ask(base, `api/jobs/${job}/value?part=R12&for=V2%20dissipation%20900%25`);
  await page.getByText(far.limit).waitFor();
  await closePage(page);
});

test("in time: the plot, the peaks, what is past a limit; an old amp on more volts", async () => {
  const page = await openPage(browser.context, base, `jobs/${job}/decide`);
  await tab(page, "In time");
  const { remarks, capacitors } = await ask(base, `api/jobs/${job}/powerup`);
  await page.getByText(remarks[0].replaceAll("`", "")).waitFor();
  const filters = capacitors.filter(({ filter }) => filter);
  const rows = page.getByRole("region", { name: /each filter capacitor meets/ }).getByRole("row");
  assert.equal(await rows.count(), filters.length + 1);
  for (const which of ["First 0.2 s", "Two cycles at rest", "On, rest, off"]) {
    await tab(page, which);
    await page.locator(".curves canvas").waitFor();
  }
  await tab(page, "Output");
  await tab(page, "4");
  const { watts, class: letter } = await ask(base, `api/jobs/${job}/output?speaker=4`);
  await page.getByText(new RegExp(`^${watts.toPrecision(3)} W .*class ${letter}`)).waitFor();
  for (const which of ["Speaker", "Distortion", "Load line"]) {
    await page.getByRole("radio", { name: which, exact: true }).check();
    await page.locator(".curves canvas").waitFor();
  }
  await tab(page, "Fuses, mains");
  await page.getByLabel("At the wall").fill("124");
  await page.keyboard.press("Enter");
  const { remedies, drawn_v } = await ask(base, `api/jobs/${job}/mains?volts=124`);
  await page.getByText(`Drawn for ${drawn_v} V, now on 124 V`).waitFor();
  await page.getByText(remedies[0].name, { exact: true }).waitFor();
  await closePage(page);
});

test("ratings with the most trouble first, of the amp as found and as repaired; fuses", async () => {
  const page = await openPage(browser.context, base, `jobs/${job}/decide`);
  const { margins } = await ask(base, `api/jobs/${job}/margins`);
  await tab(page, "Ratings");
  await tab(page, `All ${margins.length}`);
  const rows = page.getByRole("region", { name: /Parts beside their ratings/ }).getByRole("row");
  await rows.nth(margins.length).waitFor();
  assert.match(await rows.nth(1).textContent(), new RegExp(`over.*${margins[0].part}`));
  await tab(page, "Fuses");
  const { fuses } = await ask(base, `api/jobs/${job}/fuse`);
  await page.getByText(fuses[0].right, { exact: true }).waitFor();

  const to1k = { phase: "repaired", part: "R12", key: "value", from: "470", to: "1k" };
  await ask(base, `api/jobs/${job}/edit`, { ...to1k, does: "change" });
  await page.goto(`${base}#/jobs/${job}/prove`);
  await tab(page, "Ratings");
  await tab(page, /Over or close/);
  await rows.nth(1).waitFor();
  assert.equal(await page.getByRole("row", { name: /V2 6V6GT plate dissipation/ }).count(), 0);
  await closePage(page);
});

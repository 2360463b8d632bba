// The panels from Measure to Hand back, and the amp library, in a real browser against the stand-in
// server. The chart and the suspects come from the program: GRIDLEAK says where it is.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";
import { BROWSER } from "../mock/browser.mjs";

const web = fileURLToPath(new URL("..", import.meta.url));
const program = process.env.GRIDLEAK;
const skip = program ? false : "GRIDLEAK does not say where the program is";
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
let server, context, base;

before(async () => {
  if (skip) return;
  const out = mkdtempSync(join(tmpdir(), "page-"));
  execFileSync("node", [join(web, "build.mjs"), out]);
  server = spawn("node", [join(web, "mock/server.mjs"), out, program, "0"]);
  base = String((await once(server.stdout, "data"))[0]).trim();
  context = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "page-")), {
    ...BROWSER,
    viewport: { width: 1366, height: 768 },
    bypassCSP: true,
  });
  context.setDefaultTimeout(8_000);
});
after(async () => {
  await context?.close();
  server?.kill();
});

const view = async (job) => (await fetch(`${base}api/jobs/${job}`)).json();

async function newJob(amp) {
  const body = JSON.stringify({ owner: "Rosa Ilves", complaint: "Hums.", amp });
  const answer = await fetch(`${base}api/jobs`, { method: "POST", body });
  return (await answer.json()).job;
}

async function open(route) {
  const page = await context.newPage();
  page.on("pageerror", (error) => assert.fail(error));
  await page.goto(`${base}#/${route}`);
  return page;
}

async function openMeasure(job) {
  const page = await open(`jobs/${job}/measure`);
  await page.getByRole("button", { name: /Understood/ }).click();
  await page.locator(".read-field").first().waitFor();
  return page;
}

const focused = (page) => page.evaluate(() => document.activeElement.dataset.at ?? "");

/** Waits until `look` finds something true; its last answer. */
async function until(look) {
  for (let tries = 0; ; tries++) {
    const found = await look();
    if (found || tries > 60) return found;
    await new Promise((later) => setTimeout(later, 50));
  }
}

test("two keys and Enter take a reading, and the next place has the focus", { skip }, async () => {
  const job = await newJob("wren-hollow");
  const page = await openMeasure(job);
  await page.evaluate(() => {
    globalThis.shifts = 0;
    new PerformanceObserver((list) => {
      for (const entry of list.getEntries())
        if (!entry.hadRecentInput) globalThis.shifts += entry.value;
    }).observe({ type: "layout-shift" });
  });
  assert.equal(await focused(page), "V1.1");
  const before = await page.locator(".side-reason").textContent();
  await page.keyboard.type("v25");
  await page.keyboard.press("Enter");
  assert.equal(await focused(page), "V2.5");
  await page.keyboard.type("12");
  await page.keyboard.press("Enter");
  assert.equal(await focused(page), "V2.8");
  await page.locator('[id="verdict V2.5"]').getByText("high").waitFor();
  const { readings } = await view(job);
  assert.deepEqual(
    readings.before.map(({ at, volts, meter }) => [at, volts, meter]),
    [["V2.5", 12, "10M"]],
  );
  await until(async () => (await page.locator(".side-reason").textContent()) !== before);
  assert.notEqual(await page.locator(".side-reason").textContent(), before);
  assert.ok((await page.evaluate(() => globalThis.shifts)) < 0.01, "something moved");
  await page.close();
});

test(
  "a reading above 60 V with the amp recorded as off records that it is on",
  { skip },
  async () => {
    const job = await newJob("wren-hollow");
    const page = await openMeasure(job);
    await page.keyboard.type("217");
    await page.keyboard.press("Enter");
    await until(async () => (await view(job)).readings.before.length === 1);
    assert.equal((await view(job)).powered.on, true);
    await page.getByRole("radio", { name: "Switched on" }).waitFor();
    assert.equal(await focused(page), "V1.2", "the caution asked again in mid-reading");
    await page.close();
  },
);

test(
  "half a number outlives a reload; what is no number is said and not sent",
  { skip },
  async () => {
    const job = await newJob("wren-hollow");
    let page = await openMeasure(job);
    await page.keyboard.type("1.");
    await page.reload();
    await page.getByRole("button", { name: /Understood/ }).click();
    const field = page.getByLabel("V1.1 plate, volts read");
    await field.waitFor();
    assert.equal(await field.inputValue(), "1.");
    await field.fill("12x");
    await field.press("Enter");
    await page.locator('[id="verdict V1.1"]').getByText("not a number").waitFor();
    assert.equal(await focused(page), "V1.1");
    assert.equal((await view(job)).readings.before.length, 0);
    await page.close();
  },
);

test("an emptied field takes its reading back; typing over corrects it", { skip }, async () => {
  const job = await newJob("wren-hollow");
  const page = await openMeasure(job);
  const field = page.getByLabel("V1.3 cathode, volts read");
  for (const volts of ["1.7", "1.8"]) {
    await field.fill(volts);
    await field.press("Enter");
    await until(async () => (await view(job)).readings.before[0]?.volts === Number(volts));
  }
  const facts = await (await fetch(`${base}api/jobs/${job}/facts`)).json();
  assert.equal(facts.filter(({ kind }) => kind === "reading").length, 2);
  await field.fill("");
  await field.press("Enter");
  await until(async () => (await view(job)).readings.before.length === 0);
  assert.equal((await view(job)).readings.before.length, 0);
  await page.close();
});

test("a pasted column is looked at first; what fits nowhere is left out", { skip }, async () => {
  const job = await newJob("wren-hollow");
  const page = await openMeasure(job);
  await page.getByRole("button", { name: "Paste a column" }).click();
  const dialog = page.getByRole("dialog");
  await dialog.getByRole("textbox").fill("V1.1\t218\nV1.3 = 1.7\nV9.9 12\nV2.8: oops\nB2 381");
  await dialog.getByText("left out: no such place on the chart").waitFor();
  await dialog.getByText("left out: not a number").waitFor();
  await dialog.getByRole("button", { name: "Record 3 readings" }).click();
  await until(async () => (await view(job)).readings.before.length === 3);
  const { readings } = await view(job);
  assert.deepEqual(
    readings.before.map(({ at, volts }) => [at, volts]),
    [
      ["V1.1", 218],
      ["V1.3", 1.7],
      ["B2", 381],
    ],
  );
  await page.close();
});

test(
  "numbers alone go into the chart's own order, from where they are pasted",
  { skip },
  async () => {
    const job = await newJob("wren-hollow");
    const page = await openMeasure(job);
    await page.getByLabel("V1.6 plate, volts read").evaluate((field) => {
      const data = new DataTransfer();
      data.setData("text", "219\n0\n1.74\n");
      field.dispatchEvent(
        new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true }),
      );
    });
    await page.getByRole("button", { name: "Record 3 readings" }).click();
    await until(async () => (await view(job)).readings.before.length === 3);
    assert.deepEqual(
      (await view(job)).readings.before.map(({ at }) => at),
      ["V1.6", "V1.7", "V1.8"],
    );
    await page.close();
  },
);

test(
  "one point at a time follows the suspects; n skips, b goes back, Enter takes",
  { skip },
  async () => {
    const job = await newJob("wren-hollow");
    const page = await openMeasure(job);
    const suspects = await (await fetch(`${base}api/jobs/${job}/suspects?phase=before`)).json();
    await page.getByRole("radio", { name: "One point" }).check();
    const place = page.locator(".probe-at");
    await place.waitFor();
    const first = suspects.next[0].at;
    assert.equal(await place.textContent(), first);
    await page.getByText(suspects.next[0].why).waitFor();
    await page.locator(".probe-entry input").press("n");
    await until(async () => (await place.textContent()) !== first);
    assert.equal(await place.textContent(), suspects.next[1].at);
    await page.locator(".probe-entry input").press("b");
    await until(async () => (await place.textContent()) === first);
    await page.keyboard.type("1.7");
    await page.keyboard.press("Enter");
    await until(async () => (await place.textContent()) !== first);
    assert.equal((await view(job)).readings.before[0].at, first);
    assert.equal(await page.locator(".probe-entry input").inputValue(), "");
    await page.getByText(`${first} read 1.70 V`).waitFor();
    await page.close();
  },
);

test("with the program gone a reading is kept, and sent when it is back", { skip }, async () => {
  const job = await newJob("wren-hollow");
  const page = await openMeasure(job);
  await page.route("**/api/jobs/*/facts", (route) => route.abort());
  await page.keyboard.type("12");
  await page.keyboard.press("Enter");
  await page.getByText("Not saved yet").waitFor();
  assert.equal(await page.getByLabel("V1.1 plate, volts read").inputValue(), "12");
  await page.unroute("**/api/jobs/*/facts");
  await until(async () => (await view(job)).readings.before.length === 1);
  assert.equal((await view(job)).readings.before[0].volts, 12);
  await page.close();
});

test(
  "from the suspects to the hand-over, by decisions, list, proof and words",
  { skip },
  async () => {
    const job = await newJob("wren-hollow");
    const add = (kind, body) =>
      fetch(`${base}api/jobs/${job}/facts`, {
        method: "POST",
        body: JSON.stringify({ kind, body }),
      });
    await add("reading", { phase: "before", at: "V2.5", volts: 5.2 });
    await add("reading", { phase: "before", at: "V2.8", volts: 27.5 });

    const page = await open(`jobs/${job}/find`);
    await page.locator(".find-part").first().waitFor();
    const leader = await page.locator(".find-part").first().textContent();

    await page.keyboard.press("6");
    await page.getByRole("heading", { name: leader, level: 2 }).waitFor();
    await page.keyboard.press("r");
    await page.locator(".proposals button").first().click();
    await page.getByLabel("Price of the part").fill("2.40");
    await page.getByLabel("Work", { exact: true }).fill("30");
    await page.getByRole("button", { name: "Record, next part" }).click();
    await until(async () => (await view(job)).decisions.length === 1);
    const { decisions } = await view(job);
    assert.deepEqual(
      [decisions[0].part, decisions[0].action, decisions[0].price],
      [leader, "replace", 240],
    );
    await page.getByRole("button", { name: "Record the estimate" }).click();
    await until(async () => (await view(job)).estimate !== null);
    assert.equal((await view(job)).estimate.total, Math.round((240 + 3250) * 1.2));
    await page.getByRole("radio", { name: "telephone" }).check();
    await page.getByRole("button", { name: "Accepted" }).click();
    await page.getByText("Accepted by Rosa Ilves, telephone").waitFor();

    await page.goto(`${base}#/jobs/${job}/repair`);
    await page.getByRole("button", { name: /Open it to/ }).click();
    await page.getByRole("button", { name: "Put it on the list" }).click();
    const box = page.getByRole("checkbox", { name: new RegExp(`Done: Replace ${leader}`) });
    await box.click();
    await page.locator('[aria-checked="true"]').waitFor();
    assert.equal((await view(job)).work[0].done, true);

    await page.goto(`${base}#/jobs/${job}/prove`);
    await page.getByRole("radio", { name: /Controls/ }).check();
    await page
      .getByRole("group", { name: "P1 volume" })
      .getByRole("radio", { name: "poor" })
      .check();
    await page.getByText("Still outside:").waitFor();

    await page.goto(`${base}#/jobs/${job}/hand-back`);
    const found = page.getByRole("textbox", { name: /Found/ });
    await found.waitFor();
    assert.match(await found.inputValue(), new RegExp(leader));
    await page.getByRole("button", { name: "Record the invoice" }).click();
    await page.getByRole("button", { name: "Mark it handed back" }).click();
    await page.locator(".closed").getByText("Handed back").waitFor();
    const done = await view(job);
    assert.equal(done.hand_back.cause_part, leader);
    assert.equal(done.invoice.total, Math.round((240 + 3250) * 1.2));
    const report = await page.request.get(
      await page
        .getByRole("link", { name: "Report" })
        .getAttribute("href")
        .then((path) => new URL(path, base).href),
    );
    assert.equal(report.headers()["content-type"], "application/pdf");
    await page.close();
  },
);

test("the clock of the work outlives a reload", { skip }, async () => {
  const page = await open("jobs/105/repair");
  await page.getByRole("button", { name: /Open it to/ }).click();
  await page.getByRole("button", { name: "Start" }).click();
  await page.waitForTimeout(2_100);
  await page.reload();
  await page.getByRole("button", { name: /Open it to/ }).click();
  const shown = await page.locator(".clock").textContent();
  assert.match(shown, /^0:0[2-9]$/);
  await page.getByRole("button", { name: "Stop" }).waitFor();
  await page.close();
});

test("an amp is copied, and what is wrong in it stands at its line", { skip }, async () => {
  const page = await open("amps/wren-hollow/file");
  const text = page.getByLabel("The file of wren-hollow");
  await text.waitFor();
  assert.equal(await text.getAttribute("readonly"), "");
  await page.getByRole("button", { name: "Copy to the shop" }).click();
  await page.getByLabel("Its name in the shop").fill("wren-test");
  await page.keyboard.press("Enter");
  const own = page.getByLabel("The file of wren-test");
  await own.waitFor();
  const whole = await own.inputValue();
  await own.fill(whole.replace("R3: {value: 1M", "R3: {value: 1Q"));
  const line = whole.split("\n").findIndex((words) => words.includes("R3: {value: 1M")) + 1;
  await page.locator(`.editor-notes [data-line="${line}"].wrong`).waitFor();
  await page.getByRole("button", { name: new RegExp(`line ${line}`) }).waitFor();
  assert.equal(await page.getByRole("button", { name: "Save", exact: true }).isDisabled(), true);
  await page.reload();
  await page.locator(`.editor-notes [data-line="${line}"].wrong`).waitFor();
  await own.fill(whole.replace("amp: Wren Hollow 5", "amp: Wren Hollow 5, ours"));
  await page.getByRole("button", { name: "Save", exact: true }).click();
  await page.getByText("Saved.", { exact: true }).waitFor();
  const kept = await (await fetch(`${base}api/amps/wren-test`)).json();
  assert.match(kept.text, /ours/);
  await page.close();
});

for (const route of [
  "jobs/105/measure",
  "jobs/105/find",
  "jobs/105/decide",
  "jobs/105/repair",
  "jobs/105/prove",
  "jobs/105/hand-back",
  "amps",
  "amps/saltpan/chart",
  "amps/saltpan/tubes",
  "amps/saltpan/file",
  "amps/saltpan/compare",
])
  test(`${route}: axe finds nothing, everything pressed is 48 px high`, { skip }, async () => {
    const page = await open(route);
    await page.locator("h1").waitFor();
    const caution = page.getByRole("button", { name: /Understood|Open it to/ });
    await page.waitForTimeout(600);
    for (const one of await caution.all()) await one.click();
    await page.waitForTimeout(900);
    await page.evaluate(axe);
    const { violations } = await page.evaluate((tags) => window.axe.run({ runOnly: tags }), TAGS);
    assert.deepEqual(
      violations.map(({ id, nodes }) => `${id} ${nodes[0].target}`),
      [],
    );
    const small = await page.evaluate(() =>
      [
        ...document.querySelectorAll(
          "main button, main input, main textarea, main label:has(input)",
        ),
      ]
        .filter(
          (one) =>
            one.checkVisibility() &&
            (one.closest(".number-box") ?? one).getBoundingClientRect().height < 47.5,
        )
        .filter((one) => one.type !== "radio")
        .map((one) => `${one.className} ${one.textContent}`.slice(0, 60)),
    );
    assert.deepEqual(small, []);
    await page.close();
  });

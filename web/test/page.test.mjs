// The page in a real browser against the stand-in server: nothing typed is lost, two tabs agree, no
// hands inside before a reading, nothing moves, the keyboard does everything.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";
import { BROWSER } from "../mock/browser.mjs";

const web = fileURLToPath(new URL("..", import.meta.url));
let server, context, base;

before(async () => {
  const out = mkdtempSync(join(tmpdir(), "page-"));
  execFileSync("node", [join(web, "build.mjs"), out]);
  server = spawn("node", [join(web, "mock/server.mjs"), out, "gridleak", "0"]);
  base = String((await once(server.stdout, "data"))[0]).trim();
  context = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "page-")), {
    ...BROWSER,
    viewport: { width: 1366, height: 768 },
  });
  context.setDefaultTimeout(5_000);
});
after(async () => {
  await context?.close();
  server?.kill();
});

const facts = async (job, kind) =>
  (await (await fetch(`${base}api/jobs/${job}/facts`)).json()).filter((fact) => fact.kind === kind);

async function open(route) {
  const page = await context.newPage();
  page.on("pageerror", (error) => assert.fail(error));
  page.on("console", (message) => assert.doesNotMatch(message.text(), /Content Security Policy/));
  await page.goto(`${base}#/${route}`);
  return page;
}

test("a job is taken in, drained and opened for hands", async () => {
  const page = await open("new");
  await page.getByRole("radio", { name: /Tidemark/ }).check();
  await page.getByRole("textbox", { name: "Owner" }).first().fill("Rosa Ilves");
  await page.getByLabel("The complaint").fill("<b>hums</b>'; DROP TABLE job; --");
  await page.getByRole("button", { name: "Open the job" }).click();
  await page.getByRole("heading", { name: "Make safe", level: 1 }).waitFor();
  const job = Number(/jobs\/(\d+)/.exec(page.url())[1]);

  await page.keyboard.press("3");
  await page.getByText("Hands out: not every filter capacitor").waitFor();
  assert.equal(await page.locator(".parts").count(), 0, "the parts are shown before it was asked");

  await page.keyboard.press("2");
  const view = await (await fetch(`${base}api/jobs/${job}`)).json();
  for (const { part } of view.drained.capacitors) {
    const field = page.getByLabel(`Read from ${part} to the chassis`);
    await field.fill("0,4");
    await field.press("Enter");
  }
  await page.getByText("Each one read below 60 V").waitFor();
  assert.equal((await facts(job, "drain")).length, view.drained.capacitors.length);
  await page.getByRole("button", { name: "On to: Look over" }).click();
  await page.locator(".parts").waitFor();

  await page.keyboard.press("2");
  await page.getByRole("radio", { name: "Switched on" }).check();
  await page.getByText("It is switched on").waitFor();
  await page.keyboard.press("3");
  await page.getByText("Hands out: it is switched on").waitFor();
  await page.close();
});

test("what is recorded while the program is away is kept through a reload and sent once", async () => {
  const page = await open("jobs/102/make-safe");
  const field = page.getByLabel("Read from C28 to the chassis");
  await field.waitFor();
  await page.route("**/api/**", (route) => route.abort());
  await field.fill("0.7");
  await field.press("Enter");
  await page.getByText("Not saved yet: C28 0.70 V. Kept in this browser").waitFor();
  await page.reload();
  await page.getByText("Not saved yet: C28 0.70 V. Kept in this browser").waitFor();
  assert.equal((await facts(102, "drain")).length, 0);
  await page.unroute("**/api/**");
  await page.getByText("Not saved yet").waitFor({ state: "detached" });
  assert.deepEqual(
    (await facts(102, "drain")).map(({ body }) => body.volts),
    [0.7],
  );
  await page.close();
});

test("an answer lost on the way back makes no second fact", async () => {
  const page = await open("jobs/102/make-safe");
  const field = page.getByLabel("Read from C29 to the chassis");
  await field.waitFor();
  let lost = 0;
  await page.route("**/facts", async (route) => {
    if (route.request().method() !== "POST" || lost++) return route.continue();
    await route.fetch();
    return route.abort();
  });
  await field.fill("0.3");
  await field.press("Enter");
  await page.getByLabel("Read from C30 to the chassis").waitFor();
  assert.equal((await facts(102, "drain")).filter(({ body }) => body.at === "C29").length, 1);
  await page.close();
});

test("what the program refuses stays, with its reason, until thrown away", async () => {
  const page = await open("jobs/102/make-safe");
  const field = page.getByLabel("Read from C30 to the chassis");
  await field.fill("6000");
  await field.press("Enter");
  await page.getByText("Refused: C30 6000 V").waitFor();
  await page.getByRole("button", { name: "See why" }).click();
  await page.getByText("is no reading of this amp").waitFor();
  await page.getByRole("button", { name: "Throw away" }).click();
  await page.getByText("All is saved.").waitFor();
  await page.close();
});

test("half a number is kept through a reload, and not recorded", async () => {
  const page = await open("jobs/102/make-safe");
  const field = page.getByLabel("Read from C30 to the chassis");
  await field.fill("1.");
  await field.press("Enter");
  await page.getByText("Finish the number: 1.").waitFor();
  await page.reload();
  await field.waitFor();
  assert.equal(await field.inputValue(), "1.");
  await field.fill("");
  await page.close();
});

test("two tabs on one job agree within a second", async () => {
  const [one, two] = [await open("jobs/103/make-safe"), await open("jobs/103/look-over")];
  await one.getByRole("radio", { name: "Switched on" }).check();
  await two.getByText("Hands out: it is switched on").waitFor({ timeout: 1_000 });
  await one.getByText("Recorded: switched on.").waitFor();
  await one.keyboard.press("u");
  await two.getByText("Hands out: not every filter capacitor").waitFor({ timeout: 1_000 });
  await one.close();
  await two.close();
});

test("parts are looked over by keyboard alone, and recorded on going on", async () => {
  const page = await open("jobs/101/look-over");
  await page.locator(".part-line[aria-current]").waitFor();
  for (const key of ["ArrowDown", "r", "f", "ArrowDown"]) await page.keyboard.press(key);
  await page.getByText("Recorded: V2, replaced, fine.").waitFor();
  const [look] = (await facts(101, "look")).slice(-1);
  assert.deepEqual(look.body, { part: "V2", state: "replaced", condition: ["fine"] });
  await page.keyboard.press("?");
  await page.getByRole("dialog", { name: "Keys" }).waitFor();
  await page.close();
});

test("the search takes the focus from anywhere", async () => {
  const page = await open("jobs/101/make-safe");
  await page.getByText("The record").waitFor();
  await page.keyboard.press("/");
  await page.locator("input[type=search]:focus").waitFor();
  await page.keyboard.type("tremolo");
  await page.getByText("Tomas Lindqvist").waitFor();
  await page.getByText("Wanda Brook").waitFor({ state: "detached" });
  await page.close();
});

test("nothing moves while answers arrive", async () => {
  for (const route of ["", "jobs/101/make-safe", "jobs/101/look-over", "new"]) {
    const page = await context.newPage();
    await page.addInitScript(() => {
      window.moved = 0;
      new PerformanceObserver((list) => {
        for (const entry of list.getEntries())
          if (!entry.hadRecentInput) window.moved += entry.value;
      }).observe({ type: "layout-shift", buffered: true });
    });
    await page.goto(`${base}#/${route}`);
    await page.waitForTimeout(600);
    const moved = await page.evaluate(() => window.moved);
    assert.ok(moved < 0.02, `#/${route} moved by ${moved}`);
    await page.close();
  }
});

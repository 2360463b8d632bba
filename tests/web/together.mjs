// Two browsers on one job, a server that is killed in mid-job, a page that is cut off: what was typed
// is there once, whatever happens.
import assert from "node:assert/strict";
import { after, test } from "node:test";
import {
  addFact,
  ask,
  closePage,
  drain,
  factsOf,
  folder,
  newJob,
  openPage,
  remove,
  sleep,
  startBench,
  startBrowser,
} from "./bench.mjs";

const shop = folder("together");
const store = `${shop}/shop.db`;
let bench = await startBench(store);
const { base, port } = bench;
const [one, two] = [await startBrowser(), await startBrowser()];
after(async () => {
  await one.end();
  await two.end();
  await bench.end();
  remove(shop);
});

const read = (at) => `[data-at="${at}"]`;
const place = (page, at) => page.locator(read(at));

/** The chart of a job, opened for readings. */
async function openChart(browser, job) {
  const page = await openPage(browser.context, base, `jobs/${job}/measure`);
  await page.getByRole("button", { name: "Understood: show the chart" }).click();
  await place(page, "V1.1").waitFor();
  return page;
}

async function take(page, at, volts) {
  await place(page, at).fill(String(volts));
  await place(page, at).press("Enter");
}

const shows = (page, at, volts) =>
  page.waitForFunction(
    ([selector, text]) => document.querySelector(selector)?.value === text,
    [read(at), String(volts)],
  );

const saved = (page) => page.getByText("Not saved yet").waitFor({ state: "detached" });

const readings = async (job) =>
  Object.fromEntries(
    (await factsOf(base, job, "reading")).map(({ body }) => [body.at, body.volts]),
  );

test("each sees the other's readings, suspects and switch-on, without a reload", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  await drain(base, job);
  const [left, right] = [await openChart(one, job), await openChart(two, job)];
  await take(left, "V2.8", 28.1);
  await shows(right, "V2.8", 28.1);
  await right.locator(".chart-verdict", { hasText: "high" }).waitFor();
  await right.locator(".suspects[aria-busy=false] li", { hasText: "C6" }).first().waitFor();
  await take(right, "V1.1", 219);
  await shows(left, "V1.1", 219);
  await addFact(base, job, "power", { on: true });
  for (const page of [left, right])
    await page.locator(".drain-word", { hasText: "Switched on" }).waitFor();
  await closePage(left);
  await closePage(right);
});

test("both add at once: all of it is there, on both pages and in the store", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const [left, right] = [await openChart(one, job), await openChart(two, job)];
  const half = { left: ["V1.1", "V1.3", "V1.6", "V1.8"], right: ["V2.3", "V2.4", "V2.8", "V3.8"] };
  const volts = (at) => Number(at.replace(/\D/g, ""));
  const work = async (page, places) => {
    for (const at of places) await take(page, at, volts(at));
    await saved(page);
  };
  await Promise.all([work(left, half.left), work(right, half.right)]);
  const all = [...half.left, ...half.right];
  for (const page of [left, right]) for (const at of all) await shows(page, at, volts(at));
  assert.deepEqual(await readings(job), Object.fromEntries(all.map((at) => [at, volts(at)])));
  await closePage(left);
  await closePage(right);
});

test("two readings of one place at once: the later stays, the earlier is in the record", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const [left, right] = [await openChart(one, job), await openChart(two, job)];
  await Promise.all([take(left, "V1.1", 201), take(right, "V1.1", 202)]);
  await Promise.all([saved(left), saved(right)]);
  const facts = await ask(base, `api/jobs/${job}/facts`);
  const typed = facts.filter(({ kind }) => kind === "reading").map(({ body }) => body.volts);
  assert.deepEqual(typed.sort(), [201, 202]);
  const { readings: now } = await ask(base, `api/jobs/${job}`);
  assert.equal(now.before.length, 1);
  for (const page of [left, right]) await shows(page, "V1.1", now.before[0].volts);
  await closePage(left);
  await closePage(right);
});

test("killed in mid-job and started again, five times: each reading once", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openChart(one, job);
  const typed = {};
  for (const [turn, at] of ["V1.1", "V1.6", "V2.3", "V2.4", "V3.8"].entries()) {
    const before = ["V1.3", "V1.8", "V2.8", "V2.5", "B2"][turn];
    await take(page, before, turn + 1); // on its way when the server goes
    await sleep(turn * 3);
    await bench.kill();
    await take(page, at, 200 + turn);
    await page.getByText("Kept in this browser").waitFor();
    Object.assign(typed, { [before]: turn + 1, [at]: 200 + turn });
    bench = await startBench(store, port);
    await saved(page);
    assert.deepEqual(await readings(job), typed);
  }
  const all = (await ask(base, `api/jobs/${job}/facts`)).filter(({ kind }) => kind === "reading");
  assert.equal(all.length, Object.keys(typed).length, "a reading was recorded twice");
  const other = await openChart(two, job); // and the stream is open again
  await take(other, "V1.7", 0);
  await shows(page, "V1.7", 0);
  await closePage(page);
  await closePage(other);
});

test("the browser killed too: what was kept is sent when it opens again", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openChart(one, job);
  await place(page, "V1.3").fill("1."); // half typed
  await bench.kill();
  await take(page, "V1.1", 215);
  await page.getByText("Not saved yet: 2 things").waitFor(); // the reading says that it is on, too
  await page.close();
  bench = await startBench(store, port);
  const again = await openChart(one, job);
  await saved(again);
  await shows(again, "V1.1", 215);
  await shows(again, "V1.3", "1.");
  assert.deepEqual(await readings(job), { "V1.1": 215 });
  await closePage(again);
});

test("cut off, the page keeps what is typed and says so; joined again, it is saved once", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openChart(two, job);
  await two.context.setOffline(true);
  await take(page, "V1.1", 214);
  await take(page, "V1.6", 221);
  await page.getByText("Not saved yet: 3 things. Kept in this browser").waitFor();
  assert.deepEqual(await readings(job), {});
  await two.context.setOffline(false);
  await saved(page);
  assert.deepEqual(await readings(job), { "V1.1": 214, "V1.6": 221 });
  await closePage(page);
});

test("nothing is asked of any other host", async () => {
  const page = await one.context.newPage();
  const asked = new Set();
  page.on("request", (request) => asked.add(new URL(request.url()).origin));
  for (const route of ["", "new", "amps", "shop", "jobs/1/measure", "jobs/1/find"]) {
    await page.goto(`${base}#/${route}`);
    await page.reload({ waitUntil: "load" });
    await page.locator("main h1").waitFor();
  }
  assert.deepEqual([...asked], [new URL(base).origin]);
  await page.close();
});

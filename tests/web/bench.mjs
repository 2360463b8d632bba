// What the tests of the page share: the program itself serving a new shop, and a browser on it.
// GRIDLEAK names the program.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { BROWSER } from "../../web/mock/browser.mjs";

const require = createRequire(new URL("../../web/package.json", import.meta.url));
const { chromium } = require("playwright-core");
export const AXE = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

export const PROGRAM = process.env.GRIDLEAK;
assert.ok(PROGRAM, "GRIDLEAK must name the program");

const DEMO = fileURLToPath(new URL("../../data/demo/shop.json", import.meta.url));

export const LAPTOP = { width: 1366, height: 768 };
export const TABLET = { width: 820, height: 1180 };

const START_MS = 15_000;
const WAIT_MS = 15_000; // a loaded machine is slow; nothing here sleeps this long

export const folder = (name) => mkdtempSync(join(tmpdir(), `gridleak-${name}-`));
export const remove = (path) => rmSync(path, { recursive: true, force: true });
export const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

/* ---- the program ------------------------------------------------------------------------------- */

export function address(child) {
  return new Promise((found, failed) => {
    let text = "";
    const late = setTimeout(() => failed(new Error(`no address came: ${text}`)), START_MS);
    const hear = (data) => {
      text += data;
      const url = /http:\/\/127\.0\.0\.1:\d+\//.exec(text)?.[0];
      if (url) (clearTimeout(late), found(url));
    };
    child.stdout.on("data", hear);
    child.stderr.on("data", hear);
    child.on("exit", (code) => failed(new Error(`ended with ${code}: ${text}`)));
  });
}

/** Makes `store` from the invented shop of the demonstration. */
export const demoShop = (store) =>
  execFileSync(PROGRAM, ["import", DEMO, store], { stdio: ["ignore", "ignore", "inherit"] });

/** Serves the shop in `store` until it is ended or killed; `port` 0 takes a free one. */
export async function startBench(store, port = 0) {
  const asked = ["bench", store, "--port", String(port), "--no-browser"];
  const child = spawn(PROGRAM, asked, { stdio: ["ignore", "pipe", "pipe"] });
  const gone = new Promise((done) => child.on("exit", (code, signal) => done(signal ?? code)));
  const base = await address(child);
  const end = (signal) => (child.kill(signal), gone);
  return {
    base,
    port: Number(new URL(base).port),
    end: () => end("SIGINT"),
    kill: () => end("SIGKILL"),
  };
}

/** Asks the program beside the page; the answer's JSON. */
export async function ask(base, path, body, method = body === undefined ? "GET" : "POST") {
  const init = { method, headers: {} };
  if (body !== undefined) {
    init.headers["Content-Type"] = "application/json";
    init.body = JSON.stringify(body);
  }
  const answer = await fetch(new URL(path, base), init);
  const json = await answer.json();
  assert.ok(answer.ok, `${method} ${path}: ${JSON.stringify(json)}`);
  return json;
}

export const newJob = async (base, body) =>
  (
    await ask(base, "api/jobs", {
      owner: "Ada Kern",
      complaint: "no sound",
      ...body,
    })
  ).job;

export const addFact = (base, job, kind, body) =>
  ask(base, `api/jobs/${job}/facts`, { kind, body });

/** The facts of a kind that stand. */
export async function factsOf(base, job, kind) {
  const facts = await ask(base, `api/jobs/${job}/facts`);
  const replaced = new Set(facts.map(({ replaces }) => replaces));
  return facts.filter((fact) => fact.kind === kind && !fact.undone && !replaced.has(fact.id));
}

/** Reads every filter capacitor of the job below 60 V. */
export async function drain(base, job) {
  const view = await ask(base, `api/jobs/${job}`);
  for (const { part } of view.drained.capacitors)
    await addFact(base, job, "drain", { at: part, volts: 0.4, through: 470 });
}

/** The text of a PDF that the program serves. */
export async function pdfText(base, path) {
  const answer = await fetch(new URL(path, base));
  assert.equal(answer.headers.get("content-type"), "application/pdf");
  const file = join(folder("pdf"), "paper.pdf");
  writeFileSync(file, Buffer.from(await answer.arrayBuffer()));
  return execFileSync("pdftotext", ["-layout", file, "-"], {
    encoding: "utf8",
  });
}

/* ---- the browser ------------------------------------------------------------------------------- */

/** A browser with nothing in its storage. */
export async function startBrowser(more = {}) {
  const profile = folder("browser");
  const context = await chromium.launchPersistentContext(profile, {
    ...BROWSER,
    viewport: LAPTOP,
    ...more,
  });
  context.setDefaultTimeout(WAIT_MS);
  return { context, end: () => context.close().then(() => remove(profile)) };
}

// What the browser says by itself of a server that was killed, or a refusal that a test asked for.
const EXPECTED = /net::ERR_|Failed to load resource: the server responded with a status of (4|5)/;

/** Opens a page; `complaints` fills with what the console has against it, whatever it is. */
export async function openPage(context, base, route = "") {
  const page = await context.newPage();
  page.complaints = [];
  page.on("pageerror", (error) => page.complaints.push(`error: ${error.message}`));
  page.on("console", (message) => {
    const text = message.text();
    if (["error", "warning"].includes(message.type()) && !EXPECTED.test(text))
      page.complaints.push(`${message.type()}: ${text}`);
  });
  await page.goto(`${base}#/${route}`);
  return page;
}

export async function closePage(page) {
  await page.close();
  assert.deepEqual(page.complaints, []);
}

/* ---- hands on the keyboard --------------------------------------------------------------------- */

const TABS = 150;

/** What a screen reader would call the element that has the focus. */
const focused = (page) =>
  page.evaluate(() => {
    const one = document.activeElement;
    const group = one.closest("fieldset")?.querySelector("legend")?.textContent ?? "";
    const name =
      one.getAttribute("aria-label") ?? one.labels?.[0]?.textContent ?? one.textContent ?? "";
    const tidy = (text) => text.replace(/\s+/g, " ").trim();
    return { name: tidy(name), group: tidy(group), tag: one.tagName };
  });

const fits = (wanted, text) => (wanted instanceof RegExp ? wanted.test(text) : wanted === text);

/** Goes by Tab to the control of that name (a radio group by its legend or a choice in it). */
export async function tabTo(page, wanted, key = "Tab") {
  const passed = [];
  for (let i = 0; i < TABS; i++) {
    await page.keyboard.press(key);
    const at = await focused(page);
    if (fits(wanted, at.name) || fits(wanted, at.group)) return;
    passed.push(at.name || at.tag);
  }
  assert.fail(`Tab never comes to ${wanted}; it passes ${[...new Set(passed)].join(" | ")}`);
}

/** Tab to a button or link, and Enter. */
export async function press(page, wanted) {
  await tabTo(page, wanted);
  await page.keyboard.press("Enter");
}

/** Tab to a field, and what goes into it in place of what is there. */
export async function type(page, wanted, text, enter = false) {
  await tabTo(page, wanted);
  await page.keyboard.press("Control+a");
  await page.keyboard.type(text);
  if (enter) await page.keyboard.press("Enter");
}

/** Tab to a group of choices, arrows to the choice of those words. */
export async function choose(page, group, words) {
  await tabTo(page, group);
  for (let i = 0; i < 12; i++) {
    const { name } = await focused(page);
    if (fits(words, name)) return page.keyboard.press(" ");
    await page.keyboard.press("ArrowRight");
  }
  assert.fail(`no choice ${words} in ${group}`);
}

/* ---- stages of one visit ----------------------------------------------------------------------- */

/** Subtests that build upon each other: after one that failed, the rest is left out. PICTURES names
 * a folder for a picture of the page as it stood then. */
export function stages(t, page) {
  let failed = false;
  return (name, run) =>
    t.test(name, { skip: failed && "an earlier stage failed" }, async () => {
      try {
        await run();
      } catch (error) {
        failed = true;
        const path = process.env.PICTURES && join(process.env.PICTURES, "failed.png");
        if (path) await page.screenshot({ path });
        for (const words of page.complaints) t.diagnostic(words);
        throw error;
      }
    });
}

// Every screen of the invented shop: WCAG 2.2 AA by axe-core in light and dark, nothing wider than a
// tablet, controls that a thumb can hit, nothing moving as readings arrive. PICTURES names a folder
// for a picture of each.
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { after, test } from "node:test";
import {
  addFact,
  ask,
  AXE,
  closePage,
  demoShop,
  folder,
  LAPTOP,
  openPage,
  remove,
  startBench,
  startBrowser,
  TABLET,
} from "./bench.mjs";

const shop = folder("screens");
demoShop(`${shop}/shop.db`);
const bench = await startBench(`${shop}/shop.db`);
const browser = await startBrowser();
const { base } = bench;
after(async () => {
  await browser.end();
  await bench.end();
  remove(shop);
});

const pictures = process.env.PICTURES;
if (pictures) mkdirSync(pictures, { recursive: true });

// Jobs of the invented shop, by how far they are.
const open = await ask(base, "api/jobs?open=1");
const at = (stage) => open.find((row) => row.stage === stage).job;
const SAFE = at("make safe");
const MEASURED = at("measure");
const DECIDED = at("decide");
const PROVEN = at("prove");
const DONE = (await ask(base, "api/jobs?most=50")).find(({ stage }) => stage === "done").job;

const SCREENS = {
  bench: "",
  new: "new",
  shop: "shop",
  amps: "amps",
  "amp-chart": "amps/millrace/chart",
  "amp-tubes": "amps/millrace/tubes",
  "amp-file": "amps/millrace/file",
  "amp-compare": "amps/millrace/compare",
  "take-in": `jobs/${SAFE}/take-in`,
  "make-safe": `jobs/${SAFE}/make-safe`,
  "look-over-asked": `jobs/${SAFE}/look-over`,
  "look-over": `jobs/${MEASURED}/look-over`,
  "measure-asked": `jobs/${MEASURED}/measure`,
  measure: `jobs/${MEASURED}/measure`,
  point: `jobs/${DECIDED}/measure`,
  find: `jobs/${DECIDED}/find`,
  decide: `jobs/${DECIDED}/decide`,
  repair: `jobs/${PROVEN}/repair`,
  prove: `jobs/${PROVEN}/prove`,
  "prove-compare": `jobs/${PROVEN}/prove`,
  "prove-bias": `jobs/${PROVEN}/prove`,
  "hand-back": `jobs/${DONE}/hand-back`,
};

/** What is done on a screen before it is looked at. */
const TAB = (name) => (page) => page.getByRole("radio", { name }).check();
const understood = (page) =>
  page.getByRole("button", { name: "Understood: show the chart" }).click();
const handsOut = async (page) => {
  const button = page.getByRole("button", { name: /my hands stay out/ });
  if (await button.count()) await button.click();
};
const BEFORE = {
  measure: understood,
  point: async (page) => {
    await understood(page);
    await page.getByRole("radio", { name: "One point" }).check();
    await page.locator(".probe-point").waitFor();
  },
  "look-over": handsOut,
  repair: handsOut,
  "prove-compare": TAB("Before and after"),
  "prove-bias": TAB("Bias"),
};

/** Nothing is asked any more, and what came is drawn. */
async function settled(page) {
  for (let calm = 0; calm < 3;) {
    const busy = await page.evaluate(
      () =>
        new Promise((done) =>
          requestAnimationFrame(() =>
            requestAnimationFrame(() =>
              done(!!document.querySelector("main .wait, .thinking, [aria-busy=true]")),
            ),
          ),
        ),
    );
    calm = busy || page.asked.size ? 0 : calm + 1;
  }
}

/** Keeps `page.asked`: what was asked of the program and not answered yet, the stream left out. */
function watchAsked(page) {
  page.asked = new Set();
  page.on("request", (one) => !one.url().endsWith("/api/events") && page.asked.add(one));
  for (const end of ["requestfinished", "requestfailed"])
    page.on(end, (one) => page.asked.delete(one));
}

/** Opens a screen as new, as it looks to whoever comes to it first. */
async function show(page, name) {
  await page.goto("about:blank");
  await page.goto(`${base}#/${SCREENS[name]}`);
  await page.locator("main h1").waitFor();
  await settled(page);
  await BEFORE[name]?.(page);
  await settled(page);
}

/* ---- axe, sizes ---------------------------------------------------------------------------------- */

const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

async function axe(page) {
  await page.evaluate(AXE);
  const { violations } = await page.evaluate((tags) => window.axe.run({ runOnly: tags }), TAGS);
  return violations.map(
    ({ id, nodes }) => `${id}: ${nodes.map(({ target }) => target.join(" ")).slice(0, 3)}`,
  );
}

/** Controls under 48 px, and what makes the page scroll sideways. */
const misfits = (page) =>
  page.evaluate(() => {
    const found = [];
    const width = document.documentElement.scrollWidth;
    if (width > window.innerWidth) found.push(`the page is ${width} px wide`);
    const typed = "input:not([type=radio], [type=checkbox], [type=file])";
    for (const one of document.querySelectorAll(`button, .button, select, textarea, ${typed}`)) {
      const { height, width } = (one.closest(".number-box") ?? one).getBoundingClientRect();
      if (!width || (height >= 47.5 && width >= 47.5)) continue;
      const name = one.getAttribute("aria-label") ?? one.textContent ?? one.className;
      found.push(`${one.tagName} “${name}” is ${Math.round(width)} by ${Math.round(height)} px`);
    }
    return found;
  });

for (const [size, viewport] of Object.entries({ laptop: LAPTOP, tablet: TABLET }))
  for (const colorScheme of ["light", "dark"])
    test(`every screen at ${size} size, ${colorScheme}`, async () => {
      const page = await openPage(browser.context, base);
      watchAsked(page);
      await page.setViewportSize(viewport);
      await page.emulateMedia({ colorScheme });
      const wrong = [];
      for (const name of Object.keys(SCREENS)) {
        await show(page, name);
        if (pictures)
          await page.screenshot({ path: join(pictures, `${name}-${size}-${colorScheme}.png`) });
        for (const words of [...(await axe(page)), ...(await misfits(page))])
          wrong.push(`${name}: ${words}`);
      }
      assert.deepEqual(wrong, []);
      await closePage(page);
    });

/* ---- by keyboard ----------------------------------------------------------------------------------- */

const STEPS = 400;

/** Goes round by Tab, from where the focus is to there again. Says what was never reached, what had the focus hidden behind something
 * that stays, and what showed no ring. */
async function walk(page) {
  await page.evaluate(() => {
    const wanted = "button:not(:disabled), a[href], textarea, select, input:not([type=radio])";
    const shown = (one) => one.getClientRects().length > 0 && one.checkVisibility();
    window.left = new Set([...document.querySelectorAll(wanted)].filter(shown));
    window.nameOf = (one) =>
      (one.getAttribute("aria-label") ?? one.labels?.[0]?.textContent ?? one.textContent).slice(
        0,
        40,
      );
    document.activeElement.blur();
  });
  const wrong = new Set();
  for (let i = 0, rounds = 0; i < STEPS && rounds < 2; i++) {
    await page.keyboard.press("Tab");
    const told = await page.evaluate(() => {
      const one = document.activeElement;
      window.left.delete(one);
      if (one === document.body) return "";
      const box = one.getBoundingClientRect();
      const way = (one.closest("main") ?? document.body).getBoundingClientRect();
      const y = (Math.max(box.top, way.top) + Math.min(box.bottom, way.bottom)) / 2;
      const x = (box.left + box.right) / 2;
      const at = document.elementFromPoint(x, y);
      const ring = [one, one.closest("label"), one.closest(".number-box, .editor")].filter(Boolean);
      const drawn = ring.some((each) => getComputedStyle(each).outlineStyle !== "none");
      if (!at || !(one.contains(at) || at.contains(one) || at.closest("label")?.contains(one)))
        return `${window.nameOf(one)} is hidden`;
      return drawn ? "" : `${window.nameOf(one)} shows no ring`;
    });
    if (told) wrong.add(told);
    if (await page.evaluate(() => document.activeElement === document.body)) rounds++;
  }
  for (const name of await page.evaluate(() => [...window.left].map(window.nameOf)))
    wrong.add(`${name} is never reached`);
  return [...wrong];
}

for (const [size, viewport] of Object.entries({ laptop: LAPTOP, tablet: TABLET }))
  test(`by Tab everything is reached, in sight, with a ring, at ${size} size`, async () => {
    const page = await openPage(browser.context, base);
    watchAsked(page);
    await page.setViewportSize(viewport);
    const wrong = [];
    for (const name of Object.keys(SCREENS)) {
      await show(page, name);
      for (const words of await walk(page)) wrong.push(`${name}: ${words}`);
    }
    assert.deepEqual(wrong, []);
    await closePage(page);
  });

/* ---- nothing moves ------------------------------------------------------------------------------- */

/** Opens a screen with a watch on what moves; `moved()` is the sum since. What a key or a click moved
 * within half a second counts for nothing, so the readings come from another browser. */
async function watched(name) {
  const page = await browser.context.newPage();
  watchAsked(page);
  await page.addInitScript(() => {
    window.moved = [];
    new PerformanceObserver((list) => {
      for (const { hadRecentInput, value, sources } of list.getEntries())
        if (!hadRecentInput)
          window.moved.push(
            [
              value.toFixed(6),
              ...sources.map(
                ({ node, currentRect: { x, y } }) =>
                  `${node?.className || node?.nodeName} ${node?.textContent?.slice(0, 20)} at ${x}, ${y}`,
              ),
            ].join(" | "),
          );
    }).observe({ type: "layout-shift", buffered: true });
  });
  await show(page, name);
  await page.waitForTimeout(600);
  return page;
}

const moved = (page) => page.evaluate(() => window.moved);

/** What an eye could see: more than a mark of a few pixels. */
const visible = (list) => list.filter((words) => parseFloat(words) > 0.00001);

for (const name of ["measure", "point", "find", "make-safe", "prove-compare", "bench"])
  test(`nothing moves on ${name} as facts arrive`, async () => {
    const page = await watched(name);
    await page.evaluate(() => (window.moved = []));
    const job = Number(/jobs\/(\d+)/.exec(SCREENS[name])?.[1] ?? DECIDED);
    const { lines } = await ask(base, `api/jobs/${job}/chart`);
    const free = lines.filter((line) => line.read === null && line.shown !== null).slice(0, 4);
    for (const line of free) {
      const body = { phase: "before", at: line.at, volts: Number(line.shown.toPrecision(3)) };
      await addFact(base, job, "reading", { ...body, meter: "10M" });
      await page.waitForTimeout(250);
    }
    await settled(page);
    await page.waitForTimeout(250);
    assert.deepEqual(visible(await moved(page)), []);
    await page.close();
  });

test("nothing moves while a screen opens", async () => {
  const wrong = [];
  for (const name of [
    "bench",
    "new",
    "amps",
    "take-in",
    "make-safe",
    "measure-asked",
    "find",
    "decide",
  ]) {
    const page = await watched(name);
    const sum = (await moved(page)).map(parseFloat).reduce((all, one) => all + one, 0);
    if (sum > 0.02) wrong.push(`${name}: ${(await moved(page)).join("; ")}`);
    await page.close();
  }
  assert.deepEqual(wrong, []);
});

// Every screen of the invented shop by keyboard: all is reached, in sight, with a ring. And nothing
// moves under the eye, while a screen opens or as readings arrive.
import assert from "node:assert/strict";
import { after, test } from "node:test";
import { addFact, ask, closePage, openPage } from "./bench.mjs";
import {
  base,
  context,
  DECIDED,
  end,
  SCREENS,
  settled,
  show,
  SIZES,
  watchAsked,
} from "./shown.mjs";

after(end);

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

for (const [size, viewport] of Object.entries(SIZES))
  test(`by Tab everything is reached, in sight, with a ring, at ${size} size`, async () => {
    const page = await openPage(context, base);
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

test("a note is typed at once, and a dialog gives the focus back", async () => {
  const page = await openPage(context, base, SCREENS["make-safe"]);
  await page.locator(".drain-field").waitFor();
  await page.keyboard.press("w");
  await page.keyboard.type("both fuses are new");
  await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  await page.getByText(/Recorded: note .both fuses are new/).waitFor();
  await page.keyboard.press("Escape");
  await page.locator("dialog[open]").waitFor({ state: "detached" });
  await page.keyboard.press("3");
  await page.getByRole("heading", { name: "Look over", level: 1 }).waitFor();
  await closePage(page);
});

/* ---- nothing moves ------------------------------------------------------------------------------- */

/** Opens a screen with a watch on what moves; `moved()` is the sum since. What a key or a click moved
 * within half a second counts for nothing, so the readings come from another browser. */
async function watched(name) {
  const page = await context.newPage();
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

for (const name of ["measure", "point", "guided", "find", "make-safe", "prove-compare", "bench"])
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

// Every screen of the invented shop: how it is opened, and when it has come to rest.
import {
  ask,
  demoShop,
  folder,
  LAPTOP,
  remove,
  startBench,
  startBrowser,
  TABLET,
} from "./bench.mjs";

const shop = folder("screens");
demoShop(`${shop}/shop.db`);
const bench = await startBench(`${shop}/shop.db`);
const browser = await startBrowser();
export const { base } = bench;
export const { context } = browser;

export async function end() {
  await browser.end();
  await bench.end();
  remove(shop);
}

export const SIZES = { laptop: LAPTOP, tablet: TABLET };

// Jobs of the invented shop, by how far they are.
const open = await ask(base, "api/jobs?open=1");
const at = (stage) => open.find((row) => row.stage === stage).job;
const SAFE = at("make safe");
const MEASURED = at("measure");
export const DECIDED = at("decide");
const PROVEN = at("prove");
const DONE = (await ask(base, "api/jobs?most=50")).find(({ stage }) => stage === "done").job;

export const SCREENS = {
  bench: "",
  new: "new",
  shop: "shop",
  amps: "amps",
  "amp-chart": "amps/millrace/chart",
  "amp-tubes": "amps/millrace/tubes",
  "amp-response": "amps/millrace/response",
  "amp-hum": "amps/millrace/hum",
  "amp-tremolo": "amps/millrace/tremolo",
  "amp-file": "amps/millrace/file",
  "amp-compare": "amps/millrace/compare",
  "take-in": `jobs/${SAFE}/take-in`,
  "make-safe": `jobs/${SAFE}/make-safe`,
  "look-over-asked": `jobs/${SAFE}/look-over`,
  "look-over": `jobs/${MEASURED}/look-over`,
  "measure-asked": `jobs/${MEASURED}/measure`,
  measure: `jobs/${MEASURED}/measure`,
  point: `jobs/${DECIDED}/measure`,
  guided: `jobs/${DECIDED}/measure`,
  other: `jobs/${DECIDED}/measure`,
  find: `jobs/${DECIDED}/find`,
  decide: `jobs/${DECIDED}/decide`,
  swap: `jobs/${DECIDED}/decide`,
  margins: `jobs/${DECIDED}/decide`,
  time: `jobs/${DECIDED}/decide`,
  output: `jobs/${DECIDED}/decide`,
  fuse: `jobs/${DECIDED}/decide`,
  repair: `jobs/${PROVEN}/repair`,
  prove: `jobs/${PROVEN}/prove`,
  "prove-compare": `jobs/${PROVEN}/prove`,
  "prove-bias": `jobs/${PROVEN}/prove`,
  "hand-back": `jobs/${DONE}/hand-back`,
};

/** What opens over a screen, by a key. */
export const DIALOGS = {
  keys: `jobs/${SAFE}/make-safe`,
  notes: `jobs/${SAFE}/make-safe`,
  mains: `jobs/${DECIDED}/measure`,
  column: `jobs/${SAFE}/measure`,
  wire: `jobs/${SAFE}/make-safe`,
};
const dialog = (key) => async (page) => {
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.press(key);
  await page.locator("dialog[open]").waitFor();
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
  keys: dialog("?"),
  notes: dialog("w"),
  mains: dialog("m"),
  column: async (page) => {
    await understood(page);
    await page.locator(".chart-row").first().waitFor();
    if (await page.locator("dialog[open]").count()) return; // left open: it is kept so
    await page.getByRole("button", { name: "Paste a column" }).click();
    await page.locator("dialog[open]").waitFor();
  },
  measure: understood,
  point: async (page) => {
    await understood(page);
    await page.getByRole("radio", { name: "One point" }).check();
    await page.locator(".probe-point").waitFor();
  },
  decide: TAB("Parts"),
  swap: async (page) => {
    await TAB("Try on paper")(page);
    const tried = page.getByRole("button", { name: /^Leave out/ });
    if (await tried.count()) return;
    await page.getByLabel("Try a change on paper").fill("R12=1k");
    await page.keyboard.press("Enter");
    await page.getByText("Mended:").waitFor();
  },
  margins: TAB("Ratings"),
  time: async (page) => {
    await TAB("In time")(page);
    await page.locator(".curves canvas").waitFor();
  },
  output: async (page) => {
    await TAB("Output")(page);
    await page.locator(".curves canvas").waitFor();
  },
  fuse: TAB("Fuses, mains"),
  guided: async (page) => {
    await understood(page);
    await page.getByRole("radio", { name: "Guided" }).check();
    await page.locator(".guide").waitFor();
  },
  other: async (page) => {
    await understood(page);
    await page.getByRole("radio", { name: "Other" }).check();
    await page.locator(".evidence").waitFor();
  },
  wire: async (page) => {
    await page.getByRole("button", { name: "Connect a meter" }).click();
    await page.locator("dialog[open]").waitFor();
  },
  "look-over": handsOut,
  repair: handsOut,
  "prove-compare": TAB("Before and after"),
  "prove-bias": TAB("Bias"),
};

/** Nothing is asked any more, and what came is drawn. */
export async function settled(page) {
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
export function watchAsked(page) {
  page.asked = new Set();
  page.on("request", (one) => !one.url().endsWith("/api/events") && page.asked.add(one));
  for (const end of ["requestfinished", "requestfailed"])
    page.on(end, (one) => page.asked.delete(one));
}

/** Opens a screen as new, as it looks to whoever comes to it first. */
export async function show(page, name) {
  await page.goto("about:blank");
  await page.goto(`${base}#/${SCREENS[name] ?? DIALOGS[name]}`);
  await page.locator("main h1").waitFor();
  await settled(page);
  await BEFORE[name]?.(page);
  await settled(page);
}

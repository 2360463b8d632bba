// What goes wrong at the keyboard: half numbers, pasted columns, photos that are none, markup in every
// text. A clear sentence each time, and nothing lost.
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
  startBench,
  startBrowser,
} from "./bench.mjs";

const shop = folder("input");
const bench = await startBench(`${shop}/shop.db`);
const browser = await startBrowser();
const { base } = bench;
after(async () => {
  await browser.end();
  await bench.end();
  remove(shop);
});

const open = (route) => openPage(browser.context, base, route);

async function openChart(job) {
  const page = await open(`jobs/${job}/measure`);
  await page.getByRole("button", { name: "Understood: show the chart" }).click();
  await page.locator(".chart-row").first().waitFor();
  return page;
}

const readings = async (job) =>
  Object.fromEntries(
    (await factsOf(base, job, "reading")).map(({ body }) => [body.at, body.volts]),
  );

/* ---- numbers ----------------------------------------------------------------------------------- */

test("half a number and no number are kept, said to be so, and not recorded", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await open(`jobs/${job}/make-safe`);
  const [{ part }] = (await ask(base, `api/jobs/${job}`)).drained.capacitors;
  const field = page.getByLabel(`Read from ${part} to the chassis`);
  for (const [typed, words] of [
    ["1.", "Finish the number: 1."],
    ["-", "Finish the number: -"],
    ["1,500", "1,500 can be read in two ways"],
    ["twelve", "“twelve” is not a number"],
    ["1e9", "“1e9” is not a number"],
    ["1.2.3", "“1.2.3” is not a number"],
  ]) {
    await field.fill(typed);
    await field.press("Enter");
    await page.getByText(words).waitFor();
    assert.equal(await field.inputValue(), typed);
    assert.equal(await field.getAttribute("aria-invalid"), "true");
  }
  await field.fill("400000"); // a number, and no reading of any amp: the program says so
  await field.press("Enter");
  await page.getByText(/^Refused: /).waitFor();
  await page.getByRole("button", { name: "See why" }).click();
  await page.locator("dialog .problem-box").waitFor();
  await page.getByRole("button", { name: "Throw away" }).click();
  assert.deepEqual(await factsOf(base, job, "drain"), []);
  await closePage(page);
});

test("a pasted column is looked at first: what fits goes in, the rest is named", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openChart(job);
  const column =
    "V1.1\t218\r\nV2.8 = 24,1\nV9.9 12\nV1.3 lots\nV1.1 219\n<b>V2.3</b> 380\nv38 391 V\n";
  await page.getByRole("button", { name: "Paste a column" }).click();
  await page.getByRole("textbox", { name: /^Paste it here/ }).fill(column);
  const dialog = page.getByRole("dialog", { name: "A column of readings" });
  for (const words of ["no such place on the chart", "not a number", "this place again"])
    await dialog.getByText(`left out: ${words}`).first().waitFor();
  await dialog.getByText("4 left out").waitFor();
  await dialog.getByRole("button", { name: "Record 3 readings" }).click();
  await page.getByText("Not saved yet").waitFor({ state: "detached" });
  assert.deepEqual(await readings(job), { "V1.1": 218, "V2.8": 24.1, "V3.8": 391 });
  await closePage(page);
});

test("a column pasted into a field goes on from there", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await openChart(job);
  await page.locator('[data-at="V1.6"]').evaluate((field) => {
    const data = new DataTransfer();
    data.setData("text", "221\n0\n1.74\n");
    const paste = { clipboardData: data, bubbles: true, cancelable: true };
    field.dispatchEvent(new ClipboardEvent("paste", paste));
  });
  await page.getByText("The first number goes to V1.6").waitFor();
  await page.getByRole("button", { name: "Record 3 readings" }).click();
  await page.getByText("Not saved yet").waitFor({ state: "detached" });
  assert.deepEqual(await readings(job), { "V1.6": 221, "V1.7": 0, "V1.8": 1.74 });
  await closePage(page);
});

/* ---- photos ------------------------------------------------------------------------------------ */

/** A real JPEG, as this browser writes one. */
const jpeg = async (page) =>
  Buffer.from(
    await page.evaluate(async () => {
      const canvas = new OffscreenCanvas(640, 480);
      const pen = canvas.getContext("2d");
      for (let x = 0; x < 640; x += 8) {
        pen.fillStyle = `hsl(${x}, 60%, 50%)`;
        pen.fillRect(x, 0, 8, 480);
      }
      const blob = await canvas.convertToBlob({ type: "image/jpeg" });
      return [...new Uint8Array(await blob.arrayBuffer())];
    }),
  );

test("photos: cut short, no photo, too large are refused by name; a good one is kept", async () => {
  const job = await newJob(base, { amp: "wren-hollow" });
  const page = await open(`jobs/${job}/take-in`);
  const pick = page.locator("input[type=file]").first();
  const good = await jpeg(page);
  const refused = async (name, buffer, words) => {
    await pick.setInputFiles([{ name, mimeType: "image/jpeg", buffer }]);
    await page
      .locator(".problem-box", { hasText: `“${name}”` })
      .getByText(words)
      .waitFor();
  };
  await refused("short.jpg", good.subarray(0, good.length / 2), "ends too soon");
  await refused("words.jpg", Buffer.from("this is no photo"), "no JPEG and no PNG");
  await refused("empty.jpg", Buffer.alloc(0), "the file is empty");
  await refused("huge.jpg", Buffer.concat([good, Buffer.alloc(41_000_000)]), "40 MB are taken");
  await pick.setInputFiles([{ name: "good.jpg", mimeType: "image/jpeg", buffer: good }]);
  await page.getByText("Recorded: photo good.jpg").waitFor();
  await page.waitForFunction(() => {
    const image = document.querySelector(".photo img");
    return image?.complete && image.naturalWidth > 0;
  });
  assert.equal((await factsOf(base, job, "photo")).length, 1);
  await closePage(page);
});

/* ---- markup is text ---------------------------------------------------------------------------- */

const NASTY = `<img src=x onerror=hit()>"'&amp;<script>hit()</script>`;
const DROP = `'; DROP TABLE fact; --`;

/** Fills every text field in sight with markup, as a technician's words. */
async function fillAll(page, within) {
  for (const field of await page.locator(`${within} :is(input[type=text], textarea)`).all())
    if (await field.isVisible()) await field.fill(NASTY);
}

async function assertText(page, where) {
  const found = await page.evaluate(() => ({
    hit: window.wasHit === true,
    made: document.querySelectorAll('img[src="x"], script:not([src])').length,
  }));
  assert.deepEqual(found, { hit: false, made: 0 }, `markup came alive at ${where}`);
}

test("markup and quotes in every text field are text on every screen, and in the papers", async () => {
  await browser.context.addInitScript(() => (window.hit = () => (window.wasHit = true)));
  const shopPage = await open("shop");
  await shopPage.getByRole("textbox", { name: "Name" }).fill(NASTY);
  await shopPage.getByRole("textbox", { name: "Address" }).fill(NASTY);
  await shopPage.getByRole("textbox", { name: "Contact" }).fill(NASTY);
  await shopPage.getByRole("button", { name: "Save" }).click();
  await shopPage.getByText("Shop saved").waitFor();
  await assertText(shopPage, "shop");
  await closePage(shopPage);

  const page = await open("new");
  await page.getByRole("radio", { name: /Wren Hollow/ }).check();
  await fillAll(page, ".take-in > div:last-child");
  await page.getByRole("textbox", { name: "Serial number" }).fill(NASTY);
  await page.getByRole("button", { name: "Open the job" }).click();
  await page.getByRole("heading", { name: "Make safe", level: 1 }).waitFor();
  const job = Number(/jobs\/(\d+)/.exec(page.url())[1]);
  assert.equal((await ask(base, `api/jobs/${job}`)).complaint, NASTY);

  // Every text of every kind of fact, as the program itself lists them.
  await drain(base, job);
  const given = {
    look: { part: "C6" },
    edit: null, // the amp must still read
    reading: null,
    test: null, // what it says must read as a test
    symptom: { said: "hum" },
    finding: { said: "red plate: V2" },
    paper: { what: "swap", lines: [NASTY] },
    drain: null,
    power: null,
    photo: null,
    stage: null,
    undo: null,
    drawing: null,
    "take in": null,
    decision: { part: "C6", action: "replace", reason: "failing" },
    estimate: { lines: [{ text: NASTY, amount: 100 }], total: 100 },
    invoice: { lines: [{ text: NASTY, amount: 100 }], total: 100 },
    acceptance: { accepted: true },
    work: { done: true, part: "C6" },
    check: { result: "poor" },
    soak: { minutes: 30, result: "poor" },
    cord: null,
    note: {},
    "hand back": { cause_part: "C6" },
  };
  const kinds = await ask(base, "api/keys");
  for (const { kind, keys } of kinds) {
    assert.ok(kind in given, `this test does not know the kind ${kind}`);
    if (given[kind] === null || kind === "hand back") continue;
    const texts = keys.filter(
      ({ name, type, words }) => type === "text" && !words?.length && !(name in given[kind]),
    );
    const body = { ...given[kind], ...Object.fromEntries(texts.map(({ name }) => [name, NASTY])) };
    await addFact(base, job, kind, body);
  }
  await addFact(base, job, "note", { text: DROP });
  const words = { found: NASTY, done: NASTY, kept: NASTY, cautions: NASTY, advice: NASTY };
  await addFact(base, job, "hand back", { ...words, cause_part: "C6", cause_what: NASTY });

  for (const step of [
    "take-in",
    "make-safe",
    "look-over",
    "measure",
    "find",
    "decide",
    "repair",
    "prove",
    "hand-back",
  ]) {
    await page.goto(`${base}#/jobs/${job}/${step}`);
    await page.locator("main h1").waitFor();
    await page.waitForFunction(() => !document.querySelector("main .wait"));
    const hands = page.getByRole("button", { name: /my hands stay out|Understood/ });
    if (await hands.count()) await hands.first().click();
    await page.locator(".band-text", { hasText: NASTY }).first().waitFor(); // the complaint, as typed
    await assertText(page, step);
  }
  await page.getByRole("button", { name: /^Notes: 2/ }).click();
  await page.getByRole("dialog").getByText(NASTY).waitFor();
  await page.getByRole("dialog").getByText(DROP).waitFor();
  await page.goto(`${base}#/`);
  await page.getByRole("searchbox").fill(`onerror`);
  await page.getByText(NASTY).first().waitFor();
  await page.getByRole("searchbox").fill(`"' OR 1=1; -- *`);
  await page.getByText(/^Nothing found with/).waitFor();
  await assertText(page, "bench");
  for (const paper of ["report.pdf", "invoice.pdf", "chart.pdf", "readings.csv"]) {
    const answer = await fetch(`${base}api/jobs/${job}/${paper}`);
    assert.equal(answer.status, 200, `${paper} is not made`);
  }
  await closePage(page);
});

test("an amp's file with an error says at which line, as it is typed, and is not saved", async () => {
  const text = (await ask(base, "api/amps/wren-hollow")).text;
  await ask(base, "api/amps/mine", { text }, "PUT");
  const page = await open("amps/mine/file");
  const editor = page.locator(".editor textarea");
  await editor.waitFor();
  const wrong = text.replace(/^ {2}R4: \{value: [^,]+/m, "  R4: {value: 2k2<b>");
  assert.notEqual(wrong, text, "R4 is not where this test looks for it");
  await editor.fill(wrong);
  const line = wrong.slice(0, wrong.indexOf("2k2<b>")).split("\n").length;
  await page
    .getByText(new RegExp(`line ${line}\\b`, "i"))
    .first()
    .waitFor();
  await assertText(page, "the editor");
  assert.equal((await ask(base, "api/amps/mine")).text, text);
  await page.reload();
  await editor.waitFor();
  assert.equal(await editor.inputValue(), wrong, "what was typed is gone after a reload");
  await closePage(page);
});

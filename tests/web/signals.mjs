// An amp's signals on its library page: response, hum and tremolo, with its controls turned.
import assert from "node:assert/strict";
import { after, test } from "node:test";
import {
  ask,
  closePage,
  folder,
  openPage,
  remove,
  startBench,
  startBrowser,
} from "./bench.mjs";

const shop = folder("signals");
const bench = await startBench(`${shop}/shop.db`);
const browser = await startBrowser();
const { base } = bench;
after(async () => {
  await browser.end();
  await bench.end();
  remove(shop);
});

const gainOf = async (page, at) => {
  const row = page.locator(".stages label", { hasText: at });
  return Number(await row.locator(".stage-gain").textContent());
};
/** Waits until the page shows what the program answers for these controls. */
const shows = (page, at, gain) =>
  page.waitForFunction(
    ([place, wanted]) =>
      [...document.querySelectorAll(".stages label")].some(
        (one) =>
          one.querySelector("strong").textContent === place &&
          Math.abs(
            Number(one.querySelector(".stage-gain").textContent) / wanted - 1,
          ) < 0.01,
      ),
    [at, gain],
  );
const stage = ({ stages }, name) => stages.find(({ at }) => at === name);
/** Something was drawn: some pixels of the canvas have ink. */
const drawn = (page) =>
  page.waitForFunction(() => {
    const canvas = document.querySelector(".curves canvas");
    if (!canvas?.width) return false;
    const { data } = canvas
      .getContext("2d")
      .getImageData(0, 0, canvas.width, canvas.height);
    let inked = 0;
    for (let i = 3; i < data.length; i += 4) if (data[i] > 128) inked++;
    return inked > 2000;
  });

test("response: any input to any stage, controls turned by keyboard, and back", async () => {
  const page = await openPage(browser.context, base, "amps/tidemark/response");
  await page.getByRole("heading", { name: /J1 to LS1/ }).waitFor();
  await drawn(page);
  const asDrawn = await ask(base, "api/amps/tidemark/response");
  await shows(page, "LS1", stage(asDrawn, "LS1").gain);

  await page.getByRole("radio", { name: "J3 instrument" }).check();
  await page.getByRole("radio", { name: /^V2.1 plate/ }).check();
  await page.getByRole("heading", { name: /J3 to V2.1/ }).waitFor();
  const other = await ask(base, "api/amps/tidemark/response?from=J3&to=V2.1");
  await shows(page, "V2.1", stage(other, "V2.1").gain);

  const volume = page.getByRole("slider", { name: /^P2/ });
  await volume.focus();
  for (let i = 0; i < 4; i++) await page.keyboard.press("ArrowRight");
  const louder = await ask(
    base,
    "api/amps/tidemark/response?from=J3&turn=P2:7",
  );
  await shows(page, "V2.1", stage(louder, "V2.1").gain);
  assert.ok((await gainOf(page, "V2.1")) > 1.5 * stage(other, "V2.1").gain);

  await page.getByRole("radio", { name: "Table", exact: true }).check();
  await page.getByRole("columnheader", { name: "Phase" }).waitFor();
  await page.getByRole("button", { name: "As in the file" }).click();
  await shows(page, "V2.1", stage(other, "V2.1").gain);
  await closePage(page);
});

test("hum: the waveform at each place, the levels, what would raise it", async () => {
  const page = await openPage(browser.context, base, "amps/tidemark/hum");
  const hum = await ask(base, "api/amps/tidemark/hum");
  await page
    .getByRole("radio", { name: new RegExp(`^${hum.lines[0].at} supply`) })
    .check();
  await page
    .getByRole("heading", {
      name: new RegExp(`^${hum.lines[0].at} as a scope`),
    })
    .waitFor();
  await drawn(page);
  const worst = page
    .getByRole("region", { name: /would raise the hum/ })
    .getByRole("row");
  assert.equal(await worst.count(), hum.parts.length + 1);
  await worst.nth(1).getByText(hum.parts[0].part, { exact: true }).waitFor();
  await closePage(page);
});

test("tremolo in words; faster with its control turned up; an amp without one", async () => {
  const page = await openPage(browser.context, base, "amps/tidemark/tremolo");
  const { words } = await ask(base, "api/amps/tidemark/tremolo");
  await page.getByText(words[0]).waitFor();
  await page.getByRole("heading", { name: "What can stop it" }).waitFor();
  const speed = page.getByRole("slider", { name: /^P4/ });
  await speed.focus();
  await page.keyboard.press("End");
  const faster = await ask(base, "api/amps/tidemark/tremolo?turn=P4:10");
  await page.getByText(faster.words[0]).waitFor();
  await page.goto(`${base}#/amps/wren-hollow/tremolo`);
  await page.getByText(/No oscillator/).waitFor();
  await closePage(page);
});
